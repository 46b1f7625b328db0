"""Who tests whom, and when: groups at a gauge, and a timetable of tester, client, recorder and watcher.

Everyone tests at least so many times. A second pair of ears (the lecturer, or a learner who is competent already)
listens on a double-headed stethoscope as often as time allows, with those first who are still owed one. Groups and
roles are built by counting (the fewest turns come next) and checked by `check`; who gets the second listener is a small
integer programme (scipy's HiGHS). People are ids here; why somebody is not measured is not known to this room.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from hushpoint.errors import BadInputError

Arms = Literal["both", "left", "right", "none"]
LECTURER = "lecturer"
USUAL_GROUP = 4
"""Client, tester, recorder and watcher (HESS 544 practice lab; SEEN)."""
SMALLEST_GROUP = 3
SLOT_MINUTES = 4
"""One reading with its writing down and the change of places (job facts 1: about 4 min a reading; DERIVED)."""
MOST_PEOPLE, MOST_SLOTS = 500, 120
RUNNING_COUNTS = 1.5
"""Having been measured just now weighs as much as so many times more (design choice)."""
FIRST_PAIR = 1000.0
"""Weight of a learner's first pairing beside a further one; being owed longest doubles it (design choice)."""


@dataclass(frozen=True, slots=True)
class Person:
    """A learner in the room.

    `arms`: on which this person may be measured, "none" for not at all. `competent`: may listen as the reference.
    `owed`: how long a pairing has been owed, larger first (days since the last, or since skill was last shown).
    """

    id: str
    arms: Arms = "both"
    competent: bool = False
    owed: float = 0.0


