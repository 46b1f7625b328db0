"""Forms of a listening paper are as hard as one another, and never hold a measurement twice."""

from __future__ import annotations

from collections import Counter

import pytest

from hushpoint.arm import render_measurement
from hushpoint.errors import BadInputError
from hushpoint.measure import Heard
from hushpoint.practice.forms import LAST_NUMBER, SIZE, TOLERANCE_MMHG, Form, form, usual_difficulty_mmhg

LIMIT_MMHG = 2 * TOLERANCE_MMHG
"""Two forms' difficulty differs by no more than this."""


def test_two_forms_are_equally_hard_over_a_thousand_draws() -> None:
    """1 000 forms of as many series: every one lies within the tolerance, so any two within twice that."""
    drawn = [form(seed, 1 + seed % LAST_NUMBER).difficulty_mmhg for seed in range(1000)]
    print(f"forms: difficulty {min(drawn):.3f} to {max(drawn):.3f} mmHg over 1 000 draws")
    assert max(drawn) - min(drawn) <= LIMIT_MMHG
    assert abs(sum(drawn) / len(drawn) - usual_difficulty_mmhg(SIZE)) <= TOLERANCE_MMHG


def test_other_sizes_are_equally_hard_too() -> None:
    """A policy's own number of measurements keeps the limit."""
    for size in (6, 9, 16, 24):
        drawn = [form(seed, 3, size).difficulty_mmhg for seed in range(40)]
        assert max(drawn) - min(drawn) <= LIMIT_MMHG


def hits(one: Form, spread_mmhg: float) -> float:
    """Return how many of 24 answers an observer gets within 2 whose error grows with an item's difficulty."""
    from hushpoint.competence.odds import within_chance

    scale = spread_mmhg / usual_difficulty_mmhg(SIZE)
    return sum(2 * within_chance(2, 0, scale * item.difficulty_mmhg) for item in one.items)


def test_an_observer_expects_the_same_count_on_every_form() -> None:
    """Over 150 forms the expected count within 2 mmHg differs by less than one answer of 24."""
    for spread_mmhg in (1.0, 1.5, 2.5):
        expected = [hits(form(seed, 1 + seed % LAST_NUMBER), spread_mmhg) for seed in range(150)]
        print(f"SD {spread_mmhg}: {min(expected):.2f} to {max(expected):.2f} of 24")
        assert max(expected) - min(expected) < 1


def test_a_series_never_holds_a_measurement_twice() -> None:
    """Over all forms of a series, at the usual size and the largest, no systolic value comes again."""
    for size in (SIZE, 24):
        met = [
            item.person.systolic_mmhg for number in range(1, LAST_NUMBER + 1) for item in form(7, number, size).items
        ]
        assert len(set(met)) == len(met) == LAST_NUMBER * size


def test_every_form_holds_the_same_traits() -> None:
    """Two gaps, two irregular pulses, two faint arms and a long muffled end, and both ends of the range."""
    for seed in range(30):
        drawn = form(seed, 2)
        counts = Counter(trait for item in drawn.items for trait in item.traits)
        assert (counts["gap"], counts["irregular"], counts["faint"], counts["muffled"]) == (2, 2, 2, 1)
        upper = sorted(item.person.systolic_mmhg for item in drawn.items)
        assert upper[0] < 100
        assert upper[-1] > 180
        assert [item.place for item in drawn.items] == list(range(1, SIZE + 1))


def test_what_is_rendered_can_be_heard() -> None:
    """Both ends of every item can be heard in its release, and a gap is there where the form says so."""
    for seed in range(4):
        for item in form(seed, 1 + seed).items:
            made = render_measurement(item.person, release_mmhg_per_s=item.release_mmhg_per_s, seed=item.seed)
            assert isinstance(made.truth.systolic, Heard)
            assert isinstance(made.truth.diastolic, Heard)
            assert (made.truth.gap_mmhg is not None) == ("gap" in item.traits)


def test_two_numbers_make_a_form_again() -> None:
    """Seed and number give an equal form; another number gives another; what is kept holds no arm."""
    assert form(5, 2) == form(5, 2)
    assert form(5, 2) != form(5, 3)
    assert form(5, 2).to_json() == {"series_seed": 5, "number": 2, "size": 12}


@pytest.mark.parametrize(("seed", "number", "size"), [(-1, 1, 12), (1, 0, 12), (1, 31, 12), (1, 1, 5), (1, 1, 25)])
def test_numbers_out_of_range_are_refused(seed: int, number: int, size: int) -> None:
    """One line with what is legal."""
    with pytest.raises(BadInputError, match="1 to 30"):
        form(seed, number, size)
