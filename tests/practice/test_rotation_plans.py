"""Rotations: everyone tests, arms are respected, second listeners go round, and changes keep what is done."""

from __future__ import annotations

import itertools
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hushpoint.errors import BadInputError
from hushpoint.practice.rotation import (
    LECTURER,
    Asked,
    Infeasible,
    Person,
    Plan,
    check,
    plan,
    plan_of,
    replan,
)

HOUR = Asked(minutes=60, gauges=6, double_heads=2)


def people(count: int, *, competent: int = 0, unmeasured: int = 0) -> list[Person]:
    """Return so many people, some of them competent already, some of them never measured, some on one arm only."""
    return [
        Person(
            f"p{place:03d}",
            "none" if place < unmeasured else "left" if place % 9 == 8 else "both",
            competent=place >= count - competent,
            owed=float(place % 5),
        )
        for place in range(count)
    ]


def planned(found: Plan | Infeasible) -> Plan:
    assert isinstance(found, Plan), found
    return found


def test_twenty_four_learners_six_gauges_an_hour() -> None:
    """All of 24 test at least three times, within the hour, at most two second listeners at once."""
    began = time.perf_counter()
    who = people(24, competent=4, unmeasured=2)
    found = planned(plan(who, HOUR))
    took = time.perf_counter() - began
    print(f"24 learners: least {min(found.tests.values())} tests, {len(found.pairs)} paired, {took:.2f} s")
    assert min(found.tests.values()) >= 3
    assert check(found, who, HOUR) == []
    learning = {person.id for person in who if not person.competent}
    assert len(learning & found.pairs.keys()) >= 17


def test_two_hundred_learners() -> None:
    """200 learners at 50 gauges with ten double heads: all three times."""
    who, asked = people(200, competent=30, unmeasured=10), Asked(minutes=60, gauges=50, double_heads=10)
    began = time.perf_counter()
    found = planned(plan(who, asked))
    print(f"200 learners: {len(found.pairs)} paired, {time.perf_counter() - began:.2f} s")
    assert min(found.tests.values()) >= 3
    assert check(found, who, asked) == []


def test_the_lecturer_listens_at_one_place_at_a_time_and_to_somebody_else_each_time() -> None:
    """Without competent learners the lecturer's 15 readings go to 15 different learners, those longest owed first."""
    who = people(24)
    found = planned(plan(who, HOUR))
    heard = [turn.tester for slot in found.slots for turn in slot if turn.pair == LECTURER]
    assert len(heard) == len(set(heard)) == 15
    assert all(sum(turn.pair == LECTURER for turn in slot) <= 1 for slot in found.slots)
    owed = {person.id: person.owed for person in who}
    left_out = [owed[person.id] for person in who if person.id not in heard]
    assert max(left_out) <= min(owed[one] for one in heard) + 1


def test_who_is_not_measured_tests_like_everyone_and_is_never_the_client() -> None:
    """Six of 24 are never clients, one arm stays free where asked, and all still test three times."""
    who = people(24, unmeasured=6)
    found = planned(plan(who, HOUR))
    clients = {turn.client for slot in found.slots for turn in slot}
    assert not clients & {person.id for person in who if person.arms == "none"}
    left_only = {person.id for person in who if person.arms == "left"}
    assert all(turn.arm == "left" for slot in found.slots for turn in slot if turn.client in left_only)
    assert min(found.tests.values()) >= 3


def test_an_arm_rests_between_two_readings() -> None:
    """In groups of four that are all measured, nobody is measured twice running, and arms alternate."""
    found = planned(plan(people(24), HOUR))
    for group in range(6):
        clients = [turn.client for slot in found.slots for turn in slot if turn.group == group]
        assert all(a != b for a, b in itertools.pairwise(clients))


def test_one_leaves_in_mid_class() -> None:
    """What is done stays; other groups go on with the running reading; the rest is planned without the one who left."""
    who = people(24, competent=4)
    before = planned(plan(who, HOUR))
    gone = before.groups[2][1]
    here = [person for person in who if person.id != gone]
    after = planned(replan(before, here, HOUR, done_slots=5, running=True))
    assert after.slots[:5] == before.slots[:5]
    others = [turn for turn in before.slots[5] if turn.group != 2]
    assert [turn for turn in after.slots[5] if turn.group != 2] == others
    assert all(not turn.role_of(gone) for slot in after.slots[5:] for turn in slot)
    assert check(after, here, HOUR, from_slot=5) == []
    assert min(after.tests[person.id] for person in here) >= 3


