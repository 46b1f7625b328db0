"""What a stopwatch beside the gauge tells: leak, rapid exhaust, release valve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hushpoint.guideline.gauges import GaugeRule, Limit, gauge_tests
from hushpoint.instrument.check import READING_MMHG, Failed, InstrumentError, Passed
from hushpoint.measure.verdict import Withheld

LONGEST_S = 3600.0
MOST_READINGS = 10_000


@dataclass(frozen=True, slots=True)
class TimedReading:
    """What the gauge showed [mmHg] at a time [s]."""

    at_s: float
    mmhg: float


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line through `n` readings by least squares, and what its slope was worked out from.

    `products` is the sum of (time - mean time)(pressure - mean pressure) [s mmHg], `squares` that of
    (time - mean time)² [s²], `variance` the scatter around the line [mmHg²], `t` Student's for 95 % with n - 2 degrees.
    """

    n: int
    products: float
    squares: float
    variance: float
    t: float

    @property
    def fall_per_s(self) -> float:
        """The falling rate: minus the slope [mmHg/s]."""
        return -self.products / self.squares

    @property
    def half_per_s(self) -> float:
        """Half the 95 % interval of the slope [mmHg/s]."""
        return self.t * math.sqrt(self.variance / self.squares)


@dataclass(frozen=True, slots=True)
class Fall:
    """A falling rate with its 95 % interval, in the unit of the limit it was judged by, and the verdict.

    Withheld where the interval holds the limit: more or longer readings would tell. The rate is that of `line` times
    `times` (60 for a rate a minute).
    """

    rate: float
    low: float
    high: float
    unit: str
    verdict: Passed | Failed | Withheld
    line: Line
    times: int
    asked: tuple[Limit, ...]
    """The limits that it was held to."""


@dataclass(frozen=True, slots=True)
class Exhaust:
    """How long the rapid exhaust took [s], from when to when, and the verdict."""

    seconds: float
    verdict: Passed | Failed
    begun_s: float
    ended_s: float


def leak(readings: Sequence[TimedReading], rule: GaugeRule) -> Fall:
    """Return the leak [mmHg/min] of a closed cuff: minus the slope of a straight line through 3 or more readings.

    95 % interval by Student's t with n - 2 degrees; the scatter is taken as no less than rounding to the scale gives
    (interval / sqrt 12). Begin to time a minute after pumping: until then the cuff still settles, which is no leak
    (FROM MEMORY). Raises InstrumentError.
    """
    line, limit = _line_through(readings), rule.leak
    rate, half = 60 * line.fall_per_s, 60 * line.half_per_s
    if rate + half <= limit.value:
        verdict: Passed | Failed | Withheld = Passed(f"at most {limit.value:g} {limit.unit} is allowed")
    elif rate - half > limit.value:
        verdict = Failed((f"leaks {rate:.1f} {limit.unit}: at most {limit.value:g} is allowed",))
    else:
        verdict = _unsure(rate, half, limit)
    return Fall(rate, rate - half, rate + half, limit.unit, verdict, line, 60, (limit,))


def valve(readings: Sequence[TimedReading]) -> Fall:
    """Return the release rate [mmHg/s] of a valve set to fall at 2 to 3 mmHg/s, and whether it could be set so.

    From timed readings of one release, by the same straight line as the leak. Raises InstrumentError.
    """
    line = _line_through(readings)
    rate, half = line.fall_per_s, line.half_per_s
    slowest, fastest = gauge_tests().valve_slowest, gauge_tests().valve_fastest
    asked = f"{slowest.value:g} to {fastest.value:g} {slowest.unit}"
    if slowest.value <= rate - half and rate + half <= fastest.value:
        verdict: Passed | Failed | Withheld = Passed(f"{asked} is asked")
    elif rate + half < slowest.value or rate - half > fastest.value:
        verdict = Failed((f"fell at {rate:.1f} {slowest.unit}: {asked} is asked",))
    else:
        verdict = _unsure(rate, half, slowest if abs(rate - slowest.value) < abs(rate - fastest.value) else fastest)
    return Fall(rate, rate - half, rate + half, slowest.unit, verdict, line, 1, (slowest, fastest))


