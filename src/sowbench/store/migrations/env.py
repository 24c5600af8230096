"""Run by Alembic: hands it the connection on which the book is being opened."""

from __future__ import annotations

from alembic import context

from sowbench.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=False,
    render_as_batch=True,
)
context.run_migrations()
