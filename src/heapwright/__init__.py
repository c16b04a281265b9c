"""Heapwright: plan, log, understand and honestly compare compost heaps."""

__version__ = "0.1.0"
