"""Compiled loops (not built yet)."""
