"""The bench: begin a measurement, set it up, file its log, grade it, correct what was written.

The server trusts no one: the practice person, the arm and the truth are made again from the seed and the
choices in the journal; of the log only the hand and the pen are believed. Every row carries the
measurement's id as its `ref` and the learner's id as its `who`, so an act sent twice is stored once and one
learner never goes on with another's.

How the rows hang together (bodies in docs/reference.md):

- measurement.begun, ref = measurement id: series seed, case number, how often this case was met before,
  policy, guided;
- measurement.set_up, ref = id/1, id/2 …: the choices. Until the log is filed the newest counts, so that
  advice in guided practice can be followed; choices sent again unchanged add no row;
- measurement.filed, ref = measurement id: the log, and the set-up it was measured with;
- measurement.judged, ref = measurement id: the judgement;
- reading.corrected, ref = id/1, id/2 …: the reading as it should have been written, and why. The first one
  stays.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from hushpoint.arm import BeatTable, arm_table, beat_table
from hushpoint.desk.once import append_once
from hushpoint.errors import AlreadyDoneError, BadInputError, NotAllowedError, NotFoundError
from hushpoint.guideline import TeachingPolicy, default_policy_id, teaching_policy
from hushpoint.ledger.records import Entry, Kind, Ledger, Row
from hushpoint.practice.cases import Case, case_of
from hushpoint.practice.judge import EarlierReading, judge
from hushpoint.practice.log import check_log, check_reading, reading_json
from hushpoint.practice.profiles import profile_of, profile_sounds
from hushpoint.practice.setup import (
    NamedEffect,
    SetUpRow,
    advice_for,
    check_choices,
    effects_of,
    set_up_rows,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

TABLE_S = 600
"""The arm table covers the longest log [s]."""
LONGEST_REF = 100
LONGEST_WHY = 500
_REF = re.compile(rf"[A-Za-z0-9._-]{{1,{LONGEST_REF}}}")
_ALL_JUDGED_TO = "bench.all_judged_to"
_ROWS, _EFFECTS, _BEATS, _SOUNDS = 2, 3, 4, 5
"""Which random stream of (seed, number, repeat) makes the order of choices, the faults, the beats, the
sounds."""


@dataclass(frozen=True, slots=True)
class Begun:
    """A measurement that has begun."""

    measurement: str
    case: Case
    rows: tuple[SetUpRow, ...]
    policy: TeachingPolicy
    guided: bool
    chosen: Mapping[str, Any] | None = None
    """Where the practice person was chosen for this learner: kind, why, and the place in the set of the day."""

    def to_json(self) -> dict[str, Any]:
        """Return the answer of act 1 in docs/bench-format.md: never the kind, which would tell what to expect."""
        told = None if self.chosen is None else {key: self.chosen[key] for key in ("set", "place", "of", "feedback")}
        return {
            "measurement": self.measurement,
            "case": self.case.to_json(),
            "rows": [row.to_json() for row in self.rows],
            "policy": self.policy.to_json(),
            "guided": self.guided,
            "set": told,
        }


@dataclass(frozen=True, slots=True)
class Filed:
    """A stored log: its row number, and whether it had been stored before."""

    seq: int
    again: bool


@dataclass(frozen=True, slots=True)
class OwnReading:
    """One of a learner's own readings as written, with what is known of it since.

    `reading` is as first written, `corrected` the newest correction; `judgement` is None while it is being
    graded.
    """

    measurement: str
    at: str
    case_number: int
    guided: bool
    reading: dict[str, int | None]
    corrected: dict[str, int | None] | None
    pulse_per_min: float | None
    judgement: Mapping[str, Any] | None
    case: Case
    chosen: Mapping[str, Any] | None = None
    """Where the practice person was chosen for this learner: kind, why, and the place in the set of the day."""


def begin(
    ledger: Ledger,
    *,
    who: str,
    ref: str,
    room: str = "",
    guided: bool = False,
    again: str | None = None,
    policy_id: str = default_policy_id,
    seed: int | None = None,
    chosen: Mapping[str, Any] | None = None,
) -> Begun:
    """Begin a measurement on the learner's next practice person, or `again` on that of an earlier
    measurement.

    `chosen`: the kind of practice person chosen on purpose (`case_kind`), with why (desk/path.py); it is kept.

    `ref` is the page's own id of this act: sent twice, it begins once. `seed` sets the learner's series the
    first time (drawn where None). Raises BadInputError, NotFoundError or NotAllowedError, one line each.
    """
    if not isinstance(ref, str) or not _REF.fullmatch(ref):
        raise BadInputError(f"ref: must be 1 to {LONGEST_REF} letters, digits, points, dashes or underscores")
    policy = teaching_policy(policy_id)
    measurement = hashlib.sha256(f"{who}\n{ref}".encode()).hexdigest()[:20]
    begun = _one(ledger, Kind.MEASUREMENT_BEGUN, measurement)
    if begun is None:
        mine = [row.body for row in ledger.rows(kinds=[Kind.MEASUREMENT_BEGUN], who=who) if row.body]
        if mine:
            seed = int(mine[-1]["seed"])
        elif seed is None:
            seed = secrets.randbits(48)
        number = max((int(body["case_number"]) for body in mine), default=0) + 1
        kind = None if chosen is None else chosen["case_kind"]
        if again is not None:
            same = _body(_own(ledger, who, again))
            seed, number = int(same["seed"]), int(same["case_number"])
            kind = same.get("kind")
        repeat = sum(int(body["case_number"]) == number for body in mine)
        body = {
            "seed": seed,
            "case_number": number,
            "repeat": repeat,
            "policy": policy.id,
            "guided": bool(guided),
            "again": again,
            **({} if kind is None else {"kind": kind}),
            **({} if chosen is None else {"chosen": dict(chosen)}),
        }
        entry = Entry(Kind.MEASUREMENT_BEGUN, body, room=room, who=who, ref=measurement)
        begun = append_once(ledger, entry)[0]
    made = _Made(begun)
    return Begun(measurement, made.case, made.rows(), made.policy, made.guided, _body(begun).get("chosen"))


def set_up(
    ledger: Ledger, *, who: str, measurement: str, choices: object, profile_id: object = "headphones"
) -> dict[str, Any]:
    """Store the choices and return the arm table, with advice where the measurement is guided.

    `profile_id` is how the device is listened with: a small speaker gets the sounds raised in pitch.

    Until the log is filed the newest choices count; unchanged choices add no row. Once filed, the same
    choices give the same table again, others raise AlreadyDoneError.
    """
    begun = _own(ledger, who, measurement)
    profile = profile_of(profile_id if isinstance(profile_id, str) else "")
    made = _Made(begun)
    chosen = check_choices(made.case, choices)
    known = True
    while known:  # another set-up may come in between: then this one comes after it
        before = list(_set_ups(ledger, begun))
        if before and _body(before[-1])["choices"] == chosen:
            break
        if _one(ledger, Kind.MEASUREMENT_FILED, measurement) is not None:
            raise AlreadyDoneError("this measurement is filed already; begin another to set up anew")
        body = {"measurement": measurement, "choices": chosen}
        entry = Entry(Kind.MEASUREMENT_SET_UP, body, room=begun.room, who=who, ref=f"{measurement}/{len(before) + 1}")
        _, known = append_once(ledger, entry)
    table, _ = made.arm(chosen)
    sent = arm_table(table, profile_sounds(profile, made.case.person, made.rng(_SOUNDS)), measurement)
    if made.guided:
        sent["advice"] = advice_for(made.case, chosen)
    return sent


def arm_of(ledger: Ledger, *, who: str, measurement: str) -> BeatTable:
    """Return the beats of the arm as the newest set-up leaves it; raises BadInputError before any set-up."""
    begun = _own(ledger, who, measurement)
    return _Made(begun).arm(_newest_choices(ledger, begun))[0]


def file_log(ledger: Ledger, *, who: str, measurement: str, log: object) -> Filed:
    """Check the log and store it; sent again it is stored once and the first row's number comes back.

    Returns only once the ledger has it durably. Raises LogRefusedError for a log that cannot be filed.
    """
    begun = _own(ledger, who, measurement)
    stored = _one(ledger, Kind.MEASUREMENT_FILED, measurement)
    if stored is not None:
        return Filed(stored.seq, again=True)
    body = {
        "measurement": measurement,
        "choices": _newest_choices(ledger, begun),
        "log": check_log(log).to_json(),
    }
    entry = Entry(Kind.MEASUREMENT_FILED, body, room=begun.room, who=who, ref=measurement)
    row, again = append_once(ledger, entry)
    return Filed(row.seq, again=again)


def grade(ledger: Ledger, measurement: str) -> dict[str, Any]:
    """Grade a filed measurement from seed, choices and log, store the judgement once, and return it."""
    judged = _one(ledger, Kind.MEASUREMENT_JUDGED, measurement)
    if judged is None:
        filed = _one(ledger, Kind.MEASUREMENT_FILED, measurement)
        begun = _one(ledger, Kind.MEASUREMENT_BEGUN, measurement)
        if filed is None or begun is None:
            raise NotFoundError("no such filed measurement")
        made, body = _Made(begun), _body(filed)
        table, named = made.arm(body["choices"])
        judgement = judge(
            made.case,
            table,
            named_effects=named,
            log=check_log(body["log"]),
            policy=made.policy,
            earlier_readings=_earlier(ledger, begun, filed),
        ).to_json(measurement)
        stored = {"measurement": measurement, "judgement": judgement}
        entry = Entry(Kind.MEASUREMENT_JUDGED, stored, room=filed.room, who=filed.who, ref=measurement)
        judged, _ = append_once(ledger, entry)
    return dict(_body(judged)["judgement"])


def judgement(ledger: Ledger, *, who: str, measurement: str) -> dict[str, Any] | None:
    """Return the learner's judgement; None while it is being graded."""
    _own(ledger, who, measurement)
    judged = _one(ledger, Kind.MEASUREMENT_JUDGED, measurement)
    if judged is not None:
        return dict(_body(judged)["judgement"])
    if _one(ledger, Kind.MEASUREMENT_FILED, measurement) is None:
        raise NotFoundError("no log of this measurement is filed yet")
    return None


