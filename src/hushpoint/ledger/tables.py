"""The three tables, the same on SQLite and PostgreSQL."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, MetaData, Table, Text

NEWEST = "0005"
"""The version of these tables: the last of the migrations."""
metadata = MetaData()

journal = Table(
    "journal",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("at", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("version", Integer, nullable=False),
    Column("room", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("ref", Text),
    Column("digest", Text, nullable=False),
    Column("chain", Text, nullable=False),
    Index("journal_kind_ref", "kind", "ref", unique=True),
    Index("journal_room", "room", "seq"),
    Index("journal_kind", "kind", "seq"),
    Index("journal_room_kind", "room", "kind", "seq"),
    Index("journal_who_kind", "who", "kind", "seq"),
    Index("journal_ref", "ref"),
    sqlite_strict=True,
)
"""What happened, in order; nothing in it names a person or says what was measured. Rows are never changed."""

payload = Table(
    "payload",
    metadata,
    Column("seq", Integer, ForeignKey("journal.seq"), primary_key=True, autoincrement=False),
    Column("salt", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("sealed", Text),
    sqlite_strict=True,
)
"""What each row said; a payload goes when a person's data is erased. Where names are encrypted, they and the salt are
in `sealed`, the salt is empty and the body has null in their place."""

setting = Table(
    "setting",
    metadata,
    Column("key", Text, primary_key=True),
    Column("value", Text, nullable=False),
    sqlite_strict=True,
)
"""Small named texts kept beside the journal."""
