"""Learning from readings (not built yet)."""
