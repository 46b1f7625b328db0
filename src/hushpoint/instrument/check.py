"""A gauge beside a reference: error at each point with its interval, zero, hysteresis, and pass or fail by a rule."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from hushpoint.errors import BadInputError
from hushpoint.guideline.gauges import GaugeRule, gauge_tests

REFERENCE_MMHG = (0.0, 320.0)
"""What a reference may show in a check: the procedure goes a little above 300."""
READING_MMHG = (-20.0, 330.0)
"""What a pointer may stand at: below zero where no pin stops it."""
REFERENCE_ERROR_MMHG = (0.0, 10.0)
MOST_POINTS = 200
STEP_WITHIN_MMHG = 10.0
"""A step of the procedure counts as read where a point lies this near (CHOICE)."""


class InstrumentError(BadInputError):
    """A check, a timed test or a correction cannot be worked out; one line says what and what is needed."""


class Direction(StrEnum):
    """Whether the pressure was rising or falling when the point was read."""

    UP = "up"
    DOWN = "down"


@dataclass(frozen=True, slots=True)
class GaugePoint:
    """One point of a check: what the reference and the gauge showed [mmHg]."""

    reference_mmhg: float
    reading_mmhg: float
    direction: Direction


@dataclass(frozen=True, slots=True)
class PointError:
    """The gauge's error at a point, gauge minus reference, with its interval (coverage factor 2) [mmHg]."""

    point: GaugePoint
    error_mmhg: float
    low_mmhg: float
    high_mmhg: float
    within: bool


@dataclass(frozen=True, slots=True)
class Hysteresis:
    """Falling minus rising error, and where, at their largest gap [mmHg]; above 0 where falling reads higher.

    Both errors stand beside it, on straight lines between the points read.
    """

    at_mmhg: float
    falling_minus_rising_mmhg: float
    falling_error_mmhg: float
    rising_error_mmhg: float


@dataclass(frozen=True, slots=True)
class Passed:
    """The gauge is within every limit of the rule at the points read."""

    reason: str


@dataclass(frozen=True, slots=True)
class Failed:
    """The gauge is outside a limit of the rule: take it out of use. One reason for each limit."""

    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GaugeCheck:
    """A whole check. `zero` and `hysteresis` are None where they were not read; `unread` names what was left out."""

    rule: GaugeRule
    errors: tuple[PointError, ...]
    worst: PointError
    zero: PointError | None
    hysteresis: Hysteresis | None
    verdict: Passed | Failed
    unread: tuple[str, ...]
    reference_error_mmhg: float
    reading_interval_mmhg: float


def refuse_disorder(points: Sequence[GaugePoint], places: Sequence[str]) -> None:
    """Raise InstrumentError unless rising references go up, falling ones down, with two or more in all, in range.

    `places` names each point for the line, such as "row 3".
    """
    if len(points) < 2:
        told = "1 point" if points else "no points"
        raise InstrumentError(f"{told}; a check needs 2 or more, the procedure asks {_listed_steps()}")
    if len(points) > MOST_POINTS:
        raise InstrumentError(f"{len(points)} points; a check holds at most {MOST_POINTS}")
    before: dict[Direction, float] = {}
    for point, place in zip(points, places, strict=True):
        for what, value, (low, high) in (
            ("reference_mmhg", point.reference_mmhg, REFERENCE_MMHG),
            ("reading_mmhg", point.reading_mmhg, READING_MMHG),
        ):
            if not low <= value <= high:
                raise InstrumentError(f"{place}: {what} {value:g}; a number from {low:g} to {high:g} is needed")
        earlier, up = before.get(point.direction), point.direction is Direction.UP
        if earlier is not None and not (point.reference_mmhg > earlier if up else point.reference_mmhg < earlier):
            raise InstrumentError(
                f"{place}: reference_mmhg {point.reference_mmhg:g} after {earlier:g} going {point.direction}; "
                f"points out of order, a number {'above' if up else 'below'} {earlier:g} is needed"
            )
        before[point.direction] = point.reference_mmhg


