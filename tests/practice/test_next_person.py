"""The next practice person: the weakest kind is found sooner and error falls further than by chance."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from hushpoint.errors import BadInputError
from hushpoint.practice.cases import case_of, draw_case
from hushpoint.practice.next_person import (
    CASE_KINDS,
    EAR_KINDS,
    SET_SIZE,
    Attempt,
    Beliefs,
    EarKind,
    choose,
    estimates,
    feedback_now,
    kind_of,
)

Whole = NDArray[np.int64]
Pick = Callable[[Beliefs, float, np.random.Generator], Whole]
KINDS = len(EAR_KINDS)
SURE = 0.8
"""A kind is found once the chance that it is the weakest reaches this."""
A_DAY = 4


def series_shares() -> NDArray[np.float64]:
    """How often each kind comes in the plain series of practice persons; the rest are ordinary arms."""
    met = Counter(kind_of(case_of(seed, number).person) for seed in range(60) for number in range(1, 16))
    return np.array([met[kind] for kind in EAR_KINDS]) / sum(met.values())


SHARES = series_shares()


def by_choice(beliefs: Beliefs, day: float, rng: np.random.Generator) -> Whole:
    return beliefs.choose(day, rng)


def by_series(beliefs: Beliefs, _day: float, rng: np.random.Generator) -> Whole:
    """A practice person by chance, as the series has them."""
    drawn = np.searchsorted(np.cumsum(SHARES), rng.random(len(beliefs.last_kind)))
    return np.where(drawn < KINDS, drawn, -1)


def by_kind(beliefs: Beliefs, _day: float, rng: np.random.Generator) -> Whole:
    """One of the seven kinds by chance."""
    return rng.integers(0, KINDS, len(beliefs.last_kind))


def learners(count: int, rng: np.random.Generator) -> tuple[NDArray[np.float64], Whole]:
    """Return simulated learners: error SD by kind, about 2.5 mmHg, and which kind is twice as bad."""
    spread = 2.5 * np.exp(rng.normal(0, 0.2, (count, KINDS)))
    weakest = rng.integers(0, KINDS, count)
    spread[np.arange(count), weakest] = 5.0
    return spread, weakest


def heard(spread: NDArray[np.float64], kinds: Whole, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return the errors of one reading each, both ends."""
    return rng.normal(0, 1, (len(kinds), 2)) * spread[np.arange(len(kinds)), kinds][:, None]


