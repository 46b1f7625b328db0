"""Zeros exactly where the binomial says, copied pairs, pile-up under a limit, chi-squares of digits."""

from __future__ import annotations

import csv
import random
from fractions import Fraction
from math import comb
from pathlib import Path

import pytest

from hushpoint.agreement import PairedReading, chi_square, digits, same_pairs

PUBLISHED = Path(__file__).resolve().parents[1] / "published"


def chi_squares() -> list[dict[str, str]]:
    """The rows of outside chi-squares."""
    with (PUBLISHED / "digits_chi_squares.csv").open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def exact_tail(at_least: int, n: int) -> Fraction:
    """The chance of so many zeros or more among even digits, in whole numbers."""
    return sum((comb(n, k) * Fraction(4) ** (n - k) for k in range(at_least, n + 1)), Fraction(0)) / Fraction(5) ** n


@pytest.mark.parametrize("n", [*range(12, 61), 100, 200])
def test_zeros_are_flagged_at_one_percent_exactly_where_the_binomial_says(n: int) -> None:
    """For every count of zeros the words are those of the exact chance; all zeros are always flagged."""
    for zeros in range(n + 1):
        flags = " ".join(digits([120.0] * zeros + [124.0] * (n - zeros)).flags)
        chance = exact_tail(zeros, n)
        assert ("zeros stand out clearly" in flags) == (chance <= Fraction(1, 100))
        assert ("zeros may stand out" in flags) == (Fraction(1, 100) < chance <= Fraction(5, 100))


def test_scene_of_fourteen_zeros_in_thirty() -> None:
    """14 of 30 even readings end in 0: 6 expected, p 0.0009, clear (limit 12)."""
    found = digits([120.0] * 14 + [124.0] * 16)
    assert round(found.p_zeros or 0, 4) == 0.0009
    assert found.flags == (
        "zeros stand out clearly: 14 of 30 even readings, 6 expected, p 0.0009, from 12 on at 1 %; "
        "read to the nearest 2 mmHg mark",
    )


@pytest.mark.parametrize("row", chi_squares(), ids=lambda row: row["id"])
def test_chi_squares_of_digits(row: dict[str, str]) -> None:
    """Statistic and p at the printed decimals, from published counts."""
    shares = [float(share) for share in row["shares"].split()] or None
    found = chi_square([int(count) for count in row["counts"].split()], shares)
    assert found.degrees == int(row["degrees"])
    assert found.value == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))
    if row["p"]:
        assert round(found.p, len(row["p"].partition(".")[2])) == float(row["p"])


def rows(*pairs: tuple[float, float | None], client: str = "") -> list[PairedReading]:
    """One observer's readings in order."""
    return [PairedReading(str(place), "A", s, d, client) for place, (s, d) in enumerate(pairs)]


def test_copied_pairs_are_counted_within_a_client() -> None:
    """The same numbers on two people are no copies; on one person they are."""
    assert same_pairs(rows((120, 80), (120, 80), (120, 80))).same == 2
    mixed = [*rows((120, 80), (124, 78), client="x"), *rows((120, 80), (124, 78), client="y")]
    found = same_pairs(sorted(mixed, key=lambda row: row.measurement))
    assert (found.n, found.same, found.flags) == (2, 0, ())


def test_three_copies_of_thirty_stand_out_by_the_exact_chance() -> None:
    """3 or more of 30 at 1 in 40: p = 1 - the first three terms; told kindly, with what to do."""
    pairs = [(110.0 + 2 * turn, 70.0) for turn in range(28)]
    found = same_pairs(rows(*pairs, pairs[-1], pairs[-1], pairs[-1]))
    assert (found.n, found.same) == (30, 3)
    few = sum(comb(30, k) * 0.025**k * 0.975 ** (30 - k) for k in range(3))
    assert found.p == pytest.approx(1 - few, abs=1e-6)
    assert found.flags[0].startswith("pairs the same as the one before may stand out: 3 of 30")
    assert "write each one as if it were the first" in found.flags[0]


def test_a_reading_without_diastolic_is_no_copy() -> None:
    """Only whole pairs are compared."""
    assert same_pairs(rows((120, None), (120, None))).n == 0
    assert same_pairs([]).p is None


def test_a_pile_up_just_under_a_limit_is_told_with_its_exact_chance() -> None:
    """12 of 14 readings from 136 to 141 are 138: the exact tail at 1 in 3, clear even for three limits."""
    values = [118.0, 120.0, 122.0, 124.0, 126.0] * 3 + [138.0] * 12 + [136.0, 140.0]
    found = digits(values, (140, 160, 180))
    (under,) = found.under_limits
    tail = sum(comb(14, k) * (1 / 3) ** k * (2 / 3) ** (14 - k) for k in range(12, 15))
    assert (under.limit_mmhg, under.under, under.near) == (140, 12, 14)
    assert under.p == pytest.approx(tail, abs=1e-6)
    assert any(flag.startswith("readings just under 140 stand out: 12 of 14") for flag in found.flags)


def test_who_writes_eights_everywhere_is_not_taken_for_one_under_a_limit() -> None:
    """Eights in three of four readings all over: those near 140 are expected."""
    values = [108.0, 118.0, 128.0, 120.0] * 10 + [138.0] * 9 + [136.0, 140.0, 140.0]
    assert not any("under 140" in flag for flag in digits(values, (140,)).flags)


def test_honest_readings_seldom_seem_to_pile_up() -> None:
    """Of 400 observers with 60 honest readings about 135, so that 140 is near, at most 2 % are flagged."""
    draw = random.Random(12)
    flagged = 0
    for _ in range(400):
        values = [float(2 * round(draw.gauss(135, 12) / 2)) for _ in range(60)]
        flagged += any("under" in flag for flag in digits(values, (140, 160, 180)).flags)
    assert flagged <= 8


def test_a_machine_is_not_told_to_read_to_the_mark() -> None:
    """Half the digits odd, as from a device that shows every number: no gauge's marks are taken for granted."""
    found = digits(range(100, 150))
    assert any("device that shows every number" in flag for flag in found.flags)
    (flag,) = [flag for flag in digits([*range(100, 150), *[120] * 10]).flags if "zeros" in flag]
    assert "write the number as it is shown" in flag
    (few,) = [flag for flag in digits([*range(100, 140, 2), 131]).flags if "odd" in flag]
    assert few.endswith("1 of 21; a gauge marked every 2 mmHg is read to an even number")
