"""Benchmark B1 as a scientist would write it with general-purpose libraries."""
