"""An index for reading a few kinds of one person's rows: somebody who measured for a year has thousands."""

from __future__ import annotations

from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Put it in the place of the one by person alone."""
    op.create_index("journal_who_kind", "journal", ["who", "kind", "seq"])
    op.drop_index("journal_who", "journal")
