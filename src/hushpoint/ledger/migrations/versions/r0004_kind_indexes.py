"""Indexes for reading a few kinds of rows in order, of one class or of all, in a journal of millions."""

from __future__ import annotations

from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the indexes."""
    op.create_index("journal_kind", "journal", ["kind", "seq"])
    op.create_index("journal_room_kind", "journal", ["room", "kind", "seq"])
