"""Grading against the truth by the published rules."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from hushpoint.ear.standards import bhs_grade, criterion_2_limit_mmhg, grade

PUBLISHED = Path(__file__).resolve().parents[1] / "published" / "iso81060_2_criterion2.csv"


def published() -> list[tuple[float, float]]:
    with PUBLISHED.open(encoding="utf-8") as file:
        return [(float(row["abs_mean_mmhg"]), float(row["max_sd_mmhg"])) for row in csv.DictReader(file)]


@pytest.mark.parametrize(("mean", "sd"), published())
def test_criterion_2_follows_the_printed_table(mean: float, sd: float) -> None:
    """The formula stands within 0.025 of the printed limit (facts 4.2: it differs by 0.024 at most)."""
    assert abs(criterion_2_limit_mmhg(mean) - sd) <= 0.025
    assert criterion_2_limit_mmhg(-mean) == criterion_2_limit_mmhg(mean)


def test_bhs_asks_all_three_shares() -> None:
    """A needs 60, 85 and 95; one short share takes the grade down."""
    assert bhs_grade((60, 85, 95)) == "A"
    assert bhs_grade((99, 99, 94.9)) == "B"
    assert bhs_grade((49.9, 99, 99)) == "C"
    assert bhs_grade((39, 99, 99)) == "D"


def test_a_grade_counts_what_was_withheld_and_what_was_guessed() -> None:
    """Right, wrong, withheld, unreadable and guessed are told apart."""
    rows = [(120.0, 121.0, True), (120.0, 127.0, False), (120.0, None, False), (None, 90.0, False), (None, None, False)]
    found = grade(rows)
    assert (found.n, found.heard, found.wrong, found.unreadable, found.guessed) == (3, 2, 1, 2, 1)
    assert found.mean_mmhg == 4
    assert found.within_percent == (50.0, 100.0, 100.0)
    assert found.in_range_percent == 50
