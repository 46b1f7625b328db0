"""Each set-up fault acts on the arm as its table row says, and is named with range and source."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from hushpoint.arm import Person
from hushpoint.errors import BadInputError
from hushpoint.guideline import (
    DIASTOLIC_EXTREMES_MMHG,
    HYDROSTATIC_MMHG_PER_CM,
    SYSTOLIC_EXTREMES_MMHG,
    technique_effects,
)
from hushpoint.practice.cases import KINDS, Case, case_of
from hushpoint.practice.setup import (
    ROW_IDS,
    advice_for,
    check_choices,
    effects_of,
    right_choices,
    set_up_rows,
)


def case(**traits: object) -> Case:
    """Return an ordinary case with an arm of 30 cm, 8 cm off the heart where the arm is placed wrongly."""
    plain = Case(1, "normal", Person(arm_cm=30.0), "He says nothing.", False, False, 8.0)
    return dataclasses.replace(plain, **traits)


FAULTS = [
    ("rest", "at_once", "no_rest", {}),
    ("rest", "five_chatting", "talking", {}),
    ("posture", "legs_crossed", "legs_crossed", {}),
    ("posture", "back_unsupported", "back_unsupported", {}),
    ("arm", "held_out", "arm_unsupported", {}),
    ("arm", "lap", "arm_in_lap", {}),
    ("arm", "side", "arm_at_side", {}),
    ("cuff", "small_adult", "cuff_one_too_small", {}),
    ("cuff", "large_adult", "cuff_too_large", {}),
    ("cuff", "small_adult", "cuff_two_too_small", {"person": Person(arm_cm=38.0)}),
    ("snug", "loose", "loose_cuff", {}),
    ("head", "under_edge", "head_under_edge", {}),
    ("head", "beside", "head_beside", {}),
    ("ears", "backward", "earpieces_backward", {}),
    ("ears", "tapped_silent", "dead_side", {}),
    ("asking", "not_asked", "full_bladder", {"full_bladder": True}),
    ("asking", "not_asked", "caffeine", {"coffee": True}),
]


@pytest.mark.parametrize(("row", "choice", "effect_id", "traits"), FAULTS, ids=[one[2] for one in FAULTS])
def test_each_fault_acts_within_its_published_range(row: str, choice: str, effect_id: str, traits: dict) -> None:
    """Over many draws the arm moves within the range, nearly reaches both ends, and the fault names its source."""
    met, published = case(**traits), technique_effects()[effect_id]
    choices = {**right_choices(met), row: choice}
    drawn = []
    for seed in range(120):
        effects, named = effects_of(met, choices, np.random.default_rng(seed))
        systolic = effects.systolic_mmhg + effects.settling_systolic_mmhg
        diastolic = effects.diastolic_mmhg + effects.settling_diastolic_mmhg
        drawn.append((systolic, diastolic, effects.level_db))
        assert effects.silent == published.silent
        assert [one.row for one in named if one.row != "together"] == [row]
        assert published.source in named[0].line
    for values, (low, high) in zip(
        zip(*drawn, strict=True), (published.systolic_mmhg, published.diastolic_mmhg, published.level_db), strict=True
    ):
        assert low - 1e-9 <= min(values)
        assert max(values) <= high + 1e-9
        assert min(values) <= low + 0.15 * (high - low) + 1e-9
        assert max(values) >= high - 0.15 * (high - low) - 1e-9


def test_the_right_choices_do_nothing() -> None:
    """A good set-up leaves every case's arm as it is, and no advice is given."""
    for number in range(1, len(KINDS) + 1):
        met = case_of(3, number)
        effects, named = effects_of(met, right_choices(met), np.random.default_rng(number))
        assert (effects.systolic_mmhg, effects.diastolic_mmhg, effects.level_db, effects.silent) == (0, 0, 0, False)
        assert named == ()
        assert advice_for(met, right_choices(met)) == []


def test_not_resting_settles_and_a_minute_takes_part_of_it() -> None:
    """The effect of no rest fades with its time constant: none of it is steady; a minute leaves exp(-60/120)."""
    choices = right_choices(case())
    at_once, _ = effects_of(case(), {**choices, "rest": "at_once"}, np.random.default_rng(5))
    minute, named = effects_of(case(), {**choices, "rest": "one_minute"}, np.random.default_rng(5))
    assert at_once.systolic_mmhg == 0
    assert at_once.settling_systolic_mmhg >= 4.2
    assert minute.settling_systolic_mmhg == pytest.approx(at_once.settling_systolic_mmhg * np.exp(-0.5))
    assert "61 % of it is left" in named[0].line


