"""The rotation of a class: planned from who is here and what there is, started, held, and changed in mid-class.

Who may be measured comes from desk/consent.py as arms only. A plan holds random ids; names are put to them where they
are shown. Every change is a row of its own that holds the plan as it then stands, so that what was done is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from typing import Any

from hushpoint.desk import classes, consent, pairs
from hushpoint.desk.standing import standing
from hushpoint.errors import AlreadyDoneError, BadInputError, NotFoundError
from hushpoint.ledger.records import Entry, Kind, Ledger, Row
from hushpoint.practice.rotation import Arms, Asked, Infeasible, Person, Plan, Turn, plan, plan_of, replan

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
NEVER_PAIRED_DAYS = 400.0
"""Who has never been paired counts as owed so long (design choice: more than any term)."""
ACTS = ("start", "hold", "go_on", "absent", "back")


@dataclass(frozen=True, slots=True)
class Rotation:
    """A class's rotation as it stands.

    `started_at` is when the clock would read 0, None before the start; `held_at` is when it was stopped, None while it
    runs. `paper` counts those who said nothing as measurable, since they agreed on paper.
    """

    plan: Plan
    asked: Asked
    absent: frozenset[str]
    competent: frozenset[str]
    paper: bool
    started_at: datetime | None = None
    held_at: datetime | None = None
    seq: int = 0

    def elapsed_s(self, now: datetime) -> float | None:
        """Return how long the clock has run [s], None before the start."""
        if self.started_at is None:
            return None
        return max(0.0, ((self.held_at or now) - self.started_at).total_seconds())

    def slot(self, now: datetime) -> int | None:
        """Return the running slot (0, 1 …), the number of slots once over, None before the start."""
        elapsed = self.elapsed_s(now)
        return None if elapsed is None else min(int(elapsed // self.slot_s), len(self.plan.slots))

    @property
    def slot_s(self) -> int:
        """How long a slot is [s]."""
        return 60 * self.asked.slot_minutes

    def left_s(self, now: datetime) -> int | None:
        """Return how long the running slot still has [s]."""
        elapsed, slot = self.elapsed_s(now), self.slot(now)
        if elapsed is None or slot is None or slot >= len(self.plan.slots):
            return None
        return max(0, round((slot + 1) * self.slot_s - elapsed))


def letter(group: int) -> str:
    """Return a group's letter: A to Z, then AA, AB …"""
    first, second = divmod(group, len(LETTERS))
    return (LETTERS[first - 1] if first else "") + LETTERS[second]


def rotation_of(ledger: Ledger, room: str) -> Rotation | None:
    """Return the class's newest rotation, None where none was planned."""
    found: Rotation | None = None
    for row in standing(ledger, [Kind.ROTATION_PLANNED, Kind.ROTATION_CHANGED], room=room):
        if row.body is None:
            continue
        if row.kind is Kind.ROTATION_PLANNED:
            found = _planned(row)
        elif found is not None:
            found = _changed(found, row)
    return found


def plan_rotation(
    ledger: Ledger,
    *,
    room: str,
    asked: Asked,
    absent: frozenset[str],
    competent: frozenset[str],
    paper: bool,
    today: date,
) -> Rotation | Infeasible:
    """Plan a rotation and store it; where there is none, say what to relax and store nothing."""
    info = classes.find_class(ledger, room)
    known = classes.people_of(ledger, info.code).keys()
    absent, competent = absent & known, competent & known
    here = people_here(ledger, info.code, absent=absent, competent=competent, paper=paper, today=today)
    if len(here) < 2:
        raise BadInputError("a rotation needs at least two people here: look at the list and who is away")
    found = plan(here, asked)
    if isinstance(found, Infeasible):
        return found
    body = {
        "asked": asdict(asked),
        "absent": sorted(absent),
        "competent": sorted(competent),
        "paper": paper,
        "plan": found.to_json(),
    }
    return _planned(ledger.append(Entry(Kind.ROTATION_PLANNED, body, room=info.code))[0])


