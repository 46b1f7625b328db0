"""Whatever a gauge does, errors add up, curves never fall, and any bytes give points or one line."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hushpoint.desk.check_csv import parse_check
from hushpoint.desk.csv_file import CsvFileError
from hushpoint.guideline import CuffFits, CuffSize, bladder_fit, cuff_sizes, gauge_rule, size_for
from hushpoint.instrument import (
    Corrected,
    Direction,
    Failed,
    GaugePoint,
    InstrumentError,
    TimedReading,
    check_gauge,
    correction_curve,
    leak,
)
from hushpoint.measure.verdict import Withheld

HEADER = b"reference_mmhg,reading_mmhg,direction\n"
tenths = st.integers(-150, 150).map(lambda value: value / 10)


@st.composite
def checks(draw: st.DrawFn) -> list[GaugePoint]:
    """Checks with any steps and errors up to 15 mmHg, one direction or both."""
    points: list[GaugePoint] = []
    directions = draw(st.sampled_from([[Direction.UP], [Direction.DOWN], [Direction.UP, Direction.DOWN]]))
    for direction in directions:
        steps = draw(st.lists(st.integers(0, 310), min_size=2, max_size=9, unique=True))
        for step in sorted(steps, reverse=direction is Direction.DOWN):
            points.append(GaugePoint(step, step + draw(tenths), direction))
    return points


@settings(max_examples=150, deadline=None)
@given(checks(), st.sampled_from([0.0, 0.5, 2.0]))
def test_verdict_follows_from_errors_and_hysteresis(points: list[GaugePoint], certificate: float) -> None:
    """A gauge passes exactly where every error with the certificate, zero and the loop are within their limits."""
    rule = gauge_rule("in_use")
    check = check_gauge(points, rule, reference_error_mmhg=certificate)
    loop = 0.0 if check.hysteresis is None else abs(check.hysteresis.falling_minus_rising_mmhg)
    off = [
        round(abs(round(point.reading_mmhg - point.reference_mmhg, 6)) + certificate, 6)
        > (3 if point.reference_mmhg == 0 else 4)
        for point in points
    ]
    assert isinstance(check.verdict, Failed) is (any(off) or loop > 4)
    assert abs(check.worst.error_mmhg) == max(abs(error.error_mmhg) for error in check.errors)


@settings(max_examples=150, deadline=None)
@given(checks(), st.integers(1, 40))
def test_a_correction_never_falls_and_lies_in_its_interval(points: list[GaugePoint], parts: int) -> None:
    """Along the readings the curve never falls; each pressure lies in its interval; beyond them it is withheld."""
    check = check_gauge(points, gauge_rule())
    try:
        curve = correction_curve(check)
    except InstrumentError:
        # Two steps so near that the pointer stood at one place for both: the one case without a curve.
        assume(False)
    low, high = float(curve.reading_mmhg[0]), float(curve.reading_mmhg[-1])
    before = -math.inf
    for part in range(parts + 1):
        found = curve.correct(min(low + (high - low) * part / parts, high))
        assert isinstance(found, Corrected)
        assert found.low_mmhg <= found.mmhg <= found.high_mmhg
        assert found.mmhg >= before - 1e-9
        before = found.mmhg
    assert isinstance(curve.correct(low - 0.1), Withheld)
    assert isinstance(curve.correct(high + 0.1), Withheld)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 300), min_size=2, max_size=9, unique=True), tenths, st.integers(0, 300))
def test_a_gauge_off_by_one_amount_is_corrected_by_it(steps: list[int], off: float, at: int) -> None:
    """Where the error is the same everywhere, the correction takes away that amount."""
    points = [GaugePoint(step, step + off, Direction.UP) for step in sorted(steps)]
    found = correction_curve(check_gauge(points, gauge_rule())).correct(at)
    if isinstance(found, Withheld):
        assert not min(steps) + off <= at <= max(steps) + off
    else:
        assert found.mmhg == pytest.approx(at - off, abs=1e-6)


@settings(max_examples=100, deadline=None)
@given(st.floats(0, 20), st.integers(3, 20), st.integers(5, 60))
def test_a_straight_leak_is_found(rate: float, count: int, every_s: int) -> None:
    """A fall at one rate gives that rate, inside an interval that shrinks to no less than rounding leaves."""
    found = leak(
        [TimedReading(step * every_s, 300 - rate * step * every_s / 60) for step in range(count)], gauge_rule()
    ) if rate * count * every_s / 60 < 300 else None  # fmt: skip
    if found is not None:
        assert found.rate == pytest.approx(rate, abs=1e-6)
        assert found.low < found.rate < found.high


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200) | st.text(max_size=60).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_any_bytes_as_a_check(data: bytes) -> None:
    """Any bytes under the right header, and as a whole file, give points in order or one printable line."""
    for whole in (data, HEADER + data, HEADER + b"0,0,up\n" + data):
        try:
            points = parse_check(whole, "c.csv")
        except CsvFileError as refusal:
            points, told = (), str(refusal)
        else:
            told = ""
            assert len(points) >= 2
        assert told.isprintable()
        assert len(told) < 300
        assert bool(told) is not bool(points)


@settings(max_examples=200, deadline=None)
@given(st.integers(100, 800), st.integers(20, 300), st.integers(40, 600))
def test_only_the_tables_bladder_fits(arm_mm: int, width_mm: int, length_mm: int) -> None:
    """Whatever the arm and bladder, only the named size fits; any other has an effect to tell."""
    arm_cm, width_cm, length_cm = arm_mm / 10, width_mm / 10, length_mm / 10
    fit = bladder_fit(arm_cm, width_cm, length_cm)
    named = size_for(arm_cm)
    if isinstance(named, Withheld):
        assert isinstance(fit.verdict, Withheld)
        assert all(
            isinstance(bladder_fit(arm_cm, size.bladder_width_cm, size.bladder_length_cm).verdict, Withheld)
            for size in cuff_sizes()
        )
        return
    assert isinstance(named, CuffSize)
    own = (width_cm, length_cm) == (named.bladder_width_cm, named.bladder_length_cm)
    assert isinstance(fit.verdict, CuffFits) is own
    assert bool(fit.effects) is not own
