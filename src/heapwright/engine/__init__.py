"""The heap simulator (not built yet; its layers are fixed here)."""
