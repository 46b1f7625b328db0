"""A school's load on this machine, client included: 300 learners measuring, 30 boards; twice that is refused cleanly.

Ten minutes each in `make hard`; HUSHPOINT_LOAD_S sets another duration [s].
`python tests/load.py --help` does it by hand.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from load import Found, run_load

pytestmark = pytest.mark.hard
SECONDS = float(os.environ.get("HUSHPOINT_LOAD_S", "600"))


def _whole(found: Found) -> None:
    for line in found.lines():
        print(line)
    assert found.acknowledged
    assert (found.errors, found.lost, found.twice) == (0, 0, 0)
    assert found.told > 0


def test_three_hundred_learners_and_thirty_boards_on_sqlite(tmp_path: Path) -> None:
    """No error, nothing refused, nothing acknowledged lost, nothing stored twice."""
    found = run_load(tmp_path / "data", learners=300, boards=30, seconds=SECONDS)
    _whole(found)
    assert not found.refused_s


@pytest.mark.postgres
def test_three_hundred_learners_and_thirty_boards_on_postgres(tmp_path: Path, postgres_url: str) -> None:
    """The same over PostgreSQL with two workers."""
    found = run_load(tmp_path / "data", learners=300, boards=30, seconds=SECONDS, database=postgres_url, workers=2)
    _whole(found)


def test_twice_the_load_is_refused_cleanly_where_it_is_too_much(tmp_path: Path) -> None:
    """600 learners, 60 boards: whatever is refused says when to come again; no fault, nothing acknowledged lost."""
    _whole(run_load(tmp_path / "data", learners=600, boards=60, seconds=SECONDS))


def test_ten_times_the_pace_is_refused_cleanly(tmp_path: Path) -> None:
    """600 learners at ten times the pace of a real arm: far beyond what one process does; the same holds."""
    found = run_load(tmp_path / "data", learners=600, boards=60, seconds=min(SECONDS, 120), pace=0.1)
    _whole(found)
