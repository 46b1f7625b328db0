"""Between two checks a gauge drifts or is knocked: nobody knows which, so a reading is corrected both ways."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from hushpoint.instrument.check import InstrumentError
from hushpoint.instrument.correction import Corrected, CorrectionCurve
from hushpoint.measure.verdict import Withheld


@dataclass(frozen=True, slots=True)
class DriftCorrection:
    """A reading between two checks, three ways [mmHg].

    `slope`: the error grew evenly with time. `before_step` and `after_step`: it jumped once, and the reading was taken
    before or after that. Which of them holds cannot be told from the checks.
    """

    slope: Corrected | Withheld
    before_step: Corrected | Withheld
    after_step: Corrected | Withheld


@dataclass(frozen=True, slots=True)
class Moved:
    """How far a gauge's error moved between two checks, with its interval [mmHg]; below 0 where it now reads lower."""

    step_mmhg: float
    low_mmhg: float
    high_mmhg: float
    days: float

    @property
    def slope_mmhg_per_day(self) -> float:
        """The same as an even drift."""
        return self.step_mmhg / self.days

    @property
    def told(self) -> bool:
        """Whether the interval leaves no doubt that it moved."""
        return not self.low_mmhg <= 0 <= self.high_mmhg


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """Two checks of one gauge, the earlier first, with their times (aware)."""

    first: CorrectionCurve
    first_at: datetime
    second: CorrectionCurve
    second_at: datetime

    def __post_init__(self) -> None:
        if self.first_at.tzinfo is None or self.second_at.tzinfo is None:
            raise InstrumentError("checks without a time zone; times in UTC are needed")
        if self.second_at <= self.first_at:
            raise InstrumentError("the second check is not after the first; checks in order of time are needed")

    def moved(self, reading_mmhg: float) -> Moved | Withheld:
        """Return how the error at a reading [mmHg] moved between the checks, as a step and as a slope.

        The interval takes both corrections' halves as independent (root of the sum of squares): too wide, never too
        narrow, where one and the same reference served both checks.
        """
        before, after = self.first.correct(reading_mmhg), self.second.correct(reading_mmhg)
        if isinstance(before, Withheld):
            return before
        if isinstance(after, Withheld):
            return after
        half = math.hypot(before.high_mmhg - before.mmhg, after.high_mmhg - after.mmhg)
        days = (self.second_at - self.first_at) / timedelta(days=1)
        step = before.mmhg - after.mmhg
        return Moved(step, step - half, step + half, days)

    def correct(self, reading_mmhg: float, at: datetime) -> DriftCorrection:
        """Correct a reading taken between the checks, or at either, as a slope and as a step.

        On the slope, pressure and both ends of its interval move on straight lines in time. Raises InstrumentError for
        a time without zone or outside the two checks.
        """
        if at.tzinfo is None or not self.first_at <= at <= self.second_at:
            raise InstrumentError("the reading's time must have a zone and lie between the two checks")
        return self.between(self.ends(reading_mmhg), at)

    def ends(self, reading_mmhg: float) -> tuple[Corrected | Withheld, Corrected | Withheld]:
        """Return the correction of a reading [mmHg] by the first check and by the second."""
        return self.first.correct(reading_mmhg), self.second.correct(reading_mmhg)

    def between(self, ends: tuple[Corrected | Withheld, Corrected | Withheld], at: datetime) -> DriftCorrection:
        """Return what `correct` does, from the corrections by both checks; `at` lies between the two."""
        before, after = ends
        if isinstance(before, Withheld) or isinstance(after, Withheld):
            slope: Corrected | Withheld = before if isinstance(before, Withheld) else after
        else:
            part = (at - self.first_at) / (self.second_at - self.first_at)
            slope = Corrected(
                mmhg=before.mmhg + part * (after.mmhg - before.mmhg),
                low_mmhg=before.low_mmhg + part * (after.low_mmhg - before.low_mmhg),
                high_mmhg=before.high_mmhg + part * (after.high_mmhg - before.high_mmhg),
            )
        return DriftCorrection(slope=slope, before_step=before, after_step=after)


@dataclass(frozen=True, slots=True)
class Reach:
    """Between what pressures a reading may have stood [mmHg], however and whenever the gauge moved."""

    low_mmhg: float
    high_mmhg: float


def reach(reading_mmhg: float, found: DriftCorrection) -> Reach | Withheld:
    """Return the reach of a reading [mmHg]: every estimate and, on the side the correction points to, every interval.

    Without a first check the reading as written stands for it. On the other side the intervals are left out: that is
    what the scale of any gauge in date leaves open, and no reading is recalled for it (CHOICE). Withheld where the
    second check says nothing about the reading.
    """
    if isinstance(found.after_step, Withheld):
        return found.after_step
    ways = [way for way in (found.slope, found.before_step, found.after_step) if isinstance(way, Corrected)]
    estimates = [way.mmhg for way in ways]
    if isinstance(found.before_step, Withheld):
        estimates.append(reading_mmhg)
    low, high = min(estimates), max(estimates)
    if found.after_step.mmhg >= reading_mmhg:
        high = max(way.high_mmhg for way in ways)
    else:
        low = min(way.low_mmhg for way in ways)
    return Reach(low, high)
