"""Learning-curve limits against figures worked out apart, and what a curve says in words."""

from __future__ import annotations

import csv
import itertools
import random
from pathlib import Path

import pytest

from hushpoint.competence import Competent, NotYet, TooFew
from hushpoint.competence.curve import (
    clean_needed,
    curve_limit,
    learning_curve,
    signal_chances,
    steady_limits,
    steady_odds,
    steady_scores,
    weights,
)
from hushpoint.errors import BadInputError

PUBLISHED = Path(__file__).resolve().parents[1] / "published"


def published(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def place(row: dict[str, str]) -> str:
    """A short name of a row of the limits."""
    return "-".join(list(row.values())[:4])


@pytest.mark.parametrize("row", published("competence_lc_cusum.csv"), ids=place)
def test_limits_and_odds_are_those_of_the_table(row: dict[str, str]) -> None:
    """Limit, clean readings in a row and all three chances equal the table's, at its own decimals."""
    found = curve_limit(
        float(row["p0_adequate_error_rate"]),
        float(row["p1_inadequate_error_rate"]),
        int(row["N_readings"]),
        float(row["false_signal_target"]),
    )
    assert found.limit == float(row["h"])
    assert found.clean_in_a_row == int(row["min_consecutive_successes"])
    assert round(found.false_signal, 3) == float(row["P_signal_within_N_at_p1"])
    assert round(found.true_signal, 3) == float(row["P_signal_within_N_at_p0"])
    assert round(found.true_signal_at_half, 3) == float(row["P_signal_within_N_at_half_p0"])


@pytest.mark.parametrize("row", published("competence_lc_cusum_copied_limit.csv"), ids=lambda row: row["id"])
def test_a_copied_limit_passes_most_who_are_not_there(row: dict[str, str]) -> None:
    """The odds of the often-quoted 1.25 show why limits are computed here."""
    up, down = weights(float(row["p0"]), float(row["p1"]))
    limit = float(row["h"])
    assert (round(up, 4), round(down, 4)) == (float(row["up"]), float(row["down"]))
    assert clean_needed(0.0, up, limit) == int(row["clean_in_a_row"])
    chance = signal_chances(up, down, limit, float(row["error_rate"]), int(row["n"]))[-1]
    assert chance == pytest.approx(float(row["signals"]), abs=float(row["tolerance"]))


def test_run_lengths_agree_with_every_sequence_of_twelve() -> None:
    """The chain equals the sum over all 4 096 sequences of right and wrong, signal by signal."""
    limit = curve_limit(0.1, 0.3, 12, 0.3)
    by_reading = [0.0] * 12
    for sequence in itertools.product((True, False), repeat=12):
        chance, score = 1.0, 0.0
        arrived = False
        for n, good in enumerate(sequence):
            chance *= 0.8 if good else 0.2
            score = max(0.0, score + (limit.up if good else -limit.down))
            arrived = arrived or score >= limit.limit
            if arrived:
                # The rest of the sequence is free, so count this beginning once by its share.
                by_reading[n] += chance / 2 ** (11 - n)
                break
    chances = signal_chances(limit.up, limit.down, limit.limit, 0.2, 12)
    assert 0 < chances[-1] < 1
    assert chances == pytest.approx(list(itertools.accumulate(by_reading)), abs=1e-12)


def test_curve_says_how_many_more_clean_readings() -> None:
    """Seven clean of eighteen asked: eleven more would show it; too few to be anything else."""
    limit = curve_limit(0.1, 0.25, 50, 0.1)
    found = learning_curve([True] * 7, limit)
    assert isinstance(found.verdict, TooFew)
    assert found.verdict.missing == ("eleven more clean readings would show it",)
    assert found.scores[-1] == pytest.approx(7 * limit.up)


def test_curve_arrives_once_and_rests() -> None:
    """Eighteen clean in a row arrive; a later slip does not take the arrival back."""
    limit = curve_limit(0.1, 0.25, 50, 0.1)
    found = learning_curve([True] * 18 + [False], limit)
    assert isinstance(found.verdict, Competent)
    assert found.verdict.reasons[0] == "arrived with reading 18 of 19"
    assert found.scores[-1] == found.scores[-2]


def test_curve_falls_back_with_errors_but_not_below_zero() -> None:
    """Every third reading wrong for thirty readings: not yet, and never under zero."""
    found = learning_curve([n % 3 != 2 for n in range(30)], curve_limit(0.1, 0.25, 50, 0.1))
    assert isinstance(found.verdict, NotYet)
    assert min(found.scores) == 0.0


def test_curve_longer_than_its_odds_says_so() -> None:
    """Readings beyond the horizon are counted and named."""
    found = learning_curve([n % 3 != 2 for n in range(40)], curve_limit(0.1, 0.3, 30, 0.1))
    assert "made for 30 readings" in found.verdict.reasons[-1]


@pytest.mark.parametrize("row", published("competence_classical_cusum.csv"), ids=lambda row: row["id"])
def test_classical_slope_and_limits(row: dict[str, str]) -> None:
    """Slope and both limits equal the outside values within their tolerance."""
    found = steady_limits(float(row["p0"]), float(row["p1"]), float(row["alpha"]), float(row["beta"]))
    assert found.slope == pytest.approx(float(row["slope"]), abs=float(row["slope_tolerance"]))
    assert found.upper == pytest.approx(float(row["limit"]), abs=float(row["limit_tolerance"]))
    assert found.lower == pytest.approx(float(row["limit"]), abs=float(row["limit_tolerance"]))


def test_classical_odds_agree_with_drawn_charts() -> None:
    """Two roads: 4 000 drawn charts cross up, down and stay open as often as the chain says."""
    limits, draw, runs = steady_limits(0.1, 0.2), random.Random(3), 4000
    up = down = length = 0
    for _ in range(runs):
        scores = steady_scores([draw.random() >= 0.15 for _ in range(60)], limits)
        ends = (n for n, score in enumerate(scores, 1) if score >= limits.upper or score <= -limits.lower)
        end = next(ends, None)
        length += end or 60
        up += end is not None and scores[end - 1] > 0
        down += end is not None and scores[end - 1] < 0
    found = steady_odds(limits, 0.15, 60)
    assert found.crosses_up + found.crosses_down + found.open == pytest.approx(1, abs=1e-12)
    assert up / runs == pytest.approx(found.crosses_up, abs=0.03)
    assert down / runs == pytest.approx(found.crosses_down, abs=0.03)
    assert length / runs == pytest.approx(found.mean_readings, abs=1)


def test_classical_chart_keeps_its_risks() -> None:
    """At the acceptable and the unacceptable rate, wrong crossings stay at or under the tenth chosen."""
    limits = steady_limits(0.1, 0.2, 0.1, 0.1)
    assert steady_odds(limits, 0.1, 600).crosses_up <= 0.1
    assert steady_odds(limits, 0.2, 600).crosses_down <= 0.1


@pytest.mark.parametrize(
    ("p0", "p1", "n", "target"),
    [(0.2, 0.1, 50, 0.1), (0, 0.1, 50, 0.1), (0.1, 1, 50, 0.1), (0.1, 0.2, 0, 0.1), (0.1, 0.2, 201, 0.1),
     (0.1, 0.2, 50, 0), (0.1, 0.2, 50, 0.6), (float("nan"), 0.2, 50, 0.1)],
)  # fmt: skip
def test_curve_settings_outside_their_ranges_are_refused(p0: float, p1: float, n: int, target: float) -> None:
    """One line says what is allowed."""
    with pytest.raises(BadInputError) as refused:
        curve_limit(p0, p1, n, target)
    assert "\n" not in str(refused.value)
