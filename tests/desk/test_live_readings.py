"""Live readings: stored once, corrected by a new row, refused outside what a gauge can show."""

from __future__ import annotations

import pytest

from hushpoint.desk import live
from hushpoint.errors import BadInputError
from hushpoint.ledger.memory import MemoryLedger

READING = live.LiveReading("m1", "who1", 124, 82, "2026-05-01T10:00:00Z", "pair", "right", "K1", "g4", "c1", "s1")


def test_a_reading_comes_back_with_its_kit() -> None:
    """Gauge, cuff and stethoscope are found with the reading."""
    ledger = MemoryLedger()
    ledger.append(live.entry_of(READING, room="RKTM", who="who1"))
    (found,) = live.readings(ledger)
    assert (found.gauge, found.cuff, found.stethoscope, found.systolic_mmhg) == ("g4", "c1", "s1", 124)


def test_a_correction_keeps_the_first_row() -> None:
    """The corrected value is read; the first row stays in the journal as it was."""
    ledger = MemoryLedger()
    (row,) = ledger.append(live.entry_of(READING, room="RKTM", who="who1"))
    live.amend(ledger, row, systolic=128, diastolic=82, by="who1", why="slip of the pen")
    (found,) = live.readings(ledger)
    assert (found.systolic_mmhg, found.amended) == (128, True)
    first = next(ledger.rows())
    assert first.body is not None
    assert first.body["systolic"] == 124


@pytest.mark.parametrize("value", [-1, 301, True, "120", 120.5])
def test_an_impossible_pressure_is_refused(value: object) -> None:
    """The line names what and the legal range; nothing is stored."""
    with pytest.raises(BadInputError, match="from 0 to 300"):
        live.checked_mmhg(value, "systolic")


def test_an_erased_reading_is_left_out() -> None:
    """After an erasure nothing of the reading is read."""
    ledger = MemoryLedger()
    ledger.append(live.entry_of(READING, room="RKTM", who="who1"))
    ledger.erase("who1", why="asked")
    assert list(live.readings(ledger)) == []
