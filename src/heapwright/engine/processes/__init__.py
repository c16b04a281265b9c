"""One file a process (not built yet)."""
