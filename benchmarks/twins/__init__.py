"""Twin trials: pairs of invented heaps whose truth is known, learned from and forecast."""
