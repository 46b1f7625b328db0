"""A process killed at any moment loses no row that it had acknowledged."""

from __future__ import annotations

import os
import random
import signal
import time
from pathlib import Path

import pytest

from hushpoint.ledger.records import Entry, Kind
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import open_ledger


def _append_until_killed(data: Path, url: str | None, turn: int, pipe: int) -> None:
    ledger = open_ledger(data, url)
    number = 0
    while True:
        ref = f"{turn}-{number}"
        ledger.append(
            Entry(Kind.MEASUREMENT_FILED, {"n": number}, ref=ref), Entry(Kind.MEASUREMENT_JUDGED, {}, ref=ref)
        )
        os.write(pipe, f"{ref}\n".encode())
        number += 1


def _kill_once(data: Path, url: str | None, turn: int, wait_s: float) -> list[str]:
    """Run a writer, kill it `wait_s` after its first row, return the refs that it acknowledged."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reader)
            _append_until_killed(data, url, turn, writer)
        finally:
            os._exit(1)
    os.close(writer)
    with os.fdopen(reader, "rb") as acknowledged:
        first = acknowledged.readline()
        time.sleep(wait_s)
        os.kill(child, signal.SIGKILL)
        rest = acknowledged.read()
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the writer ended by itself"
    return (first + rest).decode().split()


def _check(ledger: SqlLedger, after: int, turn: int, refs: list[str]) -> int:
    """Every acknowledged ref is there with both its rows; return the newest seq.

    One append that was under way at the kill may be there too. PostgreSQL's server may even finish it after this
    look, so that it turns up at the next one.
    """
    rows = list(ledger.rows(after=after))
    stored = [str(row.ref) for row in rows if row.kind == Kind.MEASUREMENT_FILED]
    assert stored == [row.ref for row in rows if row.kind == Kind.MEASUREMENT_JUDGED]
    late = [ref for ref in stored if ref.startswith(f"{turn - 1}-")]
    mine = [ref for ref in stored if ref.startswith(f"{turn}-")]
    assert stored == late + mine
    assert len(late) <= 1
    assert mine[: len(refs)] == refs
    assert len(mine) - len(refs) in {0, 1}
    return rows[-1].seq


def _kill_often(data: Path, url: str | None, times: int) -> None:
    draw, after, acknowledged = random.Random(7), 0, 0
    open_ledger(data, url).close()
    for turn in range(times):
        refs = _kill_once(data, url, turn, draw.uniform(0, 0.03))
        acknowledged += len(refs)
        ledger = open_ledger(data, url)
        after = _check(ledger, after, turn, refs)
        if turn % 50 == 49:
            found = ledger.verify()
            assert found.first_altered is None
            assert found.rows >= after
        ledger.close()
    print(f"{times} kills, {acknowledged} acknowledged appends, none lost")


def test_fifty_kills_lose_nothing_on_sqlite(tmp_path):
    """50 kills -9 under load on a SQLite file."""
    _kill_often(tmp_path, None, 50)


@pytest.mark.postgres
def test_fifty_kills_lose_nothing_on_postgres(tmp_path, postgres_url):
    """50 kills -9 of the writer under load on PostgreSQL."""
    _kill_often(tmp_path, postgres_url, 50)


@pytest.mark.hard
def test_a_thousand_kills_lose_nothing_on_sqlite(tmp_path):
    """1 000 kills -9 under load on a SQLite file."""
    _kill_often(tmp_path, None, 1000)


@pytest.mark.hard
@pytest.mark.postgres
def test_a_thousand_kills_lose_nothing_on_postgres(tmp_path, postgres_url):
    """1 000 kills -9 of the writer under load on PostgreSQL."""
    _kill_often(tmp_path, postgres_url, 1000)
