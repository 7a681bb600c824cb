"""Entry that alembic runs: the connection comes from `host.store.upgrade`."""

from alembic import context

from host.store.schema import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=True,
    # SQLite can roll back DDL; alembic only has to be told, or half a migration could stay.
    transactional_ddl=True,
    transaction_per_migration=True,
)
with context.begin_transaction():
    context.run_migrations()
