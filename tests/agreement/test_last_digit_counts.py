"""Last digits: counts, the exact test and the words about it."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from hushpoint.agreement import binomial_upper_tail, digits

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
