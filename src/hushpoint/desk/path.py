"""The learning path of one learner: the next right practice person, sets of the day, and when a judgement opens.

Why a practice person was chosen is kept with the measurement (`chosen` in measurement.begun): kind, reason, set, place.
A judgement of a set whose feedback comes at its end is held back until the set is through or its day is over.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from hushpoint.desk import bench
from hushpoint.practice.next_person import (
    LARGEST_MMHG,
    SET_SIZE,
    Attempt,
    choose,
    feedback_now,
    kind_of,
)

if TYPE_CHECKING:
    from hushpoint.ledger.records import Ledger

Today = Callable[[], datetime]
"""Gives the time now, with its zone: a set belongs to the local day."""
DAY_S = 86400.0


def local_now() -> datetime:
    """Return the time now in the laptop's zone."""
    return datetime.now(UTC).astimezone()


@dataclass(frozen=True, slots=True)
class DaySet:
    """The learner's set of the day: its number, how many readings are filed, and when feedback comes after the next.

    `done`: today's set is through; the next one is offered tomorrow.
    """

    number: int
    filed: int
    done: bool

    @property
    def of(self) -> int:
        """How many readings a set has."""
        return SET_SIZE

    @property
    def feedback_at_once(self) -> bool:
        """Whether the next reading's judgement follows at once."""
        return not self.done and feedback_now(self.number, self.filed + 1)


def attempts_of(readings: Sequence[bench.OwnReading]) -> list[Attempt]:
    """Return a learner's judged readings as attempts, oldest first; days since 1970."""
    return [
        Attempt(
            kind_of(one.case.person),
            _moment(one.at).timestamp() / DAY_S,
            _error(one.judgement, "systolic"),
            _error(one.judgement, "diastolic"),
        )
        for one in readings
        if one.judgement is not None
    ]


def set_of_today(readings: Sequence[bench.OwnReading], now: datetime) -> DaySet:
    """Return where the learner stands in today's set; a set that was left half through on another day is over."""
    mine = [one for one in readings if one.chosen is not None]
    if not mine:
        return DaySet(1, 0, done=False)
    last = mine[-1]
    number = _set_number(last)
    if _day(last.at, now) != now.date():
        return DaySet(number + 1, 0, done=False)
    filed = sum(_set_number(one) == number for one in mine)
    return DaySet(number, min(filed, SET_SIZE), done=filed >= SET_SIZE)


def begin_next(
    ledger: Ledger, *, who: str, ref: str, room: str = "", policy_id: str, now: Today = local_now
) -> bench.Begun:
    """Begin a measurement on the next right practice person; sent again with the same ref, it begins once.

    After today's set is through the choice goes on as a further set: nobody is kept from practising.
    """
    readings, at = bench.own_readings(ledger, who), now()
    today = set_of_today(readings, at)
    number, place = (today.number + 1, 1) if today.done else (today.number, today.filed + 1)
    # the same learner at the same point gets the same choice, and no two learners the same stream
    stream = int.from_bytes(hashlib.sha256(f"{who}/{len(readings)}".encode()).digest()[:8])
    choice = choose(attempts_of(readings), at.timestamp() / DAY_S, np.random.default_rng(stream))
    chosen = {
        "kind": choice.kind,
        "case_kind": choice.case_kind,
        "why": choice.why,
        "set": number,
        "place": place,
        "of": SET_SIZE,
        "feedback": "now" if feedback_now(number, place) else "later",
    }
    return bench.begin(ledger, who=who, ref=ref, room=room, policy_id=policy_id, chosen=chosen)


def held_back(readings: Sequence[bench.OwnReading], now: datetime) -> dict[str, int]:
    """Return the measurements whose judgement is still held back, and how many readings of the set open it."""
    filed: dict[int, list[bench.OwnReading]] = {}
    for one in readings:
        if one.chosen is not None and _day(one.at, now) == now.date():
            filed.setdefault(_set_number(one), []).append(one)
    held = {}
    for number, of_set in filed.items():
        for place, one in enumerate(of_set[:SET_SIZE], start=1):
            opens_at = next(later for later in range(place, SET_SIZE + 1) if feedback_now(number, later))
            if len(of_set) < opens_at:
                held[one.measurement] = opens_at - len(of_set)
    return held


def _set_number(one: bench.OwnReading) -> int:
    return int(one.chosen["set"]) if one.chosen is not None else 0


def _moment(at: str) -> datetime:
    return datetime.fromisoformat(at)


def _day(at: str, now: datetime) -> date:
    return _moment(at).astimezone(now.tzinfo).date()


def _error(judgement: Any, end: str) -> float | None:
    """Return the ear's error at an end: LARGEST_MMHG where it was there and not heard, None where it was not there."""
    error = judgement["ear"][f"{end}_error_mmhg"]
    if error is not None:
        return float(error)
    there = judgement["truth"][end]["verdict"] == "heard"
    return LARGEST_MMHG if there and judgement["reading"][end] is None else None
