"""Schema changes of a book, oldest first."""
