"""A gauge's verdict, and a timed test's, worked out in lines that can be done again by hand."""

from __future__ import annotations

from collections.abc import Iterable

from hushpoint.guideline.gauges import Limit, gauge_tests
from hushpoint.instrument.check import Failed, GaugeCheck, Hysteresis, Passed, PointError
from hushpoint.instrument.correction import Corrected, CorrectionCurve
from hushpoint.instrument.drift import DriftCorrection
from hushpoint.instrument.timed import Exhaust, Fall
from hushpoint.measure import OUR_OWN, Withheld, Worked, decimal_words, figure_words

MOST_POINTS_TOLD = 12
"""Of a long check the points with the largest errors are worked out (our choice); the table on the page holds all."""


def check_by_hand(check: GaugeCheck) -> tuple[Worked, ...]:
    """Return the calculation behind a check: errors beside their limits, interval, hysteresis, verdict."""
    rule, own = check.rule, check.reference_error_mmhg
    largest = sorted(check.errors, key=lambda one: -abs(one.error_mmhg))[:MOST_POINTS_TOLD]
    told = [one for one in check.errors if one in largest]
    errors = [_error(check, one) for one in told]
    if len(told) < len(check.errors):
        errors.insert(0, f"the {len(told)} largest errors of {len(check.errors)} points")
    half = check.errors[0].high_mmhg - check.errors[0].error_mmhg
    interval = (
        f"interval of each error: ± 2 × √({figure_words(own)}² / 3 + {figure_words(check.reading_interval_mmhg)}² / "
        f"12) = ± {decimal_words(half, 2)}"
    )
    found = [
        Worked("Error", tuple(errors), f"error {rule.error.words()}; zero {rule.zero.words()}"),
        Worked("Interval", (interval,), "JCGM 100:2008, evenly spread, coverage factor 2; FROM MEMORY"),
    ]
    if check.hysteresis is not None:
        found.append(_hysteresis(check.hysteresis, rule.hysteresis))
    return (*found, _verdict(check))


def _error(check: GaugeCheck, one: PointError) -> str:
    at, read, own = one.point.reference_mmhg, one.point.reading_mmhg, check.reference_error_mmhg
    limit = (check.rule.zero if at == 0 else check.rule.error).value
    size = figure_words(abs(one.error_mmhg))
    if own:
        size = f"{size} + {figure_words(own)} of the reference = {figure_words(abs(one.error_mmhg) + own)}"
    return (
        f"error at {figure_words(at)} going {one.point.direction}: gauge {figure_words(read)} minus reference "
        f"{figure_words(at)} = {figure_words(one.error_mmhg)}; limit ±{limit:g}, {size}: "
        f"{'within' if one.within else 'outside'}"
    )


def _hysteresis(found: Hysteresis, limit: Limit) -> Worked:
    apart = found.falling_minus_rising_mmhg
    steps = (
        f"at {figure_words(found.at_mmhg)}, where they differ most: falling error "
        f"{figure_words(found.falling_error_mmhg)} minus rising error {figure_words(found.rising_error_mmhg)} = "
        f"{figure_words(apart)}",
        f"limit {limit.value:g} for its size {figure_words(abs(apart))}: "
        f"{'within' if abs(apart) <= limit.value else 'outside'}",
    )
    return Worked("Hysteresis", steps, f"{limit.words()}; between points on a straight line, our own rule")


def _verdict(check: GaugeCheck) -> Worked:
    outside = sum(not one.within for one in check.errors)
    steps = [f"points outside their limit: {outside} of {len(check.errors)}"]
    if check.hysteresis is None:
        steps.append("hysteresis was not read, and is not judged")
    steps.append(
        "no limit was passed: within its limits"
        if isinstance(check.verdict, Passed)
        else "one limit passed is enough: outside its limits"
    )
    return Worked("Verdict", tuple(steps), f"rule {check.rule.id} ({check.rule.name})")


