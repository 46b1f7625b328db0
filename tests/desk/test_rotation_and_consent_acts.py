"""A class's rotation on the ledger: agreement respected, nothing stored without a plan, changes in mid-class kept."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from hushpoint.desk import classes, consent, pairs, rotation
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.ledger.records import Kind, Ledger
from hushpoint.practice.rotation import Asked, Infeasible

HOUR = Asked(minutes=60, gauges=2, double_heads=1)
TODAY = date(2026, 3, 2)
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def a_class(ledger: Ledger, count: int = 8) -> tuple[str, dict[str, str]]:
    """Return a class code and its learners' ids by name."""
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    classes.add_roster(ledger, room=code, names=[f"Invented {place}" for place in range(count)])
    return code, {name: who for who, name in classes.names_of(ledger, code).items()}


def planned(ledger: Ledger, code: str, *, paper: bool = True, **more: frozenset[str]) -> rotation.Rotation | Infeasible:
    given = {"absent": frozenset[str](), "competent": frozenset[str](), **more}
    return rotation.plan_rotation(ledger, room=code, asked=HOUR, paper=paper, today=TODAY, **given)


def test_only_who_agreed_is_measured_and_on_that_arm(ledger: Ledger) -> None:
    """Six said yes, one only left, one withdrew: the one who withdrew is never the client, the other on the left."""
    code, ids = a_class(ledger)
    for name, who in ids.items():
        consent.agree(ledger, room=code, who=who, left=True, right=name != "Invented 1", today=TODAY)
    consent.withdraw(ledger, room=code, who=ids["Invented 0"])
    found = planned(ledger, code, paper=False)
    assert isinstance(found, rotation.Rotation)
    turns = [turn for slot in found.plan.slots for turn in slot]
    assert all(turn.client != ids["Invented 0"] for turn in turns)
    assert {turn.arm for turn in turns if turn.client == ids["Invented 1"]} == {"left"}


def test_a_no_on_the_phone_outweighs_agreement_on_paper(ledger: Ledger) -> None:
    """With the box for paper ticked, silence counts as yes and a withdrawal stays a no."""
    code, ids = a_class(ledger)
    consent.withdraw(ledger, room=code, who=ids["Invented 3"])
    found = planned(ledger, code)
    assert isinstance(found, rotation.Rotation)
    clients = {turn.client for slot in found.plan.slots for turn in slot}
    assert clients == set(ids.values()) - {ids["Invented 3"]}


def test_an_agreement_ends_by_itself(ledger: Ledger) -> None:
    """On its last day it holds, on the next it does not; then the person is asked again."""
    code, ids = a_class(ledger, 1)
    who = ids["Invented 0"]
    until = consent.agree(ledger, room=code, who=who, left=True, right=True, today=TODAY).until
    assert consent.agreements(ledger, code, until)[who].arms == "both"
    assert consent.agreements(ledger, code, until + timedelta(days=1)) == {}


def test_withdrawing_keeps_no_reason(ledger: Ledger) -> None:
    """The row's body is empty, and erasing the person takes even that."""
    code, ids = a_class(ledger, 1)
    consent.withdraw(ledger, room=code, who=ids["Invented 0"])
    assert [row.body for row in ledger.rows(kinds=[Kind.CONSENT_WITHDRAWN])] == [{}]
    classes.erase_learner(ledger, room=code, who=ids["Invented 0"], why="asked")
    assert consent.agreements(ledger, code, TODAY) == {}


def test_without_a_plan_nothing_is_stored(ledger: Ledger) -> None:
    """Nobody agreed: the answer says what to relax, and the journal is as before."""
    code, _ = a_class(ledger)
    before = ledger.last()
    found = planned(ledger, code, paper=False)
    assert isinstance(found, Infeasible)
    assert ledger.last() == before
    assert rotation.rotation_of(ledger, code) is None


def test_the_clock_starts_holds_and_goes_on(ledger: Ledger) -> None:
    """Five minutes in, slot 1 runs; a hold of ten minutes costs nothing; each act twice is one row."""
    code, _ = a_class(ledger)
    planned(ledger, code)

    def act(what: str, minutes: float) -> rotation.Rotation:
        found = rotation.change(ledger, room=code, act=what, who="", now=NOON + timedelta(minutes=minutes))
        assert isinstance(found, rotation.Rotation)
        return found

    with pytest.raises(BadInputError, match="start it first"):
        act("hold", 0)
    act("start", 0)
    running = act("start", 1)
    assert running.slot(NOON + timedelta(minutes=5)) == 1
    assert running.left_s(NOON + timedelta(minutes=5)) == 180
    act("hold", 5)
    assert act("hold", 6).slot(NOON + timedelta(minutes=14)) == 1
    act("go_on", 15)
    stands = rotation.rotation_of(ledger, code)
    assert stands is not None
    assert stands.slot(NOON + timedelta(minutes=17)) == 1
    assert stands.slot(NOON + timedelta(minutes=18)) == 2
    assert stands.slot(NOON + timedelta(hours=3)) == 15
    assert len(list(ledger.rows(kinds=[Kind.ROTATION_CHANGED]))) == 3


