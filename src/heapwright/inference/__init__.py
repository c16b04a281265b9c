"""Learning from readings: begun; so far the smoother, and what a forecast has to beat."""
