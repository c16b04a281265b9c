"""Measured series, published and invented, forecast from their first part."""
