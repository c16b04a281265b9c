"""The local web app (not built yet)."""
