"""Frozen objects a composter would name; they refuse nonsense and say the way out."""
