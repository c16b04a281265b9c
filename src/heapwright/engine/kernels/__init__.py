"""Compiled loops over arrays; each file is self-contained and states its stability limit."""
