"""Units of competency: read or refused in one line; which evidence meets which criterion, what is missing."""

from __future__ import annotations

from datetime import date

import pytest

from evidence_scenes import signing, with_an_amplified_stethoscope
from hushpoint.desk import decisions, evidence, units
from hushpoint.desk.csv_file import CsvFileError
from hushpoint.ledger.memory import MemoryLedger

HEAD = ",".join(units.COLUMNS)


def file(*rows: str) -> bytes:
    """A unit's file of these criteria: criterion, text, evidence, least, setting."""
    return "\n".join([HEAD, *(f"{row},the unit,INVENTED1 R1,Measure" for row in rows)]).encode()


def test_the_matrix_says_what_meets_and_what_is_missing() -> None:
    """Twenty pairs on ten codes, one live decision, no sheet, one thing only a person can see."""
    ledger = MemoryLedger()
    code, who = with_an_amplified_stethoscope(ledger)
    told = signing(setting="live")
    signed = decisions.sign(ledger, room=code, learner=who, signing=told, today=date(2026, 11, 20))
    unit = units.adopt(
        ledger,
        file("1,a,pairs,20,any", "2,b,clients,12,any", "3,c,decisions,1,live", "4,d,decisions,1,simulated",
             "5,e,sheets,1,any", "6,f,lecturer,1,any", "7,g,from_160,1,any", "8,h,papers,1,any"),
        "unit.csv",
    )  # fmt: skip
    found = units.matrix(evidence.part_of(ledger, code, who), code, who, unit)
    assert [one.says for one in found] == [
        "met", "missing: 2 more of 12", "met", "missing: 1 more of 1", "missing: 1 more of 1",
        "for the lecturer to see", "met", "missing: 1 more of 1",
    ]  # fmt: skip
    assert (len(found[0].rows), found[2].rows) == (40, (signed.row,))
    assert list(units.known_units(ledger)) == ["INVENTED1 R1"]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("1,a,pair,20,any", "evidence 'pair': must be one of pairs"),
        ("1,a,pairs,0,any", "least '0': must be a number from 1 to 1000"),
        ("1,a,pairs,2.5,any", "least '2.5': must be a whole number"),
        ("1,a,pairs,2,night", "setting 'night': must be one of any"),
        (",a,pairs,2,any", "criterion '': must be some text"),
        ("1,a,pairs,2", "7 cells, must be 8"),
    ],
)
def test_a_wrong_cell_is_refused_with_its_place(row: str, said: str) -> None:
    """One line with file, row, column, value and what is legal; nothing stored."""
    ledger = MemoryLedger()
    with pytest.raises(CsvFileError, match=r"unit\.csv row 2") as refused:
        units.adopt(ledger, file(row), "unit.csv")
    assert said in str(refused.value)
    assert ledger.last() == 0
