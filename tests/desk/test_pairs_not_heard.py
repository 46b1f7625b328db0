"""Fair pairs in which somebody heard nothing at an end: what counts as not within, what is no answer, what is said."""

from __future__ import annotations

import zipfile
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pytest

from evidence_scenes import REFERENCES
from hushpoint.cli.judge import judge_file
from hushpoint.desk import classes, decisions, pairs
from hushpoint.desk.bundle import bundle
from hushpoint.desk.bundle_check import verify_bundle
from hushpoint.desk.evidence import Evidence
from hushpoint.ledger.records import Ledger

Numbers = tuple[int | None, int | None]


def class_with(ledger: Ledger, odd: list[tuple[Numbers, Numbers]]) -> tuple[str, str]:
    """A learner with twenty pairs that agree wholly, and further ones given as (learner, reference)."""
    code = classes.open_class(ledger, name="A", policy_id="PALPATED_30")
    who = classes.join(ledger, room=code, name="Ines")
    every: list[tuple[Numbers, Numbers]] = [(one, one) for one in REFERENCES]
    for place, (mine, theirs) in enumerate(every + odd):
        pair = pairs.open_pair(ledger, room=code, opening=pairs.Opening(who, client=f"K{place % 10}"))
        for observer, (upper, lower) in ((who, mine), (pairs.LECTURER, theirs)):
            pairs.seal(ledger, room=code, pair=pair, observer=observer, systolic=upper, diastolic=lower, ref="s")
    return code, who


def counted(shown: Evidence) -> dict[str, tuple[int, int]]:
    """How many of how many lie within 5 mmHg, by end."""
    assert shown.found is not None
    return {one.end: (one.found, one.n) for one in shown.found.counts if one.within_mmhg == 5}


def test_what_the_learner_alone_did_not_hear_counts_as_not_within(ledger: Ledger) -> None:
    """Three pairs without the learner's systolic, one of them without diastolic too: counted, and said."""
    odd: list[tuple[Numbers, Numbers]] = [((None, 80), (130, 80)), ((None, 70), (120, 70)), ((None, None), (124, 76))]
    code, who = class_with(ledger, odd)
    shown = decisions.evidence_now(ledger, code, who, "OBRIEN_90_95")
    assert counted(shown) == {"systolic": (20, 23), "diastolic": (22, 23)}
    assert shown.verdict == "not_yet"
    assert "no systolic written where the reference wrote one: 3; each counts as not within" in shown.notes
    assert "no diastolic written where the reference wrote one: 1; each counts as not within" in shown.notes


@pytest.mark.parametrize(
    ("mine", "theirs", "systolic", "diastolic", "note"),
    [
        ((130, 80), (None, 80), (20, 20), (21, 21), "pairs where the reference wrote no systolic, left out there: 1"),
        ((130, 80), (130, None), (21, 21), (20, 20), "pairs where the reference wrote no diastolic, left out there: 1"),
        ((130, 80), (None, None), (20, 20), (20, 20), "pairs where the reference wrote no systolic, left out there: 1"),
    ],
)
def test_an_end_that_the_reference_did_not_hear_is_no_answer(
    ledger: Ledger, mine: Numbers, theirs: Numbers, systolic: tuple[int, int], diastolic: tuple[int, int], note: str
) -> None:
    """It is counted neither for nor against, the other end still is, and the page says so."""
    code, who = class_with(ledger, [(mine, theirs)])
    shown = decisions.evidence_now(ledger, code, who, "OBRIEN_90_95")
    assert counted(shown) == {"systolic": systolic, "diastolic": diastolic}
    assert (shown.verdict, note in shown.notes) == ("competent", True)
    assert shown.curve is not None
    assert len(shown.curve.scores) == 20 + (theirs != (None, None))


def test_a_reference_who_heard_nothing_at_all_leaves_nothing_to_judge(ledger: Ledger) -> None:
    """Only such a pair: too few to say, with the reason."""
    code = classes.open_class(ledger, name="A", policy_id="PALPATED_30")
    who = classes.join(ledger, room=code, name="Ines")
    pair = pairs.open_pair(ledger, room=code, opening=pairs.Opening(who))
    pairs.seal(ledger, room=code, pair=pair, observer=who, systolic=120, diastolic=80, ref="s")
    pairs.seal(ledger, room=code, pair=pair, observer=pairs.LECTURER, systolic=None, diastolic=None, ref="s")
    shown = decisions.evidence_now(ledger, code, who, "OBRIEN_90_95")
    assert (shown.verdict, shown.found) == ("too_few", None)
    assert shown.notes == ("the reference heard no systolic in any of the pairs, so none is an answer: 1",)


def test_the_readings_of_a_bundle_are_judged_by_command_as_on_the_page(
    ledger: Ledger, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A stranger who runs `hushpoint judge` on the bundle's own file comes to the same counts."""
    code, who = class_with(ledger, [((None, 80), (130, 80)), ((None, 70), (120, 70)), ((None, 76), (124, 76))])
    made = bundle(ledger, room=code, who=who, made_at=datetime(2026, 11, 20, tzinfo=UTC))
    assert verify_bundle(made).problems == []
    file = tmp_path / "readings.csv"
    with zipfile.ZipFile(BytesIO(made)) as packed:
        file.write_bytes(packed.read("readings.csv"))
    asked = {"learner": "learner", "reference": "reference", "rule": "OBRIEN_90_95"}
    judge_file(file, **asked, rules=None, variety=True, as_json=False)
    said = capsys.readouterr().out
    assert "not yet" in said.splitlines()[0]
    assert "systolic: 20 of 23 within 5 mmHg" in said