def test_a_group_that_became_too_small_joins_others_and_letters_stay() -> None:
    """Two of four leave: the other two are taken in elsewhere, and every other group keeps its place."""
    who = people(24)
    before = planned(plan(who, HOUR))
    here = [person for person in who if person.id not in before.groups[0][:2]]
    after = planned(replan(before, here, HOUR, done_slots=3))
    assert after.groups[0] == ()
    assert all(set(old) <= set(new) for old, new in zip(before.groups[1:], after.groups[1:], strict=True))
    assert {one for group in after.groups for one in group} == {person.id for person in here}
    assert check(after, here, HOUR, from_slot=3) == []


def test_somebody_comes_late() -> None:
    """A newcomer joins the smallest group and tests as often as the time allows."""
    who = people(23)
    before = planned(plan(who, HOUR))
    here = [*who, Person("late")]
    after = planned(replan(before, here, HOUR, done_slots=4))
    assert after.tests["late"] >= 2
    assert check(after, here, HOUR, from_slot=4) == []


@pytest.mark.parametrize(
    ("count", "asked", "words"),
    [
        (24, Asked(40, 6, 2), ["give 48 minutes", "use 8 gauges", "ask for 2 tests each", "allow 3 minutes a reading"]),
        (200, Asked(60, 6), ["give 408 minutes", "use 40 gauges"]),
    ],
)
def test_infeasible_says_what_to_relax_and_each_change_alone_is_enough(
    count: int, asked: Asked, words: list[str]
) -> None:
    """Each line is one change; made alone it gives a plan."""
    who = people(count)
    found = plan(who, asked)
    assert isinstance(found, Infeasible)
    assert [line for line in found.relax if line in words] == words
    for changed in ({"minutes": int(words[0].split()[1])}, {"gauges": int(words[1].split()[1])}):
        given = {name: getattr(asked, name) for name in ("minutes", "gauges", "double_heads", "tests", "slot_minutes")}
        assert isinstance(plan(who, Asked(**{**given, **changed})), Plan)


def test_nobody_to_measure_is_told() -> None:
    """Where nobody agreed there is no plan, and the line says what is missing without a name."""
    found = plan([Person(f"p{one}", "none") for one in range(8)], HOUR)
    assert isinstance(found, Infeasible)
    assert "0 of 8" in found.why


def test_a_plan_is_made_again_from_what_is_kept() -> None:
    """JSON and back gives an equal plan."""
    found = planned(plan(people(10, competent=2), HOUR))
    assert plan_of(found.to_json()) == found


def test_out_of_range_is_refused() -> None:
    """One line with what is legal."""
    with pytest.raises(BadInputError, match="5 to 480"):
        Asked(0, 6)
    with pytest.raises(BadInputError, match="2 to 500"):
        plan([Person("one")], HOUR)
    with pytest.raises(BadInputError, match="twice"):
        plan([Person("one"), Person("one")], HOUR)


@settings(max_examples=60, deadline=None)
@given(
    count=st.integers(2, 40),
    gauges=st.integers(1, 12),
    double=st.integers(0, 4),
    arms=st.lists(st.sampled_from(["both", "left", "right", "none"]), min_size=40, max_size=40),
    gone=st.sets(st.integers(0, 39), max_size=10),
    slot=st.integers(0, 15),
)
def test_every_plan_and_every_change_holds(
    count: int, gauges: int, double: int, arms: list[str], gone: set[int], slot: int
) -> None:
    """Whatever the room has: a plan that `check` finds nothing wrong with, or what to relax; so too after a change."""
    asked = Asked(60, gauges, double, tests=2)
    who = [Person(f"p{place}", arms[place], competent=place % 4 == 0) for place in range(count)]  # type: ignore[arg-type]
    found = plan(who, asked)
    if isinstance(found, Infeasible):
        assert found.why
        return
    assert check(found, who, asked) == []
    assert min(found.tests.values()) >= 2
    here = [person for place, person in enumerate(who) if place not in gone]
    if len(here) < 2:
        return
    after = replan(found, here, asked, done_slots=slot, running=True)
    if isinstance(after, Plan):
        assert check(after, here, asked, from_slot=slot + 1) == []
        assert after.slots[:slot] == found.slots[:slot]
        placed = [one for group in after.groups for one in group]
        assert sorted(placed) == sorted(person.id for person in here)
