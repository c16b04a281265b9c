"""Mixes, sizes and the calendar of work."""
