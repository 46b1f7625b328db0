"""From a failed gauge's readings back to pressures, and between two checks as a slope and as a step."""

from __future__ import annotations

import csv
import math
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from hushpoint.guideline import gauge_rule
from hushpoint.instrument import (
    Corrected,
    CorrectionCurve,
    Direction,
    Drift,
    GaugePoint,
    InstrumentError,
    Moved,
    check_gauge,
    correction_curve,
)
from hushpoint.measure.verdict import Withheld

PUBLISHED = Path(__file__).resolve().parents[1] / "published"
STEPS = (0.0, 60.0, 100.0, 150.0, 200.0, 250.0, 300.0)
MAY_1, MAY_22 = datetime(2026, 5, 1, 9, tzinfo=UTC), datetime(2026, 5, 22, 9, tzinfo=UTC)


def scene() -> list[dict[str, str]]:
    """The readings of the recall scene."""
    with (PUBLISHED / "gauge_scene_six_low.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def curve(up: float, down: float | None = None, certificate: float = 0.0) -> CorrectionCurve:
    """A gauge off by `up` at every rising and `down` at every falling step [mmHg]."""
    points = [GaugePoint(at, at + up, Direction.UP) for at in STEPS]
    points += [GaugePoint(at, at + (up if down is None else down), Direction.DOWN) for at in reversed(STEPS)]
    return correction_curve(check_gauge(points, gauge_rule(), reference_error_mmhg=certificate))


def given(found: Corrected | Withheld) -> Corrected:
    """The correction, which must be there."""
    assert isinstance(found, Corrected)
    return found


@pytest.mark.parametrize("row", scene(), ids=lambda row: row["reading_mmhg"])
def test_readings_of_the_gauge_six_low(row: dict[str, str]) -> None:
    """Each reading of the scene comes to its estimate, give or take 2 sqrt(2 x 2^2/12) for two readings of a scale."""
    found = given(curve(-6).correct(float(row["reading_mmhg"])))
    assert found.mmhg == pytest.approx(float(row["pressure_mmhg"]), abs=1e-9)
    assert found.high_mmhg - found.mmhg == pytest.approx(2 * math.sqrt(2 / 3), abs=1e-9)
    assert found.mmhg - found.low_mmhg == pytest.approx(2 * math.sqrt(2 / 3), abs=1e-9)


def test_hysteresis_and_certificate_widen_the_interval() -> None:
    """With -6 rising, -4 falling and a certificate of 1: middle -5, half 2 sqrt((1 + 1 + 1 + 1)/3)."""
    found = given(curve(-6, -4, certificate=1).correct(95))
    assert found.mmhg == pytest.approx(100, abs=1e-9)
    assert found.high_mmhg - found.mmhg == pytest.approx(2 * math.sqrt(4 / 3), abs=1e-9)


def test_between_points_whose_errors_differ_the_interval_is_widest_in_the_middle() -> None:
    """Error 0 at 100 and 4 at 150: at the middle reading 127 pressure 125, half 2 sqrt((2^2 + 1 + 1)/3)."""
    points = [GaugePoint(100, 100, Direction.UP), GaugePoint(150, 154, Direction.UP)]
    drawn = correction_curve(check_gauge(points, gauge_rule()))
    middle = given(drawn.correct(127))
    assert middle.mmhg == pytest.approx(125)
    assert middle.high_mmhg - middle.mmhg == pytest.approx(2 * math.sqrt(6 / 3))
    for at in (100, 154):
        end = given(drawn.correct(at))
        assert end.high_mmhg - end.mmhg == pytest.approx(2 * math.sqrt(2 / 3))


def test_a_pointer_that_turns_back_gives_a_level_piece() -> None:
    """Readings 100, 98, 150 at 90, 100, 150: 98 and 100 are pooled to 95, 5 wider, and the curve never falls."""
    points = [GaugePoint(at, shown, Direction.UP) for at, shown in ((90, 100), (100, 98), (150, 150))]
    drawn = correction_curve(check_gauge(points, gauge_rule()))
    assert list(drawn.reading_mmhg) == [98, 100, 150]
    assert list(drawn.pressure_mmhg) == [95, 95, 150]
    assert list(drawn.half_hysteresis_mmhg) == [5, 5, 0]


def test_a_pointer_that_sticks_is_unsure_by_the_spread() -> None:
    """100 shown at both 96 and 104: pressure 100, give or take 4 and the scale."""
    points = [GaugePoint(at, shown, Direction.UP) for at, shown in ((50, 50), (96, 100), (104, 100), (150, 150))]
    found = given(correction_curve(check_gauge(points, gauge_rule())).correct(100))
    assert found.mmhg == pytest.approx(100)
    assert found.high_mmhg - found.mmhg == pytest.approx(2 * math.sqrt((16 + 2) / 3))


def test_nothing_is_guessed_beyond_the_check() -> None:
    """A reading outside what was checked is withheld, with the range."""
    assert curve(-6).correct(295) == Withheld("295 lies outside what was checked, -6 to 294 mmHg")
    assert isinstance(curve(-6).correct(-7), Withheld)


def test_a_stuck_gauge_and_no_number_are_refused() -> None:
    """A pointer that never moved has no curve, and NaN has no pressure."""
    stuck = [GaugePoint(at, 40, Direction.UP) for at in (0.0, 100.0)]
    with pytest.raises(InstrumentError, match="showed 40 throughout"):
        correction_curve(check_gauge(stuck, gauge_rule()))
    with pytest.raises(InstrumentError, match="finite"):
        curve(0).correct(math.nan)


def test_drift_as_a_slope_and_as_a_step() -> None:
    """Good on 1 May, 6 low on 22 May: 136 a week on is 138 by the slope, 136 before a step and 142 after it."""
    drift = Drift(curve(0), MAY_1, curve(-6), MAY_22)
    found = drift.correct(136, MAY_1 + timedelta(days=7))
    assert given(found.slope).mmhg == pytest.approx(138)
    assert given(found.before_step).mmhg == pytest.approx(136)
    assert given(found.after_step).mmhg == pytest.approx(142)


@pytest.mark.parametrize(("off", "told"), [(-6, True), (-2, False), (3, True)])
def test_how_far_a_gauge_moved(off: float, told: bool) -> None:
    """The step with its interval, root 2 of one correction's, and the same as mmHg a day; 2 is not told from 0."""
    moved = Drift(curve(0), MAY_1, curve(off), MAY_22).moved(136)
    assert isinstance(moved, Moved)
    assert moved.step_mmhg == pytest.approx(off)
    assert moved.slope_mmhg_per_day == pytest.approx(off / 21)
    half = math.sqrt(2) * 2 * math.sqrt(2 / 3)
    assert (moved.low_mmhg, moved.high_mmhg) == pytest.approx((off - half, off + half))
    assert moved.told is told


def test_at_a_check_the_slope_is_that_check() -> None:
    """On the day of either check the slope gives that check's own correction."""
    drift = Drift(curve(0), MAY_1, curve(-6), MAY_22)
    assert given(drift.correct(136, MAY_1).slope) == given(curve(0).correct(136))
    last = given(drift.correct(136, MAY_22.astimezone(timezone(timedelta(hours=10)))).slope)
    assert last.mmhg == pytest.approx(142)


def test_drift_beyond_what_either_check_covers_is_withheld() -> None:
    """298 could be read at the first check but not at the second: the step after it, and so the slope, are withheld."""
    drift = Drift(curve(0), MAY_1, curve(-6), MAY_22)
    found = drift.correct(298, MAY_22)
    assert isinstance(found.slope, Withheld)
    assert isinstance(found.after_step, Withheld)
    assert isinstance(drift.moved(298), Withheld)
    assert isinstance(drift.moved(-5), Withheld)
    assert given(found.before_step).mmhg == pytest.approx(298)


def test_bad_times_are_refused() -> None:
    """Checks out of order or without zone, and readings outside the two checks, are refused in one line."""
    with pytest.raises(InstrumentError, match="in order of time"):
        Drift(curve(0), MAY_22, curve(-6), MAY_1)
    with pytest.raises(InstrumentError, match="time zone"):
        Drift(curve(0), MAY_1.replace(tzinfo=None), curve(-6), MAY_22)
    drift = Drift(curve(0), MAY_1, curve(-6), MAY_22)
    for at in (MAY_1 - timedelta(seconds=1), MAY_22 + timedelta(seconds=1), MAY_1.replace(tzinfo=None)):
        with pytest.raises(InstrumentError, match="between the two checks"):
            drift.correct(136, at)
