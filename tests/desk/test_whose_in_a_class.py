"""Whose error in a class: live readings, corrections, and the result kept until the journal grows."""

from __future__ import annotations

import pytest

from hushpoint.agreement import AgreementError
from hushpoint.desk import live
from hushpoint.desk.whose import whose_in_class
from hushpoint.ledger.records import Entry, Kind, Ledger, Row


def take(ledger: Ledger, measurement: str, observer: str, systolic: int | None, room: str = "ABCD") -> Row:
    """Store one live reading."""
    reading = live.LiveReading(measurement, observer, systolic, 80, "2026-03-02T09:00:00Z", "pair", gauge="G1")
    return ledger.append(live.entry_of(reading, room=room, who=""))[0]


def class_of_two(ledger: Ledger) -> list[Row]:
    """Five pairs in which the learner is 4 above the reference, and one reading in another class."""
    rows = []
    for turn in range(5):
        rows.append(take(ledger, f"m{turn}", "ref", 110 + 6 * turn))
        rows.append(take(ledger, f"m{turn}", "anna", 114 + 6 * turn + (turn % 2) * 2 - 1))
    take(ledger, "other", "ref", 120, room="EFGH")
    take(ledger, "silent", "anna", None)
    return rows


def test_a_class_is_judged_from_its_own_live_readings(ledger: Ledger) -> None:
    """Readings of other classes and silent ones stay out; the bias is the one put in."""
    class_of_two(ledger)
    found = whose_in_class(ledger, "ABCD", "ref").systolic
    assert found.readings == 10
    assert {one.observer: one.bias_mmhg for one in found.observers}["anna"] == pytest.approx(3.8, abs=0.01)


def test_the_result_is_kept_until_the_journal_grows(ledger: Ledger) -> None:
    """Asked twice, the same object; after a correction, a new one that follows it."""
    rows = class_of_two(ledger)
    first = whose_in_class(ledger, "ABCD", "ref")
    assert whose_in_class(ledger, "ABCD", "ref") is first
    live.amend(ledger, rows[1], systolic=103, diastolic=80, by="lecturer", why="wrong row of the sheet")
    again = whose_in_class(ledger, "ABCD", "ref")
    assert again is not first
    assert (again.systolic.observers[1].bias_mmhg or 0) < 3
    ledger.append(Entry(Kind.CLASS_OPENED, {"name": "x", "policy": "y"}))
    assert whose_in_class(ledger, "ABCD", "ref") == again


def test_a_class_without_pairs_says_so(ledger: Ledger) -> None:
    """Nothing shared: one line that says what is needed."""
    take(ledger, "m", "anna", 120)
    with pytest.raises(AgreementError, match="read by two observers are needed"):
        whose_in_class(ledger, "ABCD")