@dataclass(frozen=True, slots=True)
class Asked:
    """What the room has: minutes, working gauges, double-headed stethoscopes; and how many tests each learner gets."""

    minutes: int
    gauges: int
    double_heads: int = 0
    tests: int = 3
    slot_minutes: int = SLOT_MINUTES
    lecturer_pairs: bool = True

    def __post_init__(self) -> None:
        """Raise BadInputError outside the legal ranges."""
        for what, value, low, high in (
            ("minutes", self.minutes, 5, 480),
            ("gauges", self.gauges, 1, 100),
            ("double heads", self.double_heads, 0, 100),
            ("tests for each", self.tests, 1, 20),
            ("minutes a reading", self.slot_minutes, 2, 20),
        ):
            if not low <= value <= high:
                raise BadInputError(f"{what} {value}: must be {low} to {high}")

    @property
    def slots(self) -> int:
        """How many readings one gauge gives in the time."""
        return min(self.minutes // self.slot_minutes, MOST_SLOTS)


@dataclass(frozen=True, slots=True)
class Turn:
    """One reading of one group: who does what. `pair` is the second listener, "" where there is none.

    A competent learner who listens as second is not also recorder or watcher.
    """

    group: int
    tester: str
    client: str
    arm: Literal["left", "right"]
    recorder: str
    watchers: tuple[str, ...] = ()
    pair: str = ""

    def role_of(self, person: str) -> str:
        """Return tester, client, second listener, recorder or watcher; "" for somebody else."""
        for role, one in (("tester", self.tester), ("client", self.client), ("second listener", self.pair)):
            if one == person:
                return role
        if self.recorder == person:
            return "recorder"
        return "watcher" if person in self.watchers else ""


@dataclass(frozen=True, slots=True)
class Plan:
    """Groups (ids, in order) and slots (turns of every group at one time). `tests`: how many each learner gets."""

    groups: tuple[tuple[str, ...], ...]
    slots: tuple[tuple[Turn, ...], ...]

    @property
    def tests(self) -> dict[str, int]:
        """How many readings each learner takes."""
        counted = Counter(turn.tester for slot in self.slots for turn in slot)
        return {person: counted[person] for group in self.groups for person in group}

    @property
    def pairs(self) -> dict[str, int]:
        """How many of them have a second listener."""
        return dict(Counter(turn.tester for slot in self.slots for turn in slot if turn.pair))

    def to_json(self) -> dict[str, Any]:
        """Return the plan for the journal: lists in the order of Turn's fields."""
        return {
            "groups": [list(group) for group in self.groups],
            "slots": [
                [
                    [turn.group, turn.tester, turn.client, turn.arm, turn.recorder, list(turn.watchers), turn.pair]
                    for turn in slot
                ]
                for slot in self.slots
            ],
        }


def plan_of(kept: Mapping[str, Any]) -> Plan:
    """Return a plan from what `Plan.to_json` gave."""
    return Plan(
        tuple(tuple(group) for group in kept["groups"]),
        tuple(
            tuple(Turn(group, tester, client, arm, recorder, tuple(watchers), pair) for group, tester, client, arm,
                  recorder, watchers, pair in slot)
            for slot in kept["slots"]
        ),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Infeasible:
    """No timetable gives everyone the tests asked: why, and each single change that would make one possible."""

    why: str
    relax: tuple[str, ...]


def plan(people: Sequence[Person], asked: Asked) -> Plan | Infeasible:
    """Return groups and timetable, or what to relax. The same people in the same order give the same plan.

    Raises BadInputError for fewer than two or more than 500 people, or an id twice.
    """
    _checked(people)
    count = _group_count(people, asked)
    if count is None:
        return _infeasible(people, asked)
    groups = _dealt(people, count)
    return _timetable(groups, people, asked, done=(), slots=asked.slots)


def replan(
    kept: Plan, people: Sequence[Person], asked: Asked, *, done_slots: int, running: bool = False
) -> Plan | Infeasible:
    """Return the plan anew from slot `done_slots` on, for those here now; what is done stays as it is.

    Groups stay together and keep their places; a group that became too small joins others and its place stays empty,
    newcomers go to the smallest. Where that slot is `running`, groups that did not change go on with it. Tests done
    count. Where the rest of the time does not give everyone the tests asked, as many as possible are given, evenly:
    what is missing shows in `Plan.tests`.
    """
    _checked(people)
    here = {person.id: person for person in people}
    groups = _kept_together(kept, people, asked)
    if any(group and _clients(group, here) < 2 for group in groups):
        count = max(1, min(sum(bool(group) for group in groups), _able(people) // 2))
        groups = [list(group) for group in _dealt(people, count)]
        if any(_clients(group, here) < 2 for group in groups):
            return _infeasible(people, asked)
    done = kept.slots[: max(0, min(done_slots, len(kept.slots)))]
    rest = len(kept.slots) - len(done)
    if running and rest:
        before = dict(enumerate(kept.groups))
        same = [place for place, group in enumerate(groups) if group and tuple(group) == before.get(place)]
        now = {turn.group: turn for turn in kept.slots[len(done)] if turn.group in same}
        counts, last = _counted(done)
        turns = tuple(
            now.get(place) or _turn(place, group, here, counts, last, len(done))
            for place, group in enumerate(groups)
            if group
        )
        done, rest = (*done, turns), rest - 1
    return _timetable(groups, people, asked, done=done, slots=rest)


def _kept_together(kept: Plan, people: Sequence[Person], asked: Asked) -> list[list[str]]:
    here = {person.id for person in people}
    groups = [[one for one in group if one in here] for group in kept.groups]
    placed = {one for group in groups for one in group}
    homeless = [person.id for person in people if person.id not in placed]
    smallest = min(SMALLEST_GROUP, len(people))
    most = max(1, min(asked.gauges, len(people) // smallest))
    while True:
        living = [group for group in groups if group]
        least = min(living, key=len, default=None)
        if least is None or (len(living) <= most and len(least) >= smallest):
            break
        homeless += least
        least.clear()
    living = [group for group in groups if group] or groups[:1]
    for one in homeless:
        min(living, key=len).append(one)
    return groups


def check(found: Plan, people: Iterable[Person], asked: Asked, *, from_slot: int = 0) -> list[str]:
    """Return what is wrong with a plan from a slot on, in words; nothing where all holds. Knows nothing of how it was
    made.
    """
    here = {person.id: person for person in people}
    wrong = []
    if sum(1 for group in found.groups if group) > asked.gauges:
        wrong.append(f"{len(found.groups)} groups for {asked.gauges} gauges")
    for number, slot in enumerate(found.slots[from_slot:], start=from_slot):
        busy = [one for turn in slot for one in (turn.tester, turn.client, turn.recorder, turn.pair, *turn.watchers)]
        busy = [one for one in busy if one]
        twice = [one for one, times in Counter(busy).items() if times > 1]
        if twice:
            wrong.append(f"slot {number}: {len(twice)} people at two places")
        if any(one not in here and one != LECTURER for one in busy):
            wrong.append(f"slot {number}: somebody who is not here")
        if sum(bool(turn.pair) for turn in slot) > asked.double_heads:
            wrong.append(f"slot {number}: more second listeners than double heads")
        for turn in slot:
            if turn.client in here and here[turn.client].arms not in ("both", turn.arm):
                wrong.append(f"slot {number}: an arm that is not to be used")
            if turn.pair not in ("", LECTURER) and not here[turn.pair].competent:
                wrong.append(f"slot {number}: a second listener who may not be one")
    return wrong


def _checked(people: Sequence[Person]) -> None:
    if not 2 <= len(people) <= MOST_PEOPLE:
        raise BadInputError(f"{len(people)} people: 2 to {MOST_PEOPLE} can be planned")
    if len({person.id for person in people}) < len(people):
        raise BadInputError("people: one stands twice in the list")


def _able(people: Iterable[Person]) -> int:
    return sum(person.arms != "none" for person in people)


def _clients(group: Iterable[str], here: Mapping[str, Person]) -> int:
    return _able(here[one] for one in group)


def _group_count(people: Sequence[Person], asked: Asked) -> int | None:
    """Return how many groups: as near to four each as gives everyone the tests, two possible clients in each."""
    most = min(asked.gauges, max(1, len(people) // SMALLEST_GROUP), _able(people) // 2)
    fitting = [count for count in range(1, most + 1) if asked.slots >= asked.tests * math.ceil(len(people) / count)]
    return min(fitting, key=lambda count: (abs(len(people) / count - USUAL_GROUP), count), default=None)


def _infeasible(people: Sequence[Person], asked: Asked) -> Infeasible:
    able = _able(people)
    if able < 2:
        return Infeasible(
            f"{able} of {len(people)} people may be measured, at least 2 are needed",
            ("ask for agreement to be measured: on the phones, or on paper and say so below",),
        )
    relax = []
    most = min(asked.gauges, max(1, len(people) // SMALLEST_GROUP), able // 2)
    size = math.ceil(len(people) / most)
    minutes = asked.tests * size * asked.slot_minutes
    if minutes <= 480:
        relax.append(f"give {minutes} minutes")
    for gauges in range(asked.gauges + 1, max(1, len(people) // SMALLEST_GROUP) + 1):
        if _group_count(people, replace(asked, gauges=gauges)) is not None:
            relax.append(f"use {gauges} gauges")
            break
    fewer = asked.slots // size
    if fewer >= 1:
        relax.append(f"ask for {fewer} {'test' if fewer == 1 else 'tests'} each")
    if (shorter := asked.minutes // (asked.tests * size)) >= 2:
        relax.append(f"allow {shorter} minutes a reading")
    if able // 2 < min(asked.gauges, len(people) // SMALLEST_GROUP):
        relax.append(f"ask for more agreements to be measured: {able} of {len(people)} now")
    why = (
        f"{len(people)} people at {asked.gauges} {'gauge' if asked.gauges == 1 else 'gauges'} make groups of {size}; "
        f"{asked.minutes} minutes give each gauge {asked.slots} readings, {asked.tests * size} are needed"
    )
    return Infeasible(why, tuple(relax))


def _dealt(people: Sequence[Person], count: int) -> tuple[tuple[str, ...], ...]:
    """Deal people out to groups: the competent, then the rest, then those who are not measured, one group after the
    other and back, so that every group has its share of each; those left over go to the first groups."""
    order = sorted(people, key=lambda one: (one.arms == "none", not one.competent))
    groups: list[list[str]] = [[] for _ in range(count)]
    for place, person in enumerate(order):
        lap, step = divmod(place, count)
        there = lap % 2 == 0 or lap == len(people) // count
        groups[step if there else count - 1 - step].append(person.id)
    return tuple(tuple(group) for group in groups)


@dataclass
class _Turns:
    """What each person has done so far, counted."""

    tested: Counter[str] = field(default_factory=Counter)
    measured: Counter[str] = field(default_factory=Counter)
    wrote: Counter[str] = field(default_factory=Counter)
    arms: Counter[tuple[str, str]] = field(default_factory=Counter)
    paired: Counter[str] = field(default_factory=Counter)

    def take(self, turn: Turn) -> None:
        self.tested[turn.tester] += 1
        self.measured[turn.client] += 1
        self.arms[turn.client, turn.arm] += 1
        self.wrote[turn.recorder] += 1
        if turn.pair:
            self.paired[turn.tester] += 1


Last = dict[str, tuple[int, int]]
"""In which slot a person last tested, and was last measured; -1 for never."""


def _counted(done: Iterable[tuple[Turn, ...]]) -> tuple[_Turns, Last]:
    counts, last = _Turns(), Last()
    for number, slot in enumerate(done):
        for turn in slot:
            _count(turn, number, counts, last)
    return counts, last


def _count(turn: Turn, number: int, counts: _Turns, last: Last) -> None:
    counts.take(turn)
    last[turn.tester] = (number, last.get(turn.tester, (-1, -1))[1])
    last[turn.client] = (last.get(turn.client, (-1, -1))[0], number)


def _timetable(
    groups: Sequence[Sequence[str]],
    people: Sequence[Person],
    asked: Asked,
    *,
    done: tuple[tuple[Turn, ...], ...],
    slots: int,
) -> Plan:
    here = {person.id: person for person in people}
    counts, last = _counted(done)
    paired_before = Counter(counts.paired)
    made = []
    for number in range(len(done), len(done) + slots):
        turns = tuple(_turn(place, group, here, counts, last, number) for place, group in enumerate(groups) if group)
        for turn in turns:
            _count(turn, number, counts, last)
        made.append(turns)
    listened = _with_second_listeners(made, people, asked, paired_before)
    return Plan(tuple(tuple(group) for group in groups), (*done, *listened))


def _turn(
    place: int,
    group: Sequence[str],
    here: Mapping[str, Person],
    counts: _Turns,
    last: Mapping[str, tuple[int, int]],
    number: int,
) -> Turn:
    """Return the next turn of a group: the fewest tests, the fewest times measured and written come first; nobody is
    measured twice running unless the others have been measured far more often, so that an arm rests."""
    never = (-1, -1)
    tester = min(group, key=lambda one: (counts.tested[one], last.get(one, never)[0], group.index(one)))
    able = [one for one in group if one != tester and here[one].arms != "none"]

    def rested(one: str) -> tuple[float, int]:
        before = last.get(one, never)[1]
        return counts.measured[one] + (RUNNING_COUNTS if before == number - 1 >= 0 else 0), before

    client = min(able, key=rested)
    arms: tuple[Literal["left", "right"], ...] = ("left", "right")
    allowed = [arm for arm in arms if here[client].arms in ("both", arm)]
    arm = min(allowed, key=lambda one: counts.arms[client, one])
    others = [one for one in group if one not in (tester, client)]
    recorder = min(others, key=lambda one: (counts.wrote[one], group.index(one)), default="")
    watchers = tuple(one for one in others if one != recorder)
    return Turn(place, tester, client, arm, recorder, watchers)


def _with_second_listeners(
    slots: Sequence[tuple[Turn, ...]], people: Sequence[Person], asked: Asked, paired: Mapping[str, int]
) -> list[tuple[Turn, ...]]:
    """Return the slots with second listeners: as many learners as possible get one, those longest owed first.

    One variable for each turn and possible listener. At most one listener a turn, the lecturer at one place at a time,
    no more at once than double heads. The first listener of a learner weighs far more than a further one.
    """
    here = {person.id: person for person in people}
    options = [
        (number, place, listener)
        for number, slot in enumerate(slots)
        for place, turn in enumerate(slot)
        for listener in (
            *((LECTURER,) if asked.lecturer_pairs else ()),
            *(one for one in (*turn.watchers, turn.recorder) if one and here[one].competent),
        )
    ]
    if not options or not asked.double_heads:
        return list(slots)
    chosen = _solved(options, slots, here, asked.double_heads, paired)
    found = [list(slot) for slot in slots]
    for number, place, listener in chosen:
        turn = found[number][place]
        if listener == LECTURER:
            found[number][place] = replace(turn, pair=LECTURER)
            continue
        watchers = tuple(one for one in turn.watchers if one != listener)
        recorder = turn.recorder
        if recorder == listener:
            recorder, watchers = (watchers[0], watchers[1:]) if watchers else ("", ())
        found[number][place] = replace(turn, pair=listener, recorder=recorder, watchers=watchers)
    return [tuple(slot) for slot in found]


def _solved(
    options: Sequence[tuple[int, int, str]],
    slots: Sequence[tuple[Turn, ...]],
    here: Mapping[str, Person],
    double_heads: int,
    paired: Mapping[str, int],
) -> list[tuple[int, int, str]]:
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array

    testers = sorted({turn.tester for slot in slots for turn in slot})
    column = {tester: len(options) + place for place, tester in enumerate(testers)}
    cost = np.full(len(options) + len(testers), -1.0)
    most_owed = max((here[one].owed for one in testers), default=0.0) or 1.0
    for tester in testers:
        first = FIRST_PAIR * (1 + here[tester].owed / most_owed)
        served = here[tester].competent or paired.get(tester, 0) > 0
        cost[column[tester]] = 0.0 if served else -first
    rows: list[dict[int, float]] = []
    limits: list[float] = []

    def at_most(limit: float, terms: Mapping[int, float]) -> None:
        rows.append(dict(terms))
        limits.append(limit)

    by_turn: dict[tuple[int, int], dict[int, float]] = {}
    by_slot: dict[int, dict[int, float]] = {}
    lecturer: dict[int, dict[int, float]] = {}
    by_tester: dict[str, dict[int, float]] = {tester: {} for tester in testers}
    for place, (number, group, listener) in enumerate(options):
        by_turn.setdefault((number, group), {})[place] = 1.0
        by_slot.setdefault(number, {})[place] = 1.0
        by_tester[slots[number][group].tester][place] = -1.0
        if listener == LECTURER:
            lecturer.setdefault(number, {})[place] = 1.0
    for terms in (*by_turn.values(), *lecturer.values()):
        at_most(1.0, terms)
    for terms in by_slot.values():
        at_most(float(double_heads), terms)
    for tester, terms in by_tester.items():
        at_most(0.0, {**terms, column[tester]: 1.0})  # covered only by a listener of its own
    entries = [(row, at, value) for row, terms in enumerate(rows) for at, value in terms.items()]
    row, at, value = zip(*entries, strict=True)
    matrix = coo_array((value, (row, at)), shape=(len(rows), len(cost))).tocsr()
    solved = milp(
        cost,
        constraints=LinearConstraint(matrix, -np.inf, np.array(limits)),
        bounds=Bounds(0, 1),
        integrality=np.ones(len(cost)),
        options={"time_limit": 1.0, "mip_rel_gap": 1e-3},
    )
    if solved.x is None:
        return []
    return [option for option, taken in zip(options, solved.x[: len(options)], strict=True) if taken > 0.5]
