"""Cases are reproducible from seed and number, and a series covers every kind of arm."""

from __future__ import annotations

import pytest

from hushpoint.errors import BadInputError
from hushpoint.guideline import cuff_for
from hushpoint.practice.cases import KINDS, case_of


def test_a_series_holds_every_kind_once_and_begins_ordinary() -> None:
    """Fifteen cases hold fifteen kinds, for any learner; the first is an ordinary arm."""
    for seed in range(20):
        kinds = [case_of(seed, number).kind for number in range(1, len(KINDS) + 1)]
        assert sorted(kinds) == sorted(KINDS)
        assert kinds[0] == "normal"


def test_learners_meet_the_kinds_in_different_orders() -> None:
    """Person 5 is not the same kind for everybody."""
    assert len({case_of(seed, 5).kind for seed in range(30)}) > 5


def test_seed_and_number_give_the_same_case_again() -> None:
    """The same two numbers give an equal case, traits and all."""
    assert case_of(11, 4) == case_of(11, 4)
    assert case_of(11, 4) != case_of(12, 4)


def test_what_each_kind_promises() -> None:
    """Very high is above 180, low below 100, a gap lies inside the range, and so on."""
    for seed in range(40):
        met = {case.kind: case.person for case in (case_of(seed, number) for number in range(1, len(KINDS) + 1))}
        assert met["very_high"].systolic_mmhg > 180
        assert met["low"].systolic_mmhg < 100
        assert met["high"].systolic_mmhg >= 140
        gap = met["gap"].gap_mmhg
        assert gap is not None
        assert 10 <= gap[1] - gap[0] <= 40.1
        assert met["irregular"].rhythm == "irregular"
        assert met["ectopic"].rhythm == "ectopic"
        assert met["to_zero"].sounds_to_zero
        assert met["long_muffled"].phase_widths[3] > 1.5 * met["normal"].phase_widths[3]
        assert met["faint"].loudness_db < met["normal"].loudness_db - 5
        assert met["wide_pulse"].systolic_mmhg - met["wide_pulse"].diastolic_mmhg > 80
        assert met["narrow_pulse"].systolic_mmhg - met["narrow_pulse"].diastolic_mmhg < 30
        assert cuff_for(met["large_arm"].arm_cm).id in ("large_adult", "extra_large")
        assert cuff_for(met["small_arm"].arm_cm).id == "small_adult"
        for person in met.values():
            assert person.systolic_mmhg - person.diastolic_mmhg >= 20


def test_what_the_learner_sees_holds_no_hidden_trait() -> None:
    """The case on the page has the story and nothing of pressures, rhythm, bladder or kind."""
    shown = case_of(5, 3).to_json()
    assert set(shown) == {"number", "line", "sex", "age_years", "arm_cm", "says", "invented"}
    assert shown["line"].startswith("Person 3: ")


@pytest.mark.parametrize(("seed", "number"), [(-1, 1), (1, 0), (1, -4)])
def test_numbers_outside_the_series_are_refused(seed: int, number: int) -> None:
    """One line, no traceback from the generator."""
    with pytest.raises(BadInputError, match="1 or more"):
        case_of(seed, number)
