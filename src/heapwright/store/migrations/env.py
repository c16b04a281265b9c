"""Alembic's entry: runs on the connection that `heapwright.store.migrate` hands over."""

from alembic import context

from heapwright.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    transaction_per_migration=False,
)
context.run_migrations()