def correct_reading(ledger: Ledger, *, who: str, measurement: str, reading: object, why: object) -> int:
    """Store a correction beside the reading and return its row number; the first reading and its grade stay.

    The same correction sent again is stored once.
    """
    begun = _own(ledger, who, measurement)
    filed = _one(ledger, Kind.MEASUREMENT_FILED, measurement)
    if filed is None:
        raise NotFoundError("no log of this measurement is filed yet")
    if not isinstance(why, str) or not 1 <= len(why.strip()) <= LONGEST_WHY:
        raise BadInputError(f"why: must be a text of 1 to {LONGEST_WHY} characters")
    body = {
        "measurement": measurement,
        "corrects": filed.seq,
        "reading": reading_json(check_reading(reading)),
        "why": why.strip(),
    }
    while True:  # another correction may come in between: then this one comes after it
        before = list(_corrections(ledger, begun))
        if before and _body(before[-1]) == body:
            return before[-1].seq
        ref = f"{measurement}/{len(before) + 1}"
        row, known = append_once(ledger, Entry(Kind.READING_CORRECTED, body, room=begun.room, who=who, ref=ref))
        if not known:
            return row.seq


def own_readings(ledger: Ledger, who: str) -> list[OwnReading]:
    """Return a learner's own filed readings over time, oldest first."""
    kinds = [
        Kind.MEASUREMENT_BEGUN,
        Kind.MEASUREMENT_FILED,
        Kind.MEASUREMENT_JUDGED,
        Kind.READING_CORRECTED,
    ]
    begun: dict[str, Mapping[str, Any]] = {}
    filed: dict[str, tuple[str, Mapping[str, Any]]] = {}
    judged: dict[str, Mapping[str, Any]] = {}
    corrected: dict[str, dict[str, int | None]] = {}
    for row in ledger.rows(kinds=kinds, who=who):
        if row.body is None or row.ref is None:
            continue
        match row.kind:
            case Kind.MEASUREMENT_BEGUN:
                begun[row.ref] = row.body
            case Kind.MEASUREMENT_FILED:
                filed[row.ref] = (row.at, row.body)
            case Kind.MEASUREMENT_JUDGED:
                judged[row.ref] = row.body["judgement"]
            case _:
                corrected[row.body["measurement"]] = dict(row.body["reading"])
    return [
        OwnReading(
            measurement=measurement,
            at=at,
            case_number=int(begun[measurement]["case_number"]),
            guided=bool(begun[measurement]["guided"]),
            reading=dict(body["log"]["reading"]),
            corrected=corrected.get(measurement),
            pulse_per_min=_pulse_per_min(body["log"]["pulse"]),
            judgement=judged.get(measurement),
            case=_case(begun[measurement]),
            chosen=begun[measurement].get("chosen"),
        )
        for measurement, (at, body) in filed.items()
        if measurement in begun
    ]