@pytest.mark.parametrize(("choice", "sign"), [("below", 1), ("above", -1)])
def test_height_acts_by_hydrostatics(choice: str, sign: int) -> None:
    """A cuff below the heart reads high, above it low, by 0.776 mmHg per cm on both ends."""
    effects, named = effects_of(case(), {**right_choices(case()), "arm": choice}, np.random.default_rng(1))
    assert effects.systolic_mmhg == pytest.approx(sign * 8 * HYDROSTATIC_MMHG_PER_CM)
    assert effects.diastolic_mmhg == pytest.approx(sign * 8 * HYDROSTATIC_MMHG_PER_CM)
    assert "0.776 mmHg per cm" in named[0].line


def test_marker_matters_only_where_the_cuff_is_small() -> None:
    """With a cuff that fits no error is found; with a small one 4.9 and 4.0 come on top."""
    fits, named = effects_of(case(), {**right_choices(case()), "marker": "outer"}, np.random.default_rng(1))
    assert (fits.systolic_mmhg, fits.diastolic_mmhg) == (0, 0)
    assert named[0].line == "Marker not laid over the artery: no effect on the number is published."
    small = {**right_choices(case()), "cuff": "small_adult"}
    without, _ = effects_of(case(), small, np.random.default_rng(1))
    both, _ = effects_of(case(), {**small, "marker": "outer"}, np.random.default_rng(1))
    assert both.systolic_mmhg - without.systolic_mmhg == pytest.approx(4.9)
    assert both.diastolic_mmhg - without.diastolic_mmhg == pytest.approx(4.0)


def test_an_untapped_head_is_silent_half_the_time() -> None:
    """Not tapping is luck: about half of the draws are silent."""
    choices = {**right_choices(case()), "ears": "not_tapped"}
    silent = sum(effects_of(case(), choices, np.random.default_rng(seed))[0].silent for seed in range(200))
    assert 70 <= silent <= 130


def test_all_faults_together_stay_inside_the_review() -> None:
    """The sum never goes beyond the furthest effects of the whole review, and holding back is told."""
    met = case(full_bladder=True, coffee=True, person=Person(arm_cm=38.0, systolic_mmhg=150.0, diastolic_mmhg=80.0))
    worst = {
        "asking": "not_asked", "cuff": "small_adult", "rest": "at_once", "posture": "legs_crossed", "arm": "below",
        "marker": "outer", "snug": "loose", "head": "over_artery", "ears": "not_wiped",
    }  # fmt: skip
    for seed in range(50):
        effects, named = effects_of(met, worst, np.random.default_rng(seed))
        systolic = effects.systolic_mmhg + effects.settling_systolic_mmhg
        diastolic = effects.diastolic_mmhg + effects.settling_diastolic_mmhg
        assert SYSTOLIC_EXTREMES_MMHG[0] <= systolic <= SYSTOLIC_EXTREMES_MMHG[1] + 1e-9
        assert DIASTOLIC_EXTREMES_MMHG[0] <= diastolic <= DIASTOLIC_EXTREMES_MMHG[1] + 1e-9
        assert named[-1].row == "together"


def test_the_order_of_the_choices_does_not_matter() -> None:
    """The same choices in another order draw the same effects: the ledger may sort them."""
    choices = {**right_choices(case()), "cuff": "small_adult", "marker": "outer", "arm": "lap"}
    one, _ = effects_of(case(), choices, np.random.default_rng(9))
    other, _ = effects_of(case(), dict(sorted(choices.items(), reverse=True)), np.random.default_rng(9))
    assert one == other


def test_rows_are_shuffled_and_hold_every_choice_once() -> None:
    """Nothing is preset: the right choice stands in every place over the seeds, and is one of the choices."""
    places = set()
    for seed in range(40):
        rows = set_up_rows(case(), np.random.default_rng(seed))
        assert tuple(row.id for row in rows) == ROW_IDS
        for row in rows:
            ids = [choice.id for choice in row.choices]
            assert len(set(ids)) == len(ids)
            assert row.right in ids
            assert "right" not in row.to_json()
        cuff = next(row for row in rows if row.id == "cuff")
        places.add([choice.id for choice in cuff.choices].index("adult"))
    assert places == {0, 1, 2, 3}


@pytest.mark.parametrize("value", [None, [], "all", {}, {"cuff": "adult"}, {"nobody": "1"}, {"cuff": ["adult"]}])
def test_choices_that_are_not_there_are_refused(value: object) -> None:
    """A missing or unknown row or choice is one line."""
    with pytest.raises(BadInputError, match=r"^choices"):
        check_choices(case(), value)


def test_advice_names_the_range_and_the_source_before_pumping() -> None:
    """Guided advice holds the published range, its source, and no drawn number."""
    advice = advice_for(case(), {**right_choices(case()), "posture": "legs_crossed", "ears": "not_tapped"})
    assert [one["row"] for one in advice] == ["posture", "ears"]
    assert "+2.5 to +14.9 on systolic, +1.4 to +10.8 on diastolic" in advice[0]["text"]
    assert "Kallioinen 2017" in advice[0]["source"]
    assert "may be on its silent side" in advice[1]["text"]
