"""A ledger is migrated while processes of the older version write: they wait, go on, and lose nothing."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from hushpoint.ledger import store
from hushpoint.ledger.records import Entry, Kind
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import FILE_NAME, open_ledger
from older_ledgers import ROWS, older_ledger, revisions

WRITERS = 2
ALREADY = 100
"""Acknowledged before the migration begins, so that it meets writers in full swing."""


def _older_process(url: sa.URL, writer: int, pipe: int) -> None:
    """Append as the older version does, on its columns alone, and tell each acknowledged ref."""
    engine = sa.create_engine(url)
    if url.get_backend_name() == "sqlite":
        sa.event.listen(engine, "connect", store._prepare_sqlite)
        sa.event.listen(engine, "begin", store._begin_sqlite)
    ledger = SqlLedger(engine, sealed_column=False)
    for number in range(1_000_000):
        ref = f"{writer}-{number}"
        ledger.append(Entry(Kind.MEASUREMENT_FILED, {"n": number}, room="BCDF", ref=ref))
        os.write(pipe, f"{ref}\n".encode())
        time.sleep(0.005)  # between two appends others come to their turn: SQLite's lock keeps no queue


def _more(pipe: Any) -> bytes:
    told = os.read(pipe.fileno(), 1 << 16)
    assert told, "a writer ended by itself"
    return told


def _begin(url: sa.URL, writer: int) -> tuple[int, Any]:
    reader, pipe = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reader)
            _older_process(url, writer, pipe)
        finally:
            os._exit(1)
    os.close(pipe)
    return child, os.fdopen(reader, "rb", buffering=0)


def _migrated_under_load(data: Path, url: sa.URL, database: str | None) -> None:
    more = (Entry(Kind.MEASUREMENT_FILED, {"n": number}, room="BCDF", ref=f"old-{number}") for number in range(4))
    older_ledger(url, revisions()[1], (*ROWS, *more))
    children = [_begin(url, writer) for writer in range(WRITERS)]
    told = [b"" for _ in children]
    try:
        while min(one.count(b"\n") for one in told) < ALREADY // WRITERS:
            told = [one + _more(pipe) for one, (_, pipe) in zip(told, children, strict=True)]
        begun = time.monotonic()
        ledger = open_ledger(data, database)
        taken = time.monotonic() - begun
        after = [one.count(b"\n") for one in told]
        while any(one.count(b"\n") < before + 20 for one, before in zip(told, after, strict=True)):
            told = [one + _more(pipe) for one, (_, pipe) in zip(told, children, strict=True)]
    finally:
        for child, _ in children:
            os.kill(child, signal.SIGKILL)
        rest = [pipe.read() for _, pipe in children]
        statuses = [os.waitpid(child, 0)[1] for child, _ in children]
        for _, pipe in children:
            pipe.close()
    assert all(os.WIFSIGNALED(status) for status in statuses), "a writer ended by itself"
    acknowledged = b"".join(one + more for one, more in zip(told, rest, strict=True)).decode().split()
    stored = [row.ref for row in ledger.rows(kinds=[Kind.MEASUREMENT_FILED])]
    found = ledger.verify()
    assert store.version_of(data, database) == "current"
    ledger.append(Entry(Kind.MEASUREMENT_FILED, {"n": 0}, room="BCDF", ref="new"))
    ledger.close()
    assert set(acknowledged) <= set(stored)
    assert len(stored) == len(set(stored))
    assert found.first_altered is None
    print(f"migrated in {taken:.2f} s beside {WRITERS} writers; {len(acknowledged)} acknowledged, none lost")


def test_a_sqlite_ledger_is_migrated_while_older_processes_write(tmp_path: Path) -> None:
    """Writers wait for the lock; every acknowledged row is there, once, and the chain is whole."""
    _migrated_under_load(tmp_path, sa.URL.create("sqlite", database=str(tmp_path / FILE_NAME)), None)


@pytest.mark.postgres
def test_a_postgres_ledger_is_migrated_while_older_processes_write(tmp_path: Path, postgres_url: str) -> None:
    """The same on PostgreSQL."""
    _migrated_under_load(tmp_path, sa.make_url(postgres_url), postgres_url)