def change(ledger: Ledger, *, room: str, act: str, who: str, now: datetime) -> Rotation | Infeasible:
    """Start, hold or go on with the clock, or take somebody out or in; raises NotFoundError, BadInputError.

    Done again, it changes nothing.
    """
    stands = rotation_of(ledger, room)
    if stands is None:
        raise NotFoundError("No rotation is planned for this class.")
    if act not in ACTS:
        raise BadInputError(f"what to do: must be one of {', '.join(ACTS)}")
    if act in ("absent", "back"):
        return _people_changed(ledger, room, stands, act, who, now)
    if act == "start":
        if stands.started_at is not None:
            return stands
        moved: dict[str, Any] = {"started_at": now.isoformat(), "held_at": None}
    elif stands.started_at is None:
        raise BadInputError("The rotation has not begun yet: start it first.")
    elif act == "hold":
        if stands.held_at is not None:
            return stands
        moved = {"started_at": stands.started_at.isoformat(), "held_at": now.isoformat()}
    else:
        if stands.held_at is None:
            return stands
        moved = {"started_at": (stands.started_at + (now - stands.held_at)).isoformat(), "held_at": None}
    return _stored(ledger, room, stands, {"act": act, **moved})


def _people_changed(
    ledger: Ledger, room: str, stands: Rotation, act: str, who: str, now: datetime
) -> Rotation | Infeasible:
    classes.name_of(ledger, room, who)
    absent = stands.absent | {who} if act == "absent" else stands.absent - {who}
    if absent == stands.absent:
        return stands
    slot = stands.slot(now)
    if slot is not None and slot >= len(stands.plan.slots):
        raise AlreadyDoneError("The rotation is over: plan another.")
    here = people_here(ledger, room, absent=absent, competent=stands.competent, paper=stands.paper, today=now.date())
    if len(here) < 2:
        raise BadInputError("a rotation needs at least two people here")
    if slot is None:
        found = plan(here, stands.asked)
    else:
        found = replan(stands.plan, here, stands.asked, done_slots=slot, running=True)
    if isinstance(found, Infeasible):
        return found
    return _stored(ledger, room, stands, {"act": act, "absent": sorted(absent), "plan": found.to_json()})


def people_here(
    ledger: Ledger,
    room: str,
    *,
    absent: frozenset[str],
    competent: frozenset[str],
    paper: bool,
    today: date,
) -> list[Person]:
    """Return who is here, in the order of the list, with the arms they may be measured on and how long owed a pair."""
    said = consent.agreements(ledger, room, today)
    owed = _owed_days(ledger, room, today)
    silent: Arms = "both" if paper else "none"
    return [
        Person(
            who,
            said[who].arms if who in said else silent,
            competent=who in competent,
            owed=owed.get(who, NEVER_PAIRED_DAYS),
        )
        for who in classes.people_of(ledger, room)
        if who not in absent
    ]


def turn_for(rotation: Rotation, who: str, slot: int) -> Turn | None:
    """Return the turn that a person has a role in, in a slot."""
    if not 0 <= slot < len(rotation.plan.slots):
        return None
    return next((turn for turn in rotation.plan.slots[slot] if turn.role_of(who)), None)


def _owed_days(ledger: Ledger, room: str, today: date) -> dict[str, float]:
    """Return for everyone who was ever in a fair pair how many days ago the last one was taken."""
    last: dict[str, str] = {}
    for pair in pairs.book_of(ledger, room).pairs.values():
        if pair.fair:
            taken = pair.opening.taken_at or pair.opened_at
            last[pair.opening.learner] = max(last.get(pair.opening.learner, ""), taken)
    return {who: float(max(0, (today - datetime.fromisoformat(at).date()).days)) for who, at in last.items()}


def _planned(row: Row) -> Rotation:
    body: Mapping[str, Any] = row.body or {}
    return Rotation(
        plan_of(body["plan"]),
        Asked(**body["asked"]),
        frozenset(body["absent"]),
        frozenset(body["competent"]),
        bool(body["paper"]),
        seq=row.seq,
    )


def _changed(stands: Rotation, row: Row) -> Rotation:
    body: Mapping[str, Any] = row.body or {}
    found = replace(stands, seq=row.seq)
    if "plan" in body:
        return replace(found, plan=plan_of(body["plan"]), absent=frozenset(body["absent"]))
    held = body["held_at"]
    return replace(
        found,
        started_at=datetime.fromisoformat(body["started_at"]),
        held_at=None if held is None else datetime.fromisoformat(held),
    )


def _stored(ledger: Ledger, room: str, stands: Rotation, body: Mapping[str, Any]) -> Rotation:
    return _changed(stands, ledger.append(Entry(Kind.ROTATION_CHANGED, body, room=room))[0])
