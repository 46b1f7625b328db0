"""Ledgers as older versions left them: tables of that revision, rows written by that revision's columns alone."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory

from hushpoint.ledger import store
from hushpoint.ledger.chain import GENESIS, entry_text, seal
from hushpoint.ledger.records import Entry, Kind

ROWS = (
    Entry(Kind.CLASS_OPENED, {"name": "Group A", "policy": "PALPATED_30"}, room="BCDF", ref="BCDF"),
    Entry(Kind.LEARNER_JOINED, {"name": "Ines Invented"}, room="BCDF", who="p1"),
    Entry(Kind.MEASUREMENT_FILED, {"log": {"reading": {"systolic": 126}}}, room="BCDF", who="p1", ref="m1"),
)


def _scripts() -> tuple[Config, ScriptDirectory]:
    config = Config()
    folder = Path(store.__file__).with_name("migrations")
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    return config, ScriptDirectory.from_config(config)


def revisions() -> list[str]:
    """Return every revision, oldest first; the last is today's."""
    return [script.revision for script in _scripts()[1].walk_revisions()][::-1]


def older_ledger(url: str | sa.URL, revision: str, entries: Iterable[Entry] = ROWS) -> str:
    """Make a ledger of this revision with these rows in an empty database; return the head of its chain."""
    engine = sa.create_engine(url)
    before = GENESIS
    with engine.begin() as connection:
        config, _ = _scripts()
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
        connection.execute(sa.text("INSERT INTO setting (key, value) VALUES ('lecturer_password', 'hash')"))
        for seq, entry in enumerate(entries, 1):
            stored = seal(entry, entry_text(entry), seq, f"2026-03-0{seq}T09:00:00.000000Z", before)
            row, before = stored.row, stored.row.chain
            columns = {
                "seq": seq, "at": row.at, "kind": str(row.kind), "version": row.version, "room": row.room,
                "who": row.who, "ref": row.ref, "digest": row.digest, "chain": row.chain,
            }  # fmt: skip
            names = ", ".join(columns)
            marks = ", ".join(f":{name}" for name in columns)
            connection.execute(sa.text(f"INSERT INTO journal ({names}) VALUES ({marks})"), columns)  # noqa: S608 - ours
            said = {"seq": seq, "salt": stored.salt, "body": stored.text}
            connection.execute(sa.text("INSERT INTO payload (seq, salt, body) VALUES (:seq, :salt, :body)"), said)
    engine.dispose()
    return before
