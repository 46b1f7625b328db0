"""How faint a sound a person can hear on this device: a short run of "in which half was the sound?" taps.

Two intervals, one of them with the sound; the person taps which (two-alternative forced choice), so that no criterion
enters. After every tap the chance of each threshold is brought up to date by Bayes' rule (QUEST: Watson & Pelli 1983,
Percept Psychophys 33:113; FROM MEMORY), and the next level is the one whose answer is expected to tell most (Kontsevich
& Tyler 1999, Vision Res 39:2729; FROM MEMORY). Nothing is drawn at random: the same answers give the same levels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

import numpy as np

from hushpoint.errors import BadInputError

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SLOPE_DB = 1.5
"""Spread of the listener's curve [dB]: the logistic in level has this scale (steepest 8 % per dB; FROM MEMORY)."""
LAPSE_RATE = 0.02
"""How often a tap goes wrong however loud the sound (design choice)."""
GUESS_RATE = 0.5
"""Two intervals: one tap in two is right by chance."""
STEP_DB = 0.5
"""Levels and thresholds are tried this far apart (design choice)."""
FEWEST_TAPS, MOST_TAPS = 16, 39
"""No run is shorter, none longer (design choice; a person tires before 40)."""
WIDEST_DB = 4.0
"""The run ends where the 90 % interval is no wider than this (design choice)."""
RESULT_WIDEST_DB = 10.0
"""A run that ends with an interval wider than this gives no result (design choice)."""
RANGE_DB = 150.0
"""The widest range that a run may search [dB]."""


@dataclass(frozen=True, slots=True)
class Threshold:
    """The faintest level that is heard: halfway between guessing and always right [dB, as the levels were given].

    `low_db`, `high_db` hold 90 % of the chance. `beyond` says that the threshold may lie outside what was tried:
    "above" (even the loudest was hardly heard) or "below" (even the faintest was heard).
    """

    threshold_db: float
    low_db: float
    high_db: float
    taps: int
    beyond: Literal["", "above", "below"] = ""


def right_chance(
    level_db: float, threshold_db: float, *, slope_db: float = SLOPE_DB, lapse_rate: float = LAPSE_RATE
) -> float:
    """Return the chance of a right tap: guess + (1 - guess - lapse) / (1 + exp((threshold - level) / slope)).

    At the threshold itself the sound is heard in one of two tries.
    """
    heard = 1 / (1 + math.exp(min(max((threshold_db - level_db) / slope_db, -700.0), 700.0)))
    return GUESS_RATE + (1 - GUESS_RATE - lapse_rate) * heard


class Staircase:
    """One run. Levels lie between `lowest_db` and `highest_db`; raises BadInputError outside legal ranges.

    Loop: `next_level_db()`, play, `answered(level, right)`, until `finished`; then `result()`. A run is made again from
    its answers by `Staircase.after(...)`.
    """

    def __init__(
        self,
        lowest_db: float,
        highest_db: float,
        *,
        slope_db: float = SLOPE_DB,
        lapse_rate: float = LAPSE_RATE,
    ) -> None:
        if not (math.isfinite(lowest_db) and math.isfinite(highest_db) and 10 <= highest_db - lowest_db <= RANGE_DB):
            raise BadInputError(f"levels {lowest_db:g} to {highest_db:g}: 10 to {RANGE_DB:g} dB apart are allowed")
        if not (0.5 <= slope_db <= 10 and 0 <= lapse_rate <= 0.2):
            raise BadInputError(f"slope {slope_db:g} dB, lapse rate {lapse_rate:g}: 0.5 to 10 and 0 to 0.2 are allowed")
        count = round((highest_db - lowest_db) / STEP_DB) + 1
        self._levels: Floats = lowest_db + STEP_DB * np.arange(count, dtype=np.float64)
        self._slope_db, self._lapse_rate = slope_db, lapse_rate
        self._right = _right_table(len(self._levels), slope_db, lapse_rate)
        self._chance = np.full(len(self._levels), 1 / len(self._levels))
        self.taps = 0

    @classmethod
    def after(
        cls,
        answers: Iterable[tuple[float, bool]],
        lowest_db: float,
        highest_db: float,
        *,
        slope_db: float = SLOPE_DB,
        lapse_rate: float = LAPSE_RATE,
    ) -> Staircase:
        """Return the run as it stands after these (level, right) answers."""
        run = cls(lowest_db, highest_db, slope_db=slope_db, lapse_rate=lapse_rate)
        for level_db, right in answers:
            run.answered(level_db, right)
        return run

    def next_level_db(self) -> float:
        """Return the level to play next: the loudest first, so that it is known what to listen for."""
        if self.taps == 0:
            return float(self._levels[-1])
        expected = self._right @ self._chance
        told = _doubt(expected) - _doubt(self._right) @ self._chance
        return float(self._levels[int(np.argmax(told))])

    def answered(self, level_db: float, right: bool) -> None:
        """Take one tap at a level between the lowest and the highest; raises BadInputError for another."""
        if not (math.isfinite(level_db) and self._levels[0] <= level_db <= self._levels[-1]):
            legal = f"{self._levels[0]:g} to {self._levels[-1]:g}"
            raise BadInputError(f"level {level_db:g}: must be {legal} dB")
        heard = _right_at(level_db - self._levels, self._slope_db, self._lapse_rate)
        chance = self._chance * (heard if right else 1 - heard)
        self._chance = chance / chance.sum()
        self.taps += 1

    @property
    def finished(self) -> bool:
        """Whether the run may end."""
        low_db, high_db = self._interval()
        return self.taps >= MOST_TAPS or (self.taps >= FEWEST_TAPS and high_db - low_db <= WIDEST_DB)

    def result(self) -> Threshold | None:
        """Return the threshold with its 90 % interval, None where too little is known yet."""
        low_db, high_db = self._interval()
        if self.taps < FEWEST_TAPS or high_db - low_db > RESULT_WIDEST_DB:
            return None
        beyond: Literal["", "above", "below"] = ""
        if high_db >= self._levels[-1] - STEP_DB:
            beyond = "above"
        elif low_db <= self._levels[0] + STEP_DB:
            beyond = "below"
        return Threshold(float(self._chance @ self._levels), low_db, high_db, self.taps, beyond)

    def _interval(self) -> tuple[float, float]:
        summed = np.cumsum(self._chance)
        low, high = np.searchsorted(summed, (0.05, 0.95))
        return float(self._levels[low]), float(self._levels[min(int(high), len(self._levels) - 1)])


def _right_at(above_db: Floats, slope_db: float, lapse_rate: float) -> Floats:
    chance: Floats = GUESS_RATE + (1 - GUESS_RATE - lapse_rate) / (1 + np.exp(np.clip(-above_db / slope_db, -700, 700)))
    return chance


@cache
def _right_table(count: int, slope_db: float, lapse_rate: float) -> Floats:
    """Chance of a right tap by level (rows) and threshold (columns), `count` of each."""
    steps: Floats = STEP_DB * np.arange(count, dtype=np.float64)
    return _right_at(steps[:, None] - steps[None, :], slope_db, lapse_rate)


def _doubt(chance: Floats) -> Floats:
    """Entropy of a yes-or-no answer [nats]; the chance is never 0 and is 1 only without lapses."""
    wrong = np.maximum(1 - chance, 1e-12)
    doubt: Floats = -chance * np.log(chance) - wrong * np.log(wrong)
    return doubt
