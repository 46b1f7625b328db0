"""Decisions: what the record shows, what the lecturer signs, what comes after; scenes 9 and 10."""

from __future__ import annotations

import random
from datetime import date

import pytest

from evidence_scenes import REFERENCES, Clock, paper_taken, signing, twenty_pairs, with_an_amplified_stethoscope
from hushpoint.competence.currency import Current, Lapsed
from hushpoint.desk import classes, decisions, evidence, pairs, papers, technique
from hushpoint.errors import AlreadyDoneError, BadInputError, NotFoundError
from hushpoint.guideline.competence_rules import competence_rules
from hushpoint.guideline.technique_steps import technique_steps
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind, Ledger

TODAY = date(2026, 11, 20)


def test_twenty_pairs_with_an_amplified_stethoscope_meet_the_rule(ledger: Ledger) -> None:
    """Scene 9: 18 and 20, 19 and 20 meet 90/95; the adjustment says what, a diagnosis is refused, nothing stored."""
    code, who = with_an_amplified_stethoscope(ledger)
    shown = decisions.evidence_now(ledger, code, who, "OBRIEN_90_95")
    assert shown.found is not None
    counts = [(count.end, count.within_mmhg, count.found, count.n) for count in shown.found.counts]
    assert counts == [
        ("systolic", 5, 18, 20), ("systolic", 10, 20, 20), ("diastolic", 5, 19, 20), ("diastolic", 10, 20, 20),
    ]  # fmt: skip
    assert (shown.verdict, shown.missing) == ("competent", ())
    before = ledger.last()
    told = signing(adjustment="hearing impaired: amplified head")
    with pytest.raises(BadInputError, match="never why"):
        decisions.sign(ledger, room=code, learner=who, signing=told, today=TODAY)
    assert ledger.last() == before
    told = signing(adjustment="amplified stethoscope head and a trace on a screen")
    signed = decisions.sign(ledger, room=code, learner=who, signing=told, today=TODAY)
    assert (signed.competent, signed.against, signed.body["rule"]) == (True, False, "OBRIEN_90_95")
    assert signed.body["current_until"] == "2027-05-20"
    assert "impair" not in str([row.body for row in ledger.rows()])


def test_every_piece_of_evidence_names_its_rows(ledger: Ledger) -> None:
    """Forty readings of twenty pairs; a correction by the lecturer is named too, and counts."""
    code, who = with_an_amplified_stethoscope(ledger)
    rows = [row.seq for row in ledger.rows(kinds=[Kind.READING_TAKEN])]
    shown = decisions.evidence_now(ledger, code, who, "OBRIEN_90_95")
    assert shown.rows == tuple(rows)
    first = shown.pairs[0].id
    pairs.correct(
        ledger, room=code, pair=first, observer=who, by=pairs.LECTURER, systolic=200, diastolic=70, why="slip", ref="c"
    )
    again = decisions.evidence_now(ledger, code, who, "OBRIEN_90_95")
    assert set(again.rows) - set(rows) == {ledger.last()}
    assert again.verdict == "not_yet"