def check_gauge(
    points: Sequence[GaugePoint],
    rule: GaugeRule,
    *,
    reference_error_mmhg: float = 0.0,
    reading_interval_mmhg: float | None = None,
) -> GaugeCheck:
    """Judge a gauge from points [mmHg] in the order they were read.

    A limit holds for the size of the error plus the reference's own certificate error (a calibration procedure sheet,
    SEEN). The interval of an error takes both as evenly spread: error ± 2 sqrt(reference²/3 + interval²/12), the form
    of the guide to uncertainty (JCGM 100:2008, FROM MEMORY). `reading_interval_mmhg` is what the gauge was read to,
    by default the scale's interval. Raises InstrumentError as `refuse_disorder` does.
    """
    interval = gauge_tests().scale_interval.value if reading_interval_mmhg is None else reading_interval_mmhg
    low, high = REFERENCE_ERROR_MMHG
    if not low <= reference_error_mmhg <= high:
        raise InstrumentError(
            f"reference error {reference_error_mmhg:g}; a number from {low:g} to {high:g} mmHg is needed"
        )
    if not 0 < interval <= 10:
        raise InstrumentError(f"reading interval {interval:g}; a number above 0 and up to 10 mmHg is needed")
    refuse_disorder(points, [f"point {number}" for number in range(1, len(points) + 1)])
    half = 2 * math.sqrt(reference_error_mmhg**2 / 3 + interval**2 / 12)
    errors = []
    for point in points:
        limit = rule.zero if point.reference_mmhg == 0 else rule.error
        # Six decimals: 123.3 against 120.3 is 3, not a hair more.
        error = round(point.reading_mmhg - point.reference_mmhg, 6)
        within = round(abs(error) + reference_error_mmhg, 6) <= limit.value
        errors.append(PointError(point, error, error - half, error + half, within))
    hysteresis = _hysteresis(errors)
    zeros = [error for error in errors if error.point.reference_mmhg == 0]
    return GaugeCheck(
        rule=rule,
        errors=tuple(errors),
        worst=_largest(errors),
        zero=_largest(zeros) if zeros else None,
        hysteresis=hysteresis,
        verdict=_verdict(errors, hysteresis, rule, reference_error_mmhg),
        unread=tuple(_unread(points)),
        reference_error_mmhg=reference_error_mmhg,
        reading_interval_mmhg=interval,
    )


def _largest(errors: Sequence[PointError]) -> PointError:
    return max(errors, key=lambda error: abs(error.error_mmhg))


def run_of(errors: Sequence[PointError], direction: Direction) -> tuple[np.ndarray, np.ndarray]:
    """Return one direction's references, going up, and its errors [mmHg], both of shape (n,)."""
    run = sorted((e.point.reference_mmhg, e.error_mmhg) for e in errors if e.point.direction is direction)
    return np.array([at for at, _ in run]), np.array([error for _, error in run])


def _hysteresis(errors: Sequence[PointError]) -> Hysteresis | None:
    """Compare both directions wherever either was read, inside what both cover, on straight lines between points."""
    (up_at, up), (down_at, down) = run_of(errors, Direction.UP), run_of(errors, Direction.DOWN)
    if not up.size or not down.size:
        return None
    low, high = max(up_at[0], down_at[0]), min(up_at[-1], down_at[-1])
    both = np.unique(np.concatenate([up_at, down_at]))
    both = both[(both >= low) & (both <= high)]
    if not both.size:
        return None
    falling, rising = np.interp(both, down_at, down), np.interp(both, up_at, up)
    apart = falling - rising
    most = int(np.argmax(np.abs(apart)))
    return Hysteresis(float(both[most]), round(float(apart[most]), 6), float(falling[most]), float(rising[most]))


def _verdict(
    errors: Sequence[PointError], hysteresis: Hysteresis | None, rule: GaugeRule, reference_error_mmhg: float
) -> Passed | Failed:
    certificate = f" with the reference's own {reference_error_mmhg:g}" if reference_error_mmhg else ""
    reasons = []
    outside = [error for error in errors if not error.within]
    for zero in (False, True):
        there = [error for error in outside if (error.point.reference_mmhg == 0) is zero]
        if there:
            worst, limit = _largest(there), rule.zero if zero else rule.error
            others = f" (and {len(there) - 1} more of {len(errors)} points)" if len(there) > 1 else ""
            reasons.append(
                f"{_off(worst)} at {worst.point.reference_mmhg:g} going {worst.point.direction}{others}: "
                f"at most {limit.value:g}{certificate} is allowed"
            )
    if hysteresis is not None and abs(hysteresis.falling_minus_rising_mmhg) > rule.hysteresis.value:
        reasons.append(
            f"falling and rising differ by {abs(hysteresis.falling_minus_rising_mmhg):g} at {hysteresis.at_mmhg:g}: "
            f"at most {rule.hysteresis.value:g} is allowed"
        )
    if reasons:
        return Failed(tuple(reasons))
    read = [error.point.reference_mmhg for error in errors]
    return Passed(f"within {rule.error.value:g}{certificate} at every point read, from {min(read):g} to {max(read):g}")


def _off(error: PointError) -> str:
    return f"{abs(error.error_mmhg):g} {'low' if error.error_mmhg < 0 else 'high'}"


def _listed_steps() -> str:
    return ", ".join(f"{step.value:g}" for step in gauge_tests().steps)


def _unread(points: Sequence[GaugePoint]) -> list[str]:
    unread = []
    for direction, word in ((Direction.UP, "rising"), (Direction.DOWN, "falling")):
        read = [point.reference_mmhg for point in points if point.direction is direction]
        if not read:
            unread.append(f"{word} pressure was not read")
            continue
        missing = [
            f"{step.value:g}"
            for step in gauge_tests().steps
            if min(abs(step.value - at) for at in read) > STEP_WITHIN_MMHG
        ]
        if missing:
            unread.append(f"{word}, nothing was read within {STEP_WITHIN_MMHG:g} of {', '.join(missing)}")
    return unread
