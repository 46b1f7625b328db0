"""Repeatability, limits with replicates and trend: published figures, hand-worked examples, refusals."""

from __future__ import annotations

import csv
import math
import random
import statistics
from pathlib import Path

import pytest

from hushpoint.agreement import AgreementError, PairedReading, agree
from hushpoint.agreement.reliability import concordance
from hushpoint.agreement.replicates import EXACT_UP_TO, exact_limits_ci, repeatability, replicate_limits, trend

PUBLISHED = Path(__file__).resolve().parents[1] / "published"


def published(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", published("reliability_pefr.csv"), ids=lambda row: row["what"])
def test_pefr_of_1986(row: dict[str, str]) -> None:
    """First readings of two meters, and each meter's repeatability as printed in 1986 (2 SD of differences)."""
    people = published("reliability_pefr_readings.csv")
    if row["what"].startswith("repeat"):
        meter = row["what"].removeprefix("repeat_")
        two = [[float(person[f"{meter}{turn}"]) for turn in "12"] for person in people]
        # Of two readings the within variance is the mean of half the squared difference.
        found = 2 * math.sqrt(2 * repeatability(two).variance_mmhg2)
    elif row["what"] == "correlation":
        one, other = ([float(person[name]) for person in people] for name in ("wright1", "mini1"))
        off = statistics.mean(one) - statistics.mean(other)
        spread = [statistics.pstdev(values) for values in (one, other)]
        # Lin's coefficient is r less what unequal means and spreads cost.
        found = concordance(one, other).value * (spread[0] ** 2 + spread[1] ** 2 + off**2) / (2 * spread[0] * spread[1])
    else:
        rows = [
            PairedReading(p["subject"], who, float(p[column]))
            for p in people
            for who, column in (("mini", "mini1"), ("wright", "wright1"))
        ]
        first = agree(rows, "mini").pairs[0].systolic
        assert first.sd_mmhg is not None
        found = first.bias_mmhg if row["what"] == "mean" else first.sd_mmhg
    assert found == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


def test_repeatability_by_hand() -> None:
    """Readings 100, 104 and 120, 120, 126: squares 8 and 24 over 1 + 2 degrees; a person read once adds nothing."""
    found = repeatability([[100, 104], [120, 120, 126], [90]])
    assert (found.people, found.degrees) == (2, 3)
    assert found.variance_mmhg2 == pytest.approx(32 / 3)
    assert found.coefficient_mmhg == pytest.approx(1.96 * math.sqrt(2 * 32 / 3))
    # Chi-square of 3 degrees: 0.2158 and 9.3484 (standard tables).
    assert found.sd_ci_mmhg == pytest.approx((math.sqrt(32 / 9.3484), math.sqrt(32 / 0.2158)), rel=1e-4)


def test_single_readings_by_each_need_replicates() -> None:
    """With one reading each there is no within-person spread to add, and it is said."""
    with pytest.raises(AgreementError, match="read twice"):
        replicate_limits([[1.0], [2.0]], [[1.0], [3.0]])


def test_unequal_replicates_by_hand() -> None:
    """Two and one readings: the weight of the within variance is 1 - (1/2 + 1 + 1/2)/3 = 1/3 for each observer."""
    mine, theirs = [[100, 104], [110.0], [120, 122]], [[98, 100], [112, 112], [119.0]]
    found = replicate_limits(mine, theirs)
    # Differences of means 3, -2, 2; within variances 10/2 = 5 and 2/2 = 1.
    assert found.bias_mmhg == pytest.approx(1)
    assert found.means_variance_mmhg2 == pytest.approx(7)
    assert found.variance_mmhg2 == pytest.approx(7 + 5 / 3 + 1 / 3)


def test_intervals_of_replicate_limits_hold_the_truth() -> None:
    """Of 400 drawn studies the interval of the upper limit covers the true one in 92 to 98 %."""
    draw, covered, runs = random.Random(5), 0, 400
    # True differences of single readings: person-by-observer SD 3, errors SD 5 and 4.
    true_upper = 1 + 1.96 * math.sqrt(9 + 25 + 16)
    for _ in range(runs):
        mine, theirs = [], []
        for _ in range(40):
            person, own = draw.gauss(120, 15), draw.gauss(1, 3)
            mine.append([person + own + draw.gauss(0, 5) for _ in range(3)])
            theirs.append([person + draw.gauss(0, 4) for _ in range(3)])
        low, high = replicate_limits(mine, theirs).limits_ci_mmhg[1]
        covered += low <= true_upper <= high
    assert 0.92 <= covered / runs <= 0.98


@pytest.mark.parametrize("n", [3, 8])
def test_exact_intervals_hold_the_limits_of_few_pairs(n: int) -> None:
    """Of 3 000 drawn sets of few pairs, each limit lies in its interval in 94 to 96 %: exact, where n is small."""
    draw, runs, below, above = random.Random(9), 3000, 0, 0
    for _ in range(runs):
        found = exact_limits_ci([draw.gauss(1, 3) for _ in range(n)])
        assert found is not None
        (low, high), (upper_low, upper_high) = found
        below += low <= 1 - 1.96 * 3 <= high
        above += upper_low <= 1 + 1.96 * 3 <= upper_high
    assert 0.94 <= below / runs <= 0.96
    assert 0.94 <= above / runs <= 0.96


def test_exact_intervals_meet_the_usual_ones_at_many_pairs() -> None:
    """At the last n told exactly, both intervals of a limit lie within 5 % of the SD; beyond it none is given."""
    draw = random.Random(10)
    values = [draw.gauss(0, 2) for _ in range(EXACT_UP_TO)]
    exact = exact_limits_ci(values)
    rows = [PairedReading(str(n), who, 100 + (v if who == "S" else 0)) for n, v in enumerate(values) for who in "LS"]
    usual = agree(rows, "L").pairs[0].systolic
    assert exact is not None
    assert usual.limits_ci_mmhg is not None
    assert usual.sd_mmhg is not None
    for one, other in zip(exact, usual.limits_ci_mmhg, strict=True):
        assert one == pytest.approx(other, abs=0.05 * usual.sd_mmhg)
    assert exact_limits_ci([*values, 0.0]) is None
    with pytest.raises(AgreementError, match="at least 2"):
        exact_limits_ci([1.0])


def test_trend_by_hand() -> None:
    """Means 1, 2, 3, 4 and differences 1, 3, 2, 4: slope 0.8, intercept 0.5, residual variance 0.9, p 0.2."""
    found = trend([1, 2, 3, 4], [1, 3, 2, 4])
    assert (found.slope, found.intercept_mmhg) == (pytest.approx(0.8), pytest.approx(0.5))
    assert found.residual_sd_mmhg == pytest.approx(math.sqrt(0.9))
    # Correlation 0.8 of four points: t = 0.8 sqrt(2 / 0.36), and of two degrees p = 1 - t / sqrt(2 + t^2) = 0.2.
    assert found.p == pytest.approx(0.2)


@pytest.mark.parametrize(("slope", "p"), [(0.0, 1.0), (0.5, 0.0)])
def test_trend_of_an_exact_line(slope: float, p: float) -> None:
    """A line without scatter has its slope as its interval."""
    found = trend([100, 120, 140], [slope * x for x in (100, 120, 140)])
    assert found.slope == pytest.approx(slope)
    assert found.slope_ci == pytest.approx((slope, slope))
    assert found.p == p


def test_trend_on_the_mean_shows_none_where_there_is_none() -> None:
    """Two observers of equal spread have no slope on the mean, though there would be one on the reference."""
    draw = random.Random(2)
    people = [draw.gauss(120, 8) for _ in range(400)]
    mine, theirs = ([person + draw.gauss(0, 6) for person in people] for _ in range(2))
    differences = [a - b for a, b in zip(mine, theirs, strict=True)]
    on_mean = trend([(a + b) / 2 for a, b in zip(mine, theirs, strict=True)], differences)
    assert on_mean.slope_ci[0] < 0 < on_mean.slope_ci[1]
    assert trend(theirs, differences).p < 0.001


@pytest.mark.parametrize(
    ("means", "differences", "told"),
    [([1, 2], [1, 2], "at least 3"), ([1, 2, 3], [1, 2], "at least 3"), ([5, 5, 5], [1, 2, 3], "same mean")],
)
def test_no_trend_is_told_in_one_line(means: list[float], differences: list[float], told: str) -> None:
    """Too few pairs or one pressure only."""
    with pytest.raises(AgreementError, match=told):
        trend(means, differences)


@pytest.mark.parametrize(
    ("mine", "theirs"), [([[1, 2]], [[1, 2]]), ([[1, 2], [3]], [[1, 2]]), ([[1, 2], []], [[1, 2], [3]])]
)
def test_other_people_or_none_are_refused(mine: list[list[float]], theirs: list[list[float]]) -> None:
    """The same people, at least two, each read by both."""
    with pytest.raises(AgreementError, match="needed"):
        replicate_limits(mine, theirs)