def test_one_leaves_and_comes_back_in_mid_class(ledger: Ledger) -> None:
    """What was done stays in the plan; from then on the one who left has no part, until they are back."""
    code, ids = a_class(ledger)
    first = planned(ledger, code)
    assert isinstance(first, rotation.Rotation)
    rotation.change(ledger, room=code, act="start", who="", now=NOON)
    who = ids["Invented 2"]
    left = rotation.change(ledger, room=code, act="absent", who=who, now=NOON + timedelta(minutes=13))
    assert isinstance(left, rotation.Rotation)
    assert left.plan.slots[:3] == first.plan.slots[:3]
    assert all(rotation.turn_for(left, who, slot) is None for slot in range(3, 15))
    again = rotation.change(ledger, room=code, act="absent", who=who, now=NOON + timedelta(minutes=14))
    assert again == left
    back = rotation.change(ledger, room=code, act="back", who=who, now=NOON + timedelta(minutes=25))
    assert isinstance(back, rotation.Rotation)
    assert back.plan.slots[:6] == left.plan.slots[:6]
    assert any(rotation.turn_for(back, who, slot) for slot in range(6, 15))
    assert rotation.rotation_of(ledger, code) == back


def test_who_was_paired_lately_waits(ledger: Ledger) -> None:
    """A learner with a fair pair on the ledger is owed less than one who never had any."""
    code, ids = a_class(ledger, 3)
    who = ids["Invented 1"]
    pair = pairs.open_pair(ledger, room=code, opening=pairs.Opening(who, client="K1", taken_at="2026-02-28T10:00:00Z"))
    for observer in (who, pairs.LECTURER):
        pairs.seal(ledger, room=code, pair=pair, observer=observer, systolic=124, diastolic=82, ref=observer[:8])
    here = rotation.people_here(ledger, code, absent=frozenset(), competent=frozenset(), paper=True, today=TODAY)
    owed = {person.id: person.owed for person in here}
    assert owed[who] == 2
    assert owed[ids["Invented 0"]] == rotation.NEVER_PAIRED_DAYS


def test_acts_that_cannot_be_are_refused(ledger: Ledger) -> None:
    """No rotation, an unknown act, an unknown person: one line each, nothing stored."""
    code, _ = a_class(ledger)
    with pytest.raises(NotFoundError, match="No rotation"):
        rotation.change(ledger, room=code, act="start", who="", now=NOON)
    planned(ledger, code)
    before = ledger.last()
    with pytest.raises(BadInputError, match="start, hold"):
        rotation.change(ledger, room=code, act="dance", who="", now=NOON)
    with pytest.raises(NotFoundError):
        rotation.change(ledger, room=code, act="absent", who="nobody", now=NOON)
    assert ledger.last() == before


def test_letters_go_on_after_z() -> None:
    """A to Z, then AA."""
    assert [rotation.letter(place) for place in (0, 25, 26, 27, 52)] == ["A", "Z", "AA", "AB", "BA"]


def test_a_surprising_reading_is_noted_in_private(ledger: Ledger) -> None:
    """Numbers are optional, the wish is one of three; what is noted is the person's own data and can be erased."""
    code, ids = a_class(ledger, 1)
    who = ids["Invented 0"]
    consent.note_finding(ledger, room=code, who=who, systolic="148", diastolic="", wish="talk", note=" twice ")
    assert [(one.systolic_mmhg, one.diastolic_mmhg, one.wish, one.note) for one in consent.findings(ledger, code)] == [
        (148, None, "talk", "twice")
    ]
    for wrong in ({"systolic": "420"}, {"wish": "shout"}, {"note": "x" * 501}):
        given = {"systolic": "", "diastolic": "", "wish": "talk", "note": "", **wrong}
        with pytest.raises(BadInputError):
            consent.note_finding(ledger, room=code, who=who, **given)
    classes.erase_learner(ledger, room=code, who=who, why="asked")
    assert consent.findings(ledger, code) == []


def test_the_course_writes_its_own_plan(ledger: Ledger) -> None:
    """Until then a usual one is shown; an empty one is refused."""
    code, _ = a_class(ledger, 1)
    assert consent.plan_text(ledger, code) == consent.USUAL_PLAN
    consent.set_plan(ledger, room=code, text="Rest.\r\nThen again. ")
    assert consent.plan_text(ledger, code) == "Rest.\nThen again."
    with pytest.raises(BadInputError, match="1 to 4000"):
        consent.set_plan(ledger, room=code, text="  ")
