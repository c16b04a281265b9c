"""One file a thing a user asks for by a verb; the only place where store meets science."""
