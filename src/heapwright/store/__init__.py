"""The book: tables, migrations, rows to domain objects and back."""