def ungraded(ledger: Ledger) -> list[str]:
    """Return the measurements that are filed and not yet judged, oldest first: to be graded at start-up.

    A mark in the ledger's settings remembers up to which row all are judged, so that a long journal is not read anew
    at every start.
    """
    mark = int(ledger.setting(_ALL_JUDGED_TO) or 0)
    waiting: dict[str, int] = {}
    seen = mark
    for row in ledger.rows(after=mark, kinds=[Kind.MEASUREMENT_FILED, Kind.MEASUREMENT_JUDGED]):
        seen = row.seq
        if row.ref is None or row.body is None:
            continue
        if row.kind == Kind.MEASUREMENT_FILED:
            waiting[row.ref] = row.seq
        else:
            waiting.pop(row.ref, None)
    first_waiting = min(waiting.values(), default=seen + 1)
    if first_waiting - 1 > mark:
        ledger.set_setting(_ALL_JUDGED_TO, str(first_waiting - 1))
    return list(waiting)


class _Made:
    """What a begun row stands for, made again from its seed."""

    def __init__(self, begun: Row) -> None:
        body = _body(begun)
        self._seed = [int(body["seed"]), int(body["case_number"]), int(body["repeat"])]
        self.case = _case(body)
        self.policy = teaching_policy(body["policy"])
        self.guided = bool(body["guided"])

    def rng(self, stream: int) -> np.random.Generator:
        """Return one random stream; the sounds belong to the person, so repeats share them."""
        seed = self._seed[:2] if stream == _SOUNDS else self._seed
        return np.random.default_rng([*seed, stream])

    def rows(self) -> tuple[SetUpRow, ...]:
        """Return the set-up rows in this measurement's order of choices."""
        return set_up_rows(self.case, self.rng(_ROWS))

    def arm(self, choices: Mapping[str, str]) -> tuple[BeatTable, tuple[NamedEffect, ...]]:
        """Return the beats of the arm as these choices leave it, and the faults by name."""
        effects, named = effects_of(self.case, choices, self.rng(_EFFECTS))
        return beat_table(self.case.person, effects, self.rng(_BEATS), seconds=TABLE_S), named


