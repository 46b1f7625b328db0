"""The beats of an arm: rhythm, swings, settling, and what a person may be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from hushpoint.arm import ArmEffects, Person, Swings, audible_beats, beat_table, slow_truth, truth_of
from hushpoint.arm.audibility import NOTHING_HEARD
from hushpoint.errors import BadInputError
from hushpoint.measure import Heard, Withheld

STILL = Person(swings=Swings.off())


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_a_still_arm_beats_like_a_clock() -> None:
    """Without swings every beat has the stated pressures and the stated interval."""
    table = beat_table(STILL, ArmEffects(), rng())
    assert np.all(table.systolic_mmhg == STILL.systolic_mmhg)
    assert np.all(table.diastolic_mmhg == STILL.diastolic_mmhg)
    assert np.diff(table.foot_s) == pytest.approx(60 / STILL.pulse_per_min, abs=2e-4)
    assert table.foot_s[-1] > 598


def test_a_normal_arm_is_heard_over_its_whole_range() -> None:
    """At 45 dB without swings every beat between diastolic and systolic is heard, and no other."""
    table = beat_table(STILL, ArmEffects(), rng())
    beats = audible_beats(table, [0, 1, 91], [0, 150, 60])
    assert len(beats) > 100
    for beat in beats:
        assert beat.audible == (0 <= beat.place <= 1)
    assert slow_truth(table, 30) == (STILL.systolic_mmhg, STILL.diastolic_mmhg)


def test_regular_rhythm_varies_a_little_and_less_with_age() -> None:
    """The interval's SD is some tens of milliseconds at 25 and about half of that at 70 (SDNN; FROM MEMORY)."""
    young, old = (beat_table(Person(age_years=age), ArmEffects(), rng()).rr_s.std() for age in (25, 70))
    assert 0.03 < young < 0.07
    assert 0.015 < old < 0.035


def test_irregular_rhythm() -> None:
    """Intervals vary by 20 to 25 % and systolic by 8 to 12 mmHg from beat to beat (FROM MEMORY)."""
    table = beat_table(replace(STILL, rhythm="irregular"), ArmEffects(), rng())
    assert 0.19 < table.rr_s.std() / table.rr_s.mean() < 0.26
    assert 8 <= table.systolic_mmhg.std() <= 12
    assert table.rr_s.mean() == pytest.approx(60 / STILL.pulse_per_min, rel=0.05)


def test_ectopic_beats_come_early_and_weak_and_the_next_waits() -> None:
    """Some beats come early with a low systolic, never two in a row; the pause after each makes up for it."""
    table = beat_table(replace(STILL, rhythm="ectopic"), ArmEffects(), rng())
    early = np.flatnonzero(table.systolic_mmhg < STILL.systolic_mmhg - 15)
    assert 0.03 < len(early) / len(table.foot_s) < 0.13
    assert np.diff(early).min() > 1
    mean = 60 / STILL.pulse_per_min
    waits = np.diff(table.foot_s)
    inner = early[(early > 0) & (early < len(waits))]
    assert waits[inner - 1] == pytest.approx(0.65 * mean, abs=1e-3)
    assert waits[inner] == pytest.approx(1.35 * mean, abs=1e-3)


def test_resting_swings_have_the_stated_size() -> None:
    """Breathing of 4 and slow waves of 3 peak to trough with a beat SD of 1 give an SD of about 2.0 mmHg."""
    spread = [beat_table(Person(), ArmEffects(), rng(seed)).systolic_mmhg.std() for seed in range(10)]
    expected = (4**2 / 8 + 3**2 / 8 + 1) ** 0.5
    assert np.mean(spread) == pytest.approx(expected, rel=0.05)


def test_settling_fades() -> None:
    """An arm that did not rest starts higher and has lost 63 % of that after one time constant."""
    effects = ArmEffects(settling_systolic_mmhg=10, settling_diastolic_mmhg=4, settling_tau_s=120)
    table = beat_table(STILL, effects, rng())
    above = table.systolic_mmhg - STILL.systolic_mmhg
    assert above[0] == pytest.approx(10, abs=0.2)
    assert np.interp(120, table.foot_s, above) == pytest.approx(10 / np.e, abs=0.1)
    assert slow_truth(table, 120)[0] == pytest.approx(STILL.systolic_mmhg + 10 / np.e, abs=0.01)


def test_steady_effects_move_the_truth() -> None:
    """A set-up that adds 8 and 5 moves what is heard by 8 and 5."""
    table = beat_table(STILL, ArmEffects(systolic_mmhg=8, diastolic_mmhg=5), rng())
    assert slow_truth(table, 60) == (STILL.systolic_mmhg + 8, STILL.diastolic_mmhg + 5)


def test_the_dead_side_is_silent() -> None:
    """With the head on its dead side nothing is heard and both ends are withheld with a reason."""
    table = beat_table(STILL, ArmEffects(silent=True), rng())
    truth = truth_of(table, [0, 1, 51], [0, 160, 60])
    assert truth.systolic == truth.diastolic == Withheld(NOTHING_HEARD)
    assert slow_truth(table, 20) == (None, None)


def test_a_faint_arm_loses_its_ends() -> None:
    """12 dB less hides the last muffled sounds: diastolic is found too high, systolic stays."""
    faint = replace(STILL, loudness_db=33.0)
    systolic, diastolic = slow_truth(beat_table(faint, ArmEffects(), rng()), 30)
    assert systolic == STILL.systolic_mmhg
    assert STILL.diastolic_mmhg + 3 < diastolic < STILL.diastolic_mmhg + 8


def test_muffling_is_where_phase_iv_begins() -> None:
    """With a muffled phase of 30 % of pulse pressure, muffling is found within a beat step below that place."""
    person = replace(STILL, phase_widths=(0.2, 0.2, 0.3, 0.3))
    truth = truth_of(beat_table(person, ArmEffects(), rng()), [0, 1, 51], [0, 160, 60])
    edge = 82 + 0.3 * 46
    assert edge - 2 * 60 / 72 - 0.1 < truth.muffling_mmhg <= edge


def test_sounds_to_zero_end_in_an_empty_cuff() -> None:
    """Where sounds go on to zero, phase V is near zero and muffling is told as the middle number."""
    person = replace(STILL, sounds_to_zero=True)
    table = beat_table(person, ArmEffects(), rng())
    truth = truth_of(table, [0, 1, 81], [0, 160, 0])
    assert isinstance(truth.diastolic, Heard)
    assert truth.diastolic.mmhg < 5
    assert 80 < truth.muffling_mmhg < 90
    assert slow_truth(table, 30)[1] == 2


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"systolic_mmhg": 300.0}, "systolic 300 must be 50 to 260"),
        ({"systolic_mmhg": float("nan")}, "systolic nan"),
        ({"diastolic_mmhg": 125.0}, "below systolic"),
        ({"pulse_per_min": 0.0}, "pulse 0 must be 30 to 200"),
        ({"rhythm": "waltz"}, "regular, irregular, ectopic"),
        ({"loudness_db": 90.0}, "loudness 90"),
        ({"gap_mmhg": (120.0, 100.0)}, "gap 120 to 100"),
        ({"gap_mmhg": (70.0, 100.0)}, "between diastolic 82"),
        ({"phase_widths": (0.5, 0.5, 0.0, 0.0)}, "sum to 1"),
    ],
)
def test_a_person_outside_what_an_arm_can_be_is_refused(change: dict[str, object], says: str) -> None:
    """The refusal is one line with the legal range."""
    with pytest.raises(BadInputError, match=says) as refusal:
        replace(STILL, **change)
    assert "\n" not in str(refusal.value)
