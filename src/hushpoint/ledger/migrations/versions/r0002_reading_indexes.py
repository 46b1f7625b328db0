"""Indexes for reading one class, one person or one measurement without walking the whole journal."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the indexes."""
    op.create_index("journal_room", "journal", ["room", "seq"])
    op.create_index("journal_who", "journal", ["who", "seq"])
    op.create_index("journal_ref", "journal", ["ref"])