def _case(begun: Mapping[str, Any]) -> Case:
    """Return the practice person that the body of a begun row stands for."""
    return case_of(int(begun["seed"]), int(begun["case_number"]), begun.get("kind"))


def _earlier(ledger: Ledger, begun: Row, filed: Row) -> list[EarlierReading]:
    """Return the learner's readings before this one, oldest first, with the wait where it was the same
    person."""
    number = _body(begun)["case_number"]
    log = check_log(_body(filed)["log"])
    # the log's clock starts at the set-up or later and ends before filing: the wait is at least this
    set_up_at = [row.at for row in _set_ups(ledger, begun) if row.seq < filed.seq]
    started = _seconds(set_up_at[-1]) + log.inflations[0].from_s if set_up_at else None
    numbers = {
        row.ref: row.body["case_number"]
        for row in ledger.rows(kinds=[Kind.MEASUREMENT_BEGUN], who=begun.who)
        if row.body
    }
    earlier = []
    for row in ledger.rows(kinds=[Kind.MEASUREMENT_FILED], who=begun.who):
        if row.seq >= filed.seq or row.body is None:
            continue
        same = numbers.get(row.ref) == number
        waited = started - _seconds(row.at) if same and started is not None else None
        if same and log.waited_s is not None:
            waited = log.waited_s  # told by the page: what the learner saw counted down
        earlier.append(EarlierReading(check_reading(row.body["log"]["reading"]), same, waited))
    return earlier


def _own(ledger: Ledger, who: str, measurement: str) -> Row:
    begun = _one(ledger, Kind.MEASUREMENT_BEGUN, measurement)
    if begun is None:
        raise NotFoundError("no such measurement")
    if begun.who != who:
        raise NotAllowedError("this measurement was begun by someone else")
    return begun


def _one(ledger: Ledger, kind: Kind, ref: str) -> Row | None:
    """Return the stored row of this kind and ref, unless it was erased."""
    return next((row for row in ledger.rows(kinds=[kind], ref=ref) if row.body is not None), None)


def _body(row: Row) -> Mapping[str, Any]:
    if row.body is None:
        raise NotFoundError("this measurement was erased")
    return row.body


def _set_ups(ledger: Ledger, begun: Row) -> Iterator[Row]:
    return _of_measurement(ledger, begun, Kind.MEASUREMENT_SET_UP)


def _newest_choices(ledger: Ledger, begun: Row) -> dict[str, str]:
    set_ups = list(_set_ups(ledger, begun))
    if not set_ups:
        raise BadInputError("this measurement is not set up yet: send the choices first")
    return dict(_body(set_ups[-1])["choices"])


def _corrections(ledger: Ledger, begun: Row) -> Iterator[Row]:
    return _of_measurement(ledger, begun, Kind.READING_CORRECTED)


def _of_measurement(ledger: Ledger, begun: Row, kind: Kind) -> Iterator[Row]:
    for row in ledger.rows(after=begun.seq, kinds=[kind], who=begun.who):
        if row.body is not None and row.body["measurement"] == begun.ref:
            yield row


def _seconds(at: str) -> float:
    return datetime.fromisoformat(at).timestamp()


def _pulse_per_min(pulse: Mapping[str, Any] | None) -> float | None:
    return None if pulse is None else pulse["count"] * 60 / pulse["seconds"]
