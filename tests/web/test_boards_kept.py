"""Boards that are kept: the same as folded anew, whoever asks and whenever a reading breaks off."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from hushpoint.desk import classes
from hushpoint.desk.kept import Kept
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Entry, Kind, LedgerError, Row


def filed(ledger: MemoryLedger, code: str, who: str) -> None:
    """Append one filed measurement."""
    reading = {"systolic": 120, "diastolic": 80, "muffling": None}
    ledger.append(Entry(Kind.MEASUREMENT_FILED, {"log": {"reading": reading}}, room=code, who=who))


def folded(ledger: MemoryLedger, code: str) -> classes.Board:
    """Return the board folded from the first row."""
    board = classes.Board()
    board.take(classes.board_rows(ledger, code, 0, ledger.last()))
    return board


def test_kept_boards_equal_folded_ones_under_many_askers() -> None:
    """Four threads ask for two classes while readings come in: at the end both are what the journal says."""
    ledger = MemoryLedger()
    boards = Kept(ledger, classes.Board, classes.board_rows)
    codes = [classes.open_class(ledger, name=name, policy_id="PALPATED_30") for name in ("Group A", "Group B")]
    people = [(code, classes.join(ledger, room=code, name=f"Learner {n}")) for code in codes for n in range(3)]
    with ThreadPoolExecutor(4) as pool:
        for code, who in people * 10:
            pool.submit(filed, ledger, code, who)
            pool.submit(boards.now, code)
    classes.erase_learner(ledger, room=people[0][0], who=people[0][1], why="asked")
    for code in codes:
        assert boards.now(code) == folded(ledger, code)
    assert sum(line.readings for code in codes for line in boards.now(code).lines.values()) == 50


def test_what_one_asker_has_is_not_changed_by_the_next() -> None:
    """A board in hand stays as it was when more is stored."""
    ledger = MemoryLedger()
    boards, code = (
        Kept(ledger, classes.Board, classes.board_rows),
        classes.open_class(ledger, name="Group A", policy_id="PALPATED_30"),
    )
    who = classes.join(ledger, room=code, name="Ines")
    before = boards.now(code)
    filed(ledger, code, who)
    assert boards.now(code).lines[who].readings == 1
    assert before.lines[who].readings == 0


def test_a_reading_that_breaks_off_counts_nothing_twice() -> None:
    """Where the store fails half way through, the next board is whole again."""

    class Failing(MemoryLedger):
        broken = False

        def rows(self, **asked: Any) -> Iterator[Row]:
            for place, row in enumerate(super().rows(**asked)):
                if self.broken and place == 1:
                    raise LedgerError("the store is gone")
                yield row

    ledger = Failing()
    boards, code = (
        Kept(ledger, classes.Board, classes.board_rows),
        classes.open_class(ledger, name="Group A", policy_id="PALPATED_30"),
    )
    who = classes.join(ledger, room=code, name="Ines")
    boards.now(code)
    for _ in range(3):
        filed(ledger, code, who)
    ledger.broken = True
    with pytest.raises(LedgerError):
        boards.now(code)
    ledger.broken = False
    assert boards.now(code).lines[who].readings == 3
