"""Run by alembic: migrations on the connection that ``api.store.schema`` hands over."""

from alembic import context

from api.store.models import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,  # SQLite alters a table by copying it
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
