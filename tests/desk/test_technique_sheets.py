"""Technique sheets: stored once, untouched is not seen, two assessors compared by kappa."""

from __future__ import annotations

import math
from typing import Any

import pytest

from hushpoint.desk import classes, technique
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.guideline.technique_steps import technique_steps
from hushpoint.ledger.records import Kind, Ledger

IDS = [step.id for step in technique_steps()]


def begun(ledger: Ledger) -> tuple[str, str, str]:
    """A class, a learner in it, and a performance of theirs."""
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    who = classes.join(ledger, room=code, name="Ines")
    return code, who, technique.begin(ledger, room=code, learner=who, ref="p1")


def sheet(assessor: str, missed: set[int] = frozenset(), seen: int = 33, **more: Any) -> dict[str, Any]:  # type: ignore[assignment]
    """A sheet with the first `seen` steps marked, those in `missed` (by number) missed."""
    marks = {step: "missed" if place in missed else "done" for place, step in enumerate(IDS[:seen], start=1)}
    return {"assessor": assessor, "marks": marks, "notes": {}, "overall": "alone", "ref": f"{assessor}-1", **more}


def test_untouched_steps_are_not_seen(ledger: Ledger) -> None:
    """Neither done nor missed; the critical ones among them are named."""
    code, _, performance = begun(ledger)
    technique.mark(ledger, room=code, performance=performance, sheet=sheet("ab", {2, 9}, seen=24))
    found = technique.find(ledger, code, performance).sheets["AB"]
    assert [step.number for step in found.steps("missed", critical=True)] == [2, 9]
    assert len(found.steps("done")) == 22
    assert [step.number for step in found.steps(None)] == list(range(25, 34))


def test_a_sheet_delivered_again_is_stored_once_and_a_later_one_counts(ledger: Ledger) -> None:
    """The same ref is one row; another by the same assessor stands beside it and counts."""
    code, _, performance = begun(ledger)
    first = technique.mark(ledger, room=code, performance=performance, sheet=sheet("AB"))
    assert technique.mark(ledger, room=code, performance=performance, sheet=sheet("AB")) == first
    technique.mark(ledger, room=code, performance=performance, sheet=sheet("AB", {1}, ref="AB-2"))
    assert len(list(ledger.rows(kinds=[Kind.TECHNIQUE_MARKED]))) == 2
    found = technique.find(ledger, code, performance).sheets["AB"]
    assert (found.again, found.marks[IDS[0]]) == (True, "missed")


def test_two_assessors_are_compared_on_what_both_saw(ledger: Ledger) -> None:
    """30 steps both marked, 25 done and 2 missed by both, 3 marked apart: kappa by hand, and the steps."""
    code, _, performance = begun(ledger)
    technique.mark(ledger, room=code, performance=performance, sheet=sheet("AB", {1, 2, 3}))
    technique.mark(ledger, room=code, performance=performance, sheet=sheet("CD", {1, 2, 4, 5}, seen=30))
    (found,) = technique.assessors_compared(technique.performances(ledger, code))
    assert (found.assessors, found.both, found.alike, found.one_only) == (("AB", "CD"), 30, 27, 3)
    assert [step.number for step in found.differ] == [3, 4, 5]
    assert found.kappa is not None
    chance = (27 * 26 + 3 * 4) / 900  # margins: 27 and 26 done, 3 and 4 missed
    assert found.kappa.kappa is not None
    assert math.isclose(found.kappa.kappa, (27 / 30 - chance) / (1 - chance), rel_tol=1e-12)
    assert found.kappa.ci is not None


def compared(ledger: Ledger, *sheets: tuple[set[int], set[int], int]) -> technique.Compared:
    """AB and CD on as many performances as told: the steps each missed, and how many each marked."""
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    who = classes.join(ledger, room=code, name="Ines")
    for place, (first, second, seen) in enumerate(sheets):
        performance = technique.begin(ledger, room=code, learner=who, ref=f"p{place}")
        for assessor, missed in (("AB", first), ("CD", second)):
            technique.mark(ledger, room=code, performance=performance, sheet=sheet(assessor, missed, seen=seen))
    (found,) = technique.assessors_compared(technique.performances(ledger, code))
    return found


@pytest.mark.parametrize(
    ("sheets", "head", "why"),
    [
        ([(set(), set(), 33)], "Too little is known", "one mark throughout"),
        ([({1}, {1}, 2)], "Too little is known", "steps compared: 2, which leave room"),
        ([({1, 2, 3}, {1, 2, 4, 5}, 30)], "Too little is known", "steps compared: 30, which leave room"),
        ([(set(range(1, 11)), set(range(1, 11)), 33)], "They agree well", "lower end"),
        ([(set(range(1, 11)), set(range(8, 18)), 33)] * 2, "They agree poorly", "go through the steps"),
    ],
)
def test_what_a_kappa_says_is_said_in_words(
    ledger: Ledger, sheets: list[tuple[set[int], set[int], int]], head: str, why: str
) -> None:
    """Well or poorly only where the whole interval says so; two steps alike by chance are too little."""
    found = compared(ledger, *sheets)
    assert found.told[0] == head
    assert why in found.told[1]


def test_critical_steps_that_two_differ_on_are_named_once(ledger: Ledger) -> None:
    """Step 2 (critical) and 3 are told apart, whatever the number of performances."""
    found = compared(ledger, ({2, 3, 9}, {9}, 33), ({2, 9}, {9}, 33))
    assert [(step.number, times) for step, times in found.differ_times] == [(2, 2), (3, 1)]
    assert [step.number for step in found.critical] == [2] + [3] * technique_steps()[2].critical


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"assessor": ""}, "initials"),
        ({"marks": {"no_such_step": "done"}}, "steps of the sheet"),
        ({"marks": {"rest": "perhaps"}}, "done or missed"),
        ({"marks": {}, "notes": {}}, "nothing is marked"),
        ({"notes": {"rest": "x" * 301}}, "1 to 300"),
        ({"overall": "splendid"}, "one of alone"),
    ],
)
def test_a_wrong_sheet_is_refused_in_one_line(ledger: Ledger, changed: dict[str, Any], told: str) -> None:
    """Nothing is stored, and the line says what is legal."""
    code, _, performance = begun(ledger)
    before = ledger.last()
    with pytest.raises(BadInputError, match=told):
        technique.mark(ledger, room=code, performance=performance, sheet={**sheet("AB"), **changed})
    assert ledger.last() == before


def test_sheets_go_with_the_learner(ledger: Ledger) -> None:
    """After an erasure the performance is found nowhere."""
    code, who, performance = begun(ledger)
    technique.mark(ledger, room=code, performance=performance, sheet=sheet("AB"))
    classes.erase_learner(ledger, room=code, who=who, why="asked")
    with pytest.raises(NotFoundError):
        technique.find(ledger, code, performance)