def rapid_exhaust(readings: Sequence[TimedReading]) -> Exhaust:
    """Return how long the fall from 260 to 15 mmHg took [s], on straight lines between readings, 10 s at most asked.

    Raises InstrumentError where the readings do not reach from 260 or above down to 15 or below.
    """
    times, pressures = _series(readings, least=2)
    asked = gauge_tests()
    top, bottom = asked.exhaust_from.value, asked.exhaust_to.value
    if pressures[0] < top or pressures[-1] > bottom:
        raise InstrumentError(
            f"exhaust from {pressures[0]:g} to {pressures[-1]:g} mmHg; "
            f"from {top:g} or more to {bottom:g} or less is needed"
        )
    if np.any(np.diff(pressures) > 0):
        raise InstrumentError("exhaust: the pressure rises between readings; a fall all the way is needed")
    # The last moment at the top and the first at the bottom, so that a wait before opening does not count.
    leave = int(np.flatnonzero(pressures >= top)[-1])
    reach = int(np.flatnonzero(pressures <= bottom)[0])
    begun, ended = _crossing(times, pressures, leave, top), _crossing(times, pressures, reach - 1, bottom)
    seconds = ended - begun
    limit = asked.exhaust.value
    if round(seconds, 6) <= limit:
        return Exhaust(seconds, Passed(f"at most {limit:g} s is allowed"), begun, ended)
    took = f"took {seconds:.1f} s from {top:g} to {bottom:g}: at most {limit:g} s is allowed"
    return Exhaust(seconds, Failed((took,)), begun, ended)


def _crossing(times: np.ndarray, pressures: np.ndarray, before: int, level: float) -> float:
    fall = pressures[before] - pressures[before + 1]
    part = (pressures[before] - level) / fall
    return float(times[before] + part * (times[before + 1] - times[before]))


def _series(readings: Sequence[TimedReading], *, least: int) -> tuple[np.ndarray, np.ndarray]:
    if not least <= len(readings) <= MOST_READINGS:
        raise InstrumentError(f"{len(readings)} timed readings; {least} to {MOST_READINGS} are needed")
    low, high = READING_MMHG
    before = -math.inf
    for number, reading in enumerate(readings, start=1):
        if not 0 <= reading.at_s <= LONGEST_S:
            raise InstrumentError(f"timed reading {number}: {reading.at_s:g} s; 0 to {LONGEST_S:g} s is needed")
        if not low <= reading.mmhg <= high:
            raise InstrumentError(f"timed reading {number}: {reading.mmhg:g} mmHg; {low:g} to {high:g} is needed")
        if reading.at_s <= before:
            raise InstrumentError(f"timed reading {number}: {reading.at_s:g} s; a time after {before:g} s is needed")
        before = reading.at_s
    return np.array([reading.at_s for reading in readings]), np.array([reading.mmhg for reading in readings])


def _line_through(readings: Sequence[TimedReading]) -> Line:
    from scipy.special import stdtrit

    times, pressures = _series(readings, least=3)
    apart = times - times.mean()
    squares, products = float(apart @ apart), float(apart @ pressures)
    left = pressures - pressures.mean() - products / squares * apart
    degrees = len(times) - 2
    variance = max(float(left @ left) / degrees, gauge_tests().scale_interval.value ** 2 / 12)
    return Line(len(times), products, squares, variance, float(stdtrit(degrees, 0.975)))


def _unsure(rate: float, half: float, limit: Limit) -> Withheld:
    return Withheld(
        f"{rate:.1f} with an interval of {rate - half:.1f} to {rate + half:.1f} {limit.unit} holds the limit "
        f"{limit.value:g}: take more readings over a longer time"
    )