def readings_to_find(pick: Pick, count: int, seed: int, longest: int = 120) -> tuple[float, float]:
    """Return the median of the readings needed to be sure of a weakest kind, and the share that was right."""
    rng = np.random.default_rng(seed)
    spread, weakest = learners(count, rng)
    beliefs = Beliefs(count)
    needed, right = np.full(count, longest), np.zeros(count, bool)
    for reading in range(longest):
        day = float(reading // A_DAY)
        kinds = pick(beliefs, day, rng)
        beliefs.take(kinds, heard(spread, kinds, rng), day)
        chance = beliefs.chances(day, rng, 64)
        found = (needed == longest) & (chance.max(axis=1) >= SURE)
        needed[found] = reading + 1
        right[found] = (chance.argmax(axis=1) == weakest)[found]
    return float(np.median(needed)), float(right.mean())


def error_after(pick: Pick, count: int, seed: int, readings: int = 40) -> tuple[float, float]:
    """Return mean and worst kind's error SD [mmHg] after so many readings, of learners who learn and forget.

    Practice on a kind takes its error towards 1.5 mmHg, a quarter of the way each reading; what was practised fades
    with a half-life of 30 days.
    """
    rng = np.random.default_rng(seed)
    start, _ = learners(count, rng)
    practised = np.zeros_like(start)
    beliefs = Beliefs(count)
    rows = np.arange(count)
    for reading in range(readings):
        if reading and reading % A_DAY == 0:
            practised *= 0.5 ** (1 / 30)
        spread = 1.5 + (start - 1.5) * np.exp(-practised / 4)
        day = float(reading // A_DAY)
        kinds = pick(beliefs, day, rng)
        beliefs.take(kinds, heard(spread, kinds, rng), day)
        practised[rows[kinds >= 0], kinds[kinds >= 0]] += 1
    spread = 1.5 + (start - 1.5) * np.exp(-practised / 4)
    return float(spread.mean()), float(spread.max(axis=1).mean())


def test_fewer_readings_find_the_weakest_kind_small() -> None:
    """300 learners: sooner than a practice person by chance, and as often right."""
    (chosen, right), (chance, chance_right) = (readings_to_find(pick, 300, 5) for pick in (by_choice, by_series))
    assert chosen <= 0.65 * chance
    assert right >= chance_right


@pytest.mark.accuracy
@pytest.mark.hard
def test_two_thousand_learners_choice_against_chance() -> None:
    """2 000 learners: about half the readings to find the weakest kind, and less error after 40 readings."""
    found = {}
    for name, pick in (("next person", by_choice), ("person by chance", by_series), ("kind by chance", by_kind)):
        found[name], right = readings_to_find(pick, 2000, 1)
        mean, worst = error_after(pick, 2000, 1)
        print(f"{name}: {found[name]:.0f} readings, right {100 * right:.0f} %; after 40: {mean:.2f}, worst {worst:.2f}")
    assert found["next person"] <= 0.5 * found["person by chance"]
    assert found["next person"] < found["kind by chance"]


def test_error_after_forty_readings_is_lower_than_by_chance() -> None:
    """400 learners who learn and forget: mean and worst kind lower than by either kind of chance."""
    chosen, by_chance, any_kind = (error_after(pick, 400, 2) for pick in (by_choice, by_series, by_kind))
    assert chosen[0] < by_chance[0]
    assert chosen[1] < min(by_chance[1], any_kind[1])


def attempts(kind: EarKind, errors: list[float], day: float = 0.0) -> list[Attempt]:
    return [Attempt(kind, day, error, error) for error in errors]


def test_a_kind_missed_often_comes_most_often() -> None:
    """Six misses in a gap and six good ones elsewhere: gaps come more often than any other, never twice running."""
    past = attempts("gap", [14, -18, 20, 12, 16, -15])
    for kind in EAR_KINDS:
        if kind != "gap":
            past += attempts(kind, [1, -1, 2, 0, -2, 1])
    chosen = Counter(choose(past, 1.0, np.random.default_rng(seed)).kind for seed in range(60))
    assert chosen.most_common(1)[0][0] == "gap"
    again = [*past, Attempt("gap", 1.0, 15, 15)]
    assert all(choose(again, 1.0, np.random.default_rng(seed)).kind != "gap" for seed in range(60))


def test_what_was_shown_long_ago_is_less_certain() -> None:
    """Three good readings: after a month the range of the typical error is wider, and it may well be a beginner's."""
    past = attempts("faint", [1, -1, 2])
    soon = next(one for one in estimates(past, 0.0) if one.kind == "faint")
    late = next(one for one in estimates(past, 30.0) if one.kind == "faint")
    assert late.high_mmhg - late.low_mmhg > soon.high_mmhg - soon.low_mmhg
    assert late.typical_mmhg > soon.typical_mmhg


def test_spaced_good_readings_keep_longer() -> None:
    """The same readings on four days fade more slowly afterwards than on one day."""
    crammed = [Attempt("faint", 21.0, 1, 1) for _ in range(4)]
    spaced = [Attempt("faint", 7.0 * week, 1, 1) for week in range(4)]
    at = 60.0
    typical = [
        next(one for one in estimates(past, at) if one.kind == "faint").typical_mmhg for past in (crammed, spaced)
    ]
    assert typical[1] < typical[0]


def test_why_is_told_in_numbers() -> None:
    """A kind not met yet says so; a met one says how often it was near, and when last."""
    past = [Attempt(kind, 0.0, 1, 1) for kind in EAR_KINDS if kind != "muffled"]
    told = {choose(past, 3.5, np.random.default_rng(seed)).why for seed in range(80)}
    assert "a long muffled end: not met yet" in told
    assert "a silent gap: 1 of 1 within 4 so far, last met 3 days ago" in told


def test_the_chosen_case_shows_its_kind() -> None:
    """Every practice person of a kind is of that kind for the ear, and every kind has one."""
    for kind, cases in CASE_KINDS.items():
        for case_kind in cases:
            for seed in range(25):
                assert kind_of(draw_case(np.random.default_rng(seed), 1, case_kind).person) == kind


def test_an_end_that_was_not_there_tells_nothing() -> None:
    """A reading without errors leaves everything as it was; one end alone counts once."""
    assert estimates([Attempt("high", 0.0, None, None)], 0.0)[0].typical_mmhg == estimates([], 0.0)[0].typical_mmhg
    one, both = (Attempt("high", 0.0, 8.0, other) for other in (None, 8.0))
    found = [next(e for e in estimates([a], 0.0) if e.kind == "high") for a in (one, both)]
    assert found[0].typical_mmhg < found[1].typical_mmhg


def test_feedback_fades_from_after_each_to_the_end_of_the_set() -> None:
    """Sets 1 and 2 after each, 3 and 4 after every second, then at the end alone; the last always has it."""
    told = [[feedback_now(number, place) for place in range(1, SET_SIZE + 1)] for number in (1, 2, 3, 4, 5, 9)]
    assert told == [[True] * 4] * 2 + [[False, True] * 2] * 2 + [[False, False, False, True]] * 2
    with pytest.raises(BadInputError, match="1 to 4"):
        feedback_now(1, 5)