def test_recertified_by_the_second_paper() -> None:
    """Scene 10: lapsed 10 Sep; 21 of 24 within 2 is not renewed, 23 and 24 of 24 are: current to 14 Mar."""
    clock = Clock("2026-03-10")
    ledger = MemoryLedger(clock)
    code, who = with_an_amplified_stethoscope(ledger)
    decisions.sign(ledger, room=code, learner=who, signing=signing(), today=date(2026, 3, 10))
    clock.day = "2026-09-14"
    opened = decisions.currency_of(decisions.decisions_of(ledger, code, who), date(2026, 9, 14))
    told = "signed 10 Mar 2026, lapsed 10 Sep 2026: a new test renews it"
    assert opened == Lapsed(date(2026, 9, 10), told, date(2026, 3, 10), 6)
    paper = papers.set_paper(ledger, room=code, setting=papers.Setting("Recheck"), seed=5)
    paper_taken(ledger, code, who, paper, "2026-09-14", [4, -4, 4] + [0] * 21)
    first = decisions.evidence_now(ledger, code, who, "NHANES_2003", variety="every")
    assert (first.verdict, first.reasons[0][:38]) == ("not_yet", "systolic and diastolic: 21 of 24 withi")
    today = date(2026, 9, 14)
    told = signing(rule="NHANES_2003", decision="not_yet", reasons="21 of 24", variety="every", ref="d2")
    kept = decisions.sign(ledger, room=code, learner=who, signing=told, today=today)
    assert (kept.body["attempt"], kept.body["current_until"]) == (1, "")
    assert isinstance(decisions.currency_of(decisions.decisions_of(ledger, code, who), today), Lapsed)
    paper_taken(ledger, code, who, paper, "2026-09-14", [4] + [0] * 23)
    second = decisions.evidence_now(ledger, code, who, "NHANES_2003", variety="every")
    assert (second.verdict, second.basis == first.basis) == ("competent", False)
    told = signing(rule="NHANES_2003", reasons="23 and 24 of 24", variety="every", ref="d3")
    renewed = decisions.sign(ledger, room=code, learner=who, signing=told, today=today)
    assert renewed.body["attempt"] == 2
    found = decisions.currency_of(decisions.decisions_of(ledger, code, who), today)
    assert isinstance(found, Current)
    assert (found.until, found.reason) == (date(2027, 3, 14), "signed 14 Sep 2026, current to 14 Mar 2027")
    clock.day = "2026-09-15"
    assert decisions.evidence_now(ledger, code, who, "OBRIEN_90_95").pairs == ()


def test_a_decision_is_amended_and_appealed_by_rows_alone(ledger: Ledger) -> None:
    """The first writing stays; sending the same act again stores nothing; currency follows what stands."""
    code, who = with_an_amplified_stethoscope(ledger)
    signed = decisions.sign(ledger, room=code, learner=who, signing=signing(), today=TODAY)
    assert decisions.sign(ledger, room=code, learner=who, signing=signing(), today=TODAY) == signed
    with pytest.raises(AlreadyDoneError):
        decisions.appeal(
            ledger, room=code, learner=who, row=signed.row, by="learner", grounds="heard", outcome="upheld", ref="x"
        )
    for _ in range(2):
        decisions.appeal(
            ledger, room=code, learner=who, row=signed.row, by="learner", grounds="gauge", outcome="open", ref="a1"
        )
        found = decisions.amend(
            ledger, room=code, learner=who, row=signed.row, name="decision", new="not_yet", by="L. Okafor",
            why="the gauge was 6 low", ref="m1",
        )  # fmt: skip
    assert (len(found.amendments), len(found.appeals), found.body["decision"]) == (1, 1, "competent")
    assert (found.competent, found.against) == (False, True)
    assert not isinstance(decisions.currency_of([found], TODAY), Current)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"decision": "failed"}, "decision: must be one of competent, not_yet"),
        ({"reasons": " "}, "reasons: must not be empty"),
        ({"assessor": ""}, "assessor: must not be empty"),
        ({"signed_on": "2027-01-01"}, "signed on: must not lie after today"),
        ({"signed_on": "10 March"}, "signed on: must be a day"),
        ({"rule": "TEN"}, "must be one of NHANES_2003"),
        ({"basis": "nothing"}, "basis: must be the pairs"),
        ({"variety": "some"}, "variety: must be one of high"),
        ({"retain_months": "1"}, "retain months: must be"),
        ({"ref": "a b"}, "ref: must be"),
        ({"reasons": "x" * 601}, "reasons: at most 600"),
    ],
)
def test_what_is_missing_is_told_and_nothing_is_stored(ledger: Ledger, changed: dict[str, str], said: str) -> None:
    """One line for each; the journal stays as it was."""
    code, who = with_an_amplified_stethoscope(ledger)
    before = ledger.last()
    with pytest.raises(BadInputError, match=said):
        decisions.sign(ledger, room=code, learner=who, signing=signing(**changed), today=TODAY)
    assert ledger.last() == before


