"""Comparing ways of managing heaps: contrasts, intervals, claims, sharing out of loads."""
