"""The staircase finds a simulated listener's threshold; nothing is said where too little is known."""

from __future__ import annotations

import random
import statistics

import pytest

from hushpoint.errors import BadInputError
from hushpoint.practice.staircase import LAPSE_RATE, MOST_TAPS, SLOPE_DB, Staircase, Threshold, right_chance

RUNS = 500


def run(
    threshold_db: float, draw: random.Random, *, slope_db: float = SLOPE_DB, lapse: float = LAPSE_RATE
) -> Staircase:
    """Return a finished run of a listener with this threshold and this curve."""
    staircase = Staircase(0, 60)
    while not staircase.finished:
        level_db = staircase.next_level_db()
        staircase.answered(
            level_db, draw.random() < right_chance(level_db, threshold_db, slope_db=slope_db, lapse_rate=lapse)
        )
    return staircase


def errors_db(*, slope_db: float = SLOPE_DB, lapse: float = LAPSE_RATE) -> tuple[list[float | None], int]:
    """Return the errors of 500 listeners, None where no result was given, and the most taps that one needed."""
    found, most = [], 0
    for number in range(RUNS):
        draw = random.Random(number)
        threshold_db = draw.uniform(5, 55)
        staircase = run(threshold_db, draw, slope_db=slope_db, lapse=lapse)
        result = staircase.result()
        found.append(None if result is None else result.threshold_db - threshold_db)
        most = max(most, staircase.taps)
    return found, most


def test_nine_in_ten_thresholds_lie_within_three_decibels() -> None:
    """500 listeners of the stated slope and lapse rate: at least 90 % within 3 dB, each in under 40 taps."""
    found, most = errors_db()
    within = sum(error is not None and abs(error) <= 3 for error in found) / RUNS
    print(f"staircase: {100 * within:.1f} % of {RUNS} within 3 dB, most taps {most}")
    assert within >= 0.90
    assert most < 40


def test_another_curve_than_the_stated_one_costs_little() -> None:
    """A flatter curve (2 dB) with more lapses (3 %): still four in five within 3 dB, and no bias of a decibel."""
    found, most = errors_db(slope_db=2.0, lapse=0.03)
    given = [error for error in found if error is not None]
    assert sum(abs(error) <= 3 for error in given) / RUNS >= 0.80
    assert abs(statistics.fmean(given)) < 1
    assert most <= MOST_TAPS


def test_the_interval_holds_the_threshold() -> None:
    """Of 200 runs the 90 % interval holds the listener's threshold in at least 80 %."""
    held = 0
    for number in range(200):
        draw = random.Random(1000 + number)
        threshold_db = draw.uniform(10, 50)
        result = run(threshold_db, draw).result()
        held += result is not None and result.low_db - 0.5 <= threshold_db <= result.high_db + 0.5
    assert held >= 160


def test_who_hears_nothing_is_told_above_and_who_hears_all_below() -> None:
    """A listener who guesses at every level lies above the range, one who is always right below it."""
    draw = random.Random(3)
    deaf = Staircase(0, 60)
    keen = Staircase(0, 60)
    for _ in range(30):
        deaf.answered(deaf.next_level_db(), draw.random() < 0.5)
        keen.answered(keen.next_level_db(), True)
    above, below = deaf.result(), keen.result()
    assert isinstance(above, Threshold)
    assert isinstance(below, Threshold)
    assert (above.beyond, below.beyond) == ("above", "below")


def test_too_few_taps_give_no_result() -> None:
    """Before the fewest taps nothing is said, however clear they are."""
    staircase = Staircase(0, 60)
    for _ in range(5):
        staircase.answered(staircase.next_level_db(), True)
    assert staircase.result() is None
    assert not staircase.finished


def test_the_first_tap_is_the_loudest_and_answers_make_the_run_again() -> None:
    """It is known what to listen for; the same answers give the same next level."""
    assert Staircase(-10, 40).next_level_db() == 40
    answers = [(40.0, True), (20.0, True), (10.0, False)]
    assert Staircase.after(answers, -10, 40).next_level_db() == Staircase.after(answers, -10, 40).next_level_db()


def test_levels_out_of_range_are_refused() -> None:
    """One line with what is legal."""
    with pytest.raises(BadInputError, match="0 to 60 dB"):
        Staircase(0, 60).answered(61, True)
    with pytest.raises(BadInputError, match="10 to 150"):
        Staircase(0, 5)
    with pytest.raises(BadInputError, match="10 to 150"):
        Staircase(0, float("nan"))
    with pytest.raises(BadInputError, match="lapse"):
        Staircase(0, 60, lapse_rate=0.5)
