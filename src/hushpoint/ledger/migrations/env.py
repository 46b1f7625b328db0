"""Alembic runs this with the connection that the store hands it."""

from __future__ import annotations

from alembic import context

from hushpoint.ledger.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
with context.begin_transaction():
    context.run_migrations()
