"""What the pen's lines say about digits, against the exact binomial."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from hushpoint.measure import NotHeard, Reading, Written
from hushpoint.practice.pen import pen_lines, zeros_p

LIMITS = Path(__file__).resolve().parents[1] / "published" / "digits_smallest_zero_counts.csv"


def limits() -> list[dict[str, str]]:
    """Return the table of smallest zero counts that stand out."""
    with LIMITS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def pair(systolic: int, diastolic: int = 76) -> Reading:
    """Return a written pair."""
    return Reading(Written(systolic), Written(diastolic))


@pytest.mark.parametrize("row", limits(), ids=lambda row: row["n"])
def test_smallest_odd_zero_counts(row: dict[str, str]) -> None:
    """The printed count is the first below 5 % and 1 %; one fewer is not."""
    even = int(row["n"])
    for column, level in (("smallest_at_5_percent", 0.05), ("smallest_at_1_percent", 0.01)):
        count = int(row[column])
        assert zeros_p(count, even) < level <= zeros_p(count - 1, even)


def test_fourteen_of_thirty() -> None:
    """14 of 30 gives p 0.0009, as worked by hand in the facts (DERIVED), and is told with the expected count."""
    assert zeros_p(14, 30) == pytest.approx(0.0009, abs=5e-5)
    earlier = [pair(120, 74)] * 14 + [pair(124)] * 15
    assert any(
        "14 of 30 even systolic readings end in 0; 6 expected" in line for line in pen_lines(earlier, pair(126), None)
    )


def test_few_readings_are_too_few_to_tell() -> None:
    """Below 12 no habit is spoken of, whatever the digits."""
    assert pen_lines([pair(120, 80)] * 5, pair(120, 80), None) == ["6 readings: too few to tell a habit of digits."]


def test_odd_digits_and_a_copied_pair_are_told() -> None:
    """An odd digit names itself; the same pair again on the same person is told."""
    lines = pen_lines([], pair(123, 81), pair(123, 81))
    assert "123, 81" in lines[0]
    assert "same pair as last time" in lines[1]


def test_not_heard_is_no_copied_pair() -> None:
    """Not heard twice is no copying."""
    silent = Reading(NotHeard(), NotHeard())
    assert not any("same pair" in line for line in pen_lines([], silent, silent))


def test_honest_digits_are_told_as_such() -> None:
    """Twelve readings with spread digits show no habit."""
    earlier = [pair(110 + 2 * step, 70 + 2 * step) for step in range(12)]
    assert pen_lines(earlier, pair(136, 94), None) == ["Your pen: no habit of digits to be seen."]
