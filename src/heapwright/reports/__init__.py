"""Figures, tables and the one-file report."""