def test_a_critical_step_missed_stands_in_the_way_and_is_named(ledger: Ledger) -> None:
    """The rule is met, the latest sheet missed step 2: not yet, with the row of the sheet."""
    code, who = with_an_amplified_stethoscope(ledger)
    performance = technique.begin(ledger, room=code, learner=who, ref="p1")
    steps = technique_steps()
    marks = {step.id: "missed" if step.number == 2 else "done" for step in steps}
    sheet = {"assessor": "AB", "marks": marks, "notes": {}, "overall": "alone", "ref": "s"}
    row = technique.mark(ledger, room=code, performance=performance, sheet=sheet)
    shown = decisions.evidence_now(ledger, code, who, "OBRIEN_90_95")
    assert shown.verdict == "not_yet"
    assert f"(row {row}): 2 " in shown.missing[0]


@pytest.mark.parametrize("rule", ["OBRIEN_90_95", "OBRIEN_85_95", "AAMI_2002"])
def test_the_class_mean_written_every_time_is_never_shown_competent(rule: str) -> None:
    """In six classes with a reading at 146 and one at 164: with the variety asked, never."""
    draw = random.Random(6)
    assert rule in competence_rules()
    for _ in range(6):
        ledger = MemoryLedger()
        code = classes.open_class(ledger, name="A", policy_id="PALPATED_30")
        who = classes.join(ledger, room=code, name="Ines")
        references = [(2 * round(draw.gauss(117, 12) / 2), 2 * round(draw.gauss(72, 9) / 2)) for _ in range(18)]
        references += [(146, 88), (164, 96)]
        off = [(116 - upper, 72 - lower) for upper, lower in references]
        twenty_pairs(ledger, code, who, off, references)
        assert decisions.evidence_now(ledger, code, who, rule).verdict != "competent"


def test_nothing_is_shown_of_an_erased_learner(ledger: Ledger) -> None:
    """Name, evidence and decisions are gone; signing again is refused."""
    code, who = with_an_amplified_stethoscope(ledger)
    decisions.sign(ledger, room=code, learner=who, signing=signing(), today=TODAY)
    classes.erase_learner(ledger, room=code, who=who, why="asked")
    assert decisions.decisions_of(ledger, code, who) == []
    with pytest.raises(NotFoundError):
        decisions.evidence_now(ledger, code, who, "OBRIEN_90_95")
    assert decisions.standings(ledger, code, TODAY) == []


def test_learners_due_for_renewal_stand_first(ledger: Ledger) -> None:
    """Lapsed, then due within four weeks, then never signed, then current."""
    code = classes.open_class(ledger, name="A", policy_id="PALPATED_30")
    for name, day in (("Current", "2026-11-01"), ("Due", "2026-06-01"), ("Lapsed", "2026-03-10"), ("Never", "")):
        who = classes.join(ledger, room=code, name=name)
        twenty_pairs(ledger, code, who, [(0, 0)] * 20, REFERENCES)
        if day:
            decisions.sign(ledger, room=code, learner=who, signing=signing(signed_on=day, ref=name), today=TODAY)
    assert [one.name for one in decisions.standings(ledger, code, TODAY)] == ["Lapsed", "Due", "Never", "Current"]


def test_what_was_shown_is_shown_again_from_the_rows_of_that_day(ledger: Ledger) -> None:
    """Further pairs and a correction afterwards change what is shown now, never what was shown then."""
    code, who = with_an_amplified_stethoscope(ledger)
    signed = decisions.sign(ledger, room=code, learner=who, signing=signing(), today=TODAY)
    twenty_pairs(ledger, code, who, [(30, 30)] * 20, REFERENCES)
    then = decisions.evidence_then(evidence.part_of(ledger, code, who), signed)
    assert (then.verdict, list(then.rows)) == ("competent", signed.body["shown"]["rows"])
