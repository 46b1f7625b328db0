"""Journal, payloads, settings."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables and the index that stores an act once."""
    op.create_table(
        "journal",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("at", "kind")),
        sa.Column("version", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("room", "who")),
        sa.Column("ref", sa.Text),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("digest", "chain")),
        sqlite_strict=True,
    )
    op.create_index("journal_kind_ref", "journal", ["kind", "ref"], unique=True)
    op.create_table(
        "payload",
        sa.Column("seq", sa.Integer, sa.ForeignKey("journal.seq"), primary_key=True, autoincrement=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("salt", "body")),
        sqlite_strict=True,
    )
    op.create_table(
        "setting",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
        sqlite_strict=True,
    )
