"""Last digits: counts, the exact test and the words about it."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest

from hushpoint.agreement import PairedReading, binomial_upper_tail, digits, digits_by_observer
from hushpoint.measure.shown import SMALLEST_CHANCE

with (Path(__file__).resolve().parents[1] / "published" / "digits_smallest_zero_counts.csv").open(
    encoding="utf-8", newline=""
) as table:
    SMALLEST = list(csv.DictReader(table))


def written(zeros: int, n: int) -> list[float]:
    """`n` even readings, `zeros` of which end in 0."""
    return [120.0] * zeros + [122.0] * (n - zeros)


@pytest.mark.parametrize("row", SMALLEST, ids=lambda row: row["n"])
def test_smallest_odd_zero_counts(row: dict[str, str]) -> None:
    """The smallest zero counts at 5 % and 1 % are as listed, one fewer is above the level, and the words follow."""
    n, at_5, at_1 = int(row["n"]), int(row["smallest_at_5_percent"]), int(row["smallest_at_1_percent"])
    assert binomial_upper_tail(at_5, n, 0.2) <= 0.05 < binomial_upper_tail(at_5 - 1, n, 0.2)
    assert binomial_upper_tail(at_1, n, 0.2) <= 0.01 < binomial_upper_tail(at_1 - 1, n, 0.2)
    assert digits(written(at_5 - 1, n)).flags == ()
    assert digits(written(at_5, n)).flags[0].startswith("zeros may stand out")
    assert digits(written(at_1, n)).flags[0].startswith("zeros stand out clearly")


def test_under_twelve_is_too_few() -> None:
    """Eleven even readings, all zeros, are too few to speak of a habit."""
    assert digits(written(11, 11)).flags == ("too few to tell: 11 even readings, 12 are needed",)


def test_mixed_digits_are_judged_among_ten() -> None:
    """With half the digits odd, one zero in ten is expected: 2 of 20 has p = 0.608 (binomial 20, 0.1)."""
    found = digits([*range(100, 120)])
    assert found.counts == (2,) * 10
    assert found.p_zeros == pytest.approx(0.608253, abs=1e-6)
    assert found.zeros_of_even == 0.2
    (flag,) = found.flags
    assert flag.startswith("odd digits: 10 of 20, as from a device that shows every number;")


def test_fives_and_decimals_are_told() -> None:
    """Fives among odd readings and values with decimals each get their own words."""
    flags = digits([125.0] * 6 + [128.5]).flags
    assert "left out, written with decimals: 1" in flags
    assert "fives stand out: 6 of 6 odd readings" in flags


def test_nothing_to_count() -> None:
    """Without values there is no share, no p and no flag."""
    found = digits([])
    assert (found.n, found.zeros_of_even, found.p_zeros, found.flags) == (0, None, None, ())


def test_large_counts_stay_exact() -> None:
    """At 100 000 readings the lower and the upper tail still add to one."""
    upper = binomial_upper_tail(20_100, 100_000, 0.2)
    assert 0.2 < upper < 0.23
    assert binomial_upper_tail(0, 100_000, 0.2) == binomial_upper_tail(1, 100_000, 0.2) == 1.0


@pytest.mark.parametrize("n", [30, 300, 3000])
def test_a_tiny_chance_is_told_to_six_digits_and_never_as_zero(n: int) -> None:
    """Nothing but zeros: one in five to the power n, by logarithms; beyond what numbers hold a bound, never 0."""
    found = digits([120.0] * n)
    exponent = n * math.log10(0.2)
    assert found.p_zeros is not None
    assert found.chi_square is not None
    if n < 400:
        assert math.log10(found.p_zeros) == pytest.approx(exponent, abs=1e-6)
        assert float(f"{found.p_zeros:.6g}") == found.p_zeros
    else:
        assert found.p_zeros == SMALLEST_CHANCE
    told = json.loads(json.dumps(found.as_json()))
    assert told["p_zeros"] > 0
    assert told["chi_square"]["p"] > 0


def test_copied_pairs_and_pile_ups_have_no_chance_of_zero() -> None:
    """A thousand times 138/88: the chance of copying and of the pile-up under 140 are tiny, not 0."""
    rows = [PairedReading(f"m{place}", "R", 138.0, 88.0) for place in range(1000)]
    (found,) = digits_by_observer(rows)
    assert 0 < found.pairs.p < 1e-200  # type: ignore[operator]
    assert [0 < one.p < 1e-100 for one in found.systolic.under_limits] == [True]