def correction_by_hand(curve: CorrectionCurve) -> Worked:
    """Return the calculation behind the pressure at each point that was checked, and its interval."""
    steps = []
    knots = zip(curve.reading_mmhg, curve.pressure_mmhg, curve.half_hysteresis_mmhg, strict=True)
    reference, interval = figure_words(curve.reference_error_mmhg), figure_words(curve.reading_interval_mmhg / 2)
    for reading, pressure, loop in ((float(r), float(p), float(h)) for r, p, h in knots):
        found = curve.correct(reading)
        if not isinstance(found, Corrected):
            continue
        error = reading - pressure
        steps.append(
            f"gauge at {figure_words(reading)} minus its middle error {figure_words(error)} = "
            f"{decimal_words(found.mmhg)}; interval ± 2 × √(({reference}² + {figure_words(loop)}² + 2 × {interval}²) / "
            f"3) = ± {decimal_words(found.high_mmhg - found.mmhg)}"
        )
    why = "the middle of rising and falling, on straight lines between the points, pooled where the gauge sticks"
    return Worked("Correction", (why, *steps), f"isotonic regression; parts of the interval evenly spread: {OUR_OWN}")


def drift_by_hand(ends: Iterable[tuple[str, float, DriftCorrection]]) -> Worked | None:
    """Return how readings between two checks are corrected; each is what it is, as written [mmHg], and corrected."""
    steps = []
    for what, written, found in ends:
        before, slope, after = found.before_step, found.slope, found.after_step
        if not isinstance(after, Corrected):
            continue
        steps.append(f"{what}, {figure_words(written)} written: by the failed check {decimal_words(after.mmhg)}")
        if isinstance(before, Corrected) and isinstance(slope, Corrected) and after.mmhg != before.mmhg:
            part = (slope.mmhg - before.mmhg) / (after.mmhg - before.mmhg)
            steps.append(
                f"{what} on the slope: by the good check {decimal_words(before.mmhg)}, of the time between the checks "
                f"{part:.3f} had gone: {decimal_words(before.mmhg)} + {part:.3f} × ({decimal_words(after.mmhg)} "
                f"\N{MINUS SIGN} {decimal_words(before.mmhg)}) = {decimal_words(slope.mmhg)}"
            )
    source = f"corrections of both checks; when it moved is not known, so both ways are shown: {OUR_OWN}"
    return Worked("Correction", tuple(steps), source) if steps else None


def timed_by_hand(found: Fall | Exhaust) -> tuple[Worked, ...]:
    """Return the calculation behind a timed test: a leak, a valve's release or a rapid exhaust."""
    return (_exhaust(found) if isinstance(found, Exhaust) else _fall(found),)


def _exhaust(found: Exhaust) -> Worked:
    asked = gauge_tests()
    top, bottom, limit = asked.exhaust_from.value, asked.exhaust_to.value, asked.exhaust
    steps = (
        f"straight line between readings: {top:g} mmHg was left at {found.begun_s:.2f} s, {bottom:g} mmHg reached at "
        f"{found.ended_s:.2f} s",
        f"at most {limit.value:g} s is allowed; time of the exhaust: {found.ended_s:.2f} \N{MINUS SIGN} "
        f"{found.begun_s:.2f} = {found.seconds:.1f} s, {_stands(found.verdict)}",
    )
    return Worked("Rapid exhaust", steps, limit.words())


def _fall(found: Fall) -> Worked:
    line, unit = found.line, found.unit
    products, squares = figure_words(line.products), figure_words(line.squares)
    steps = [
        f"straight line through {line.n} readings: sum of (time \N{MINUS SIGN} its mean) × (pressure \N{MINUS SIGN} "
        f"its mean) = {products}, sum of (time \N{MINUS SIGN} its mean)² = {squares}",
        f"falling rate: \N{MINUS SIGN}({products}) / {squares} = {figure_words(line.fall_per_s)} mmHg/s",
        f"half its interval of 95 %: Student's t {line.t:.3f} × √({figure_words(line.variance)} / {squares}) = "
        f"{figure_words(line.half_per_s)} mmHg/s",
    ]
    if found.times != 1:
        steps.append(
            f"for a minute: {found.times} × {figure_words(line.fall_per_s)} = {figure_words(found.rate)} {unit}"
        )
    asked_for = " to ".join(f"{limit.value:g}" for limit in found.asked)
    interval = f"{decimal_words(found.low)} to {decimal_words(found.high)}"
    steps.append(f"interval {interval} held to the limit {asked_for} {unit}: {_stands(found.verdict)}")
    source = "; ".join(dict.fromkeys(limit.words() for limit in found.asked))
    fitted = "least squares; the scatter is taken as no less than rounding to the scale gives"
    return Worked("Falling rate", tuple(steps), f"{source}; {fitted}")


def _stands(verdict: Passed | Failed | Withheld) -> str:
    return "within" if isinstance(verdict, Passed) else "outside" if isinstance(verdict, Failed) else "withheld"
