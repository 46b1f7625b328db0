"""A maker of another recipe, and what a room and another heart do: nothing of the ear knows how sounds were made."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ear.second_maker import Made, backgrounds, make, with_noise
from ear.third_maker import make_third
from hushpoint.arm import Person, render_measurement
from hushpoint.ear import Listened, listen
from hushpoint.measure import Heard


def heard(made: Made) -> Listened:
    return listen(made.sound, made.rate_hz, made.time_s, made.pressure_mmhg)


def off_mmhg(made: Made, found: Listened) -> tuple[float, float]:
    """Return how far each end lies from the truth; both must be given."""
    assert isinstance(found.systolic, Heard)
    assert isinstance(found.diastolic, Heard)
    assert made.systolic_mmhg is not None
    assert made.diastolic_mmhg is not None
    return found.systolic.mmhg - made.systolic_mmhg, found.diastolic.mmhg - made.diastolic_mmhg


def third(seed: int, **more: float) -> Made:
    return make_third(
        seed, systolic_mmhg=142, diastolic_mmhg=88, pulse_per_min=66 + seed, release_mmhg_per_s=2.4, **more
    )  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(4))
def test_a_third_recipe_is_read(seed: int) -> None:
    """Both ends within 2 mmHg, a sensor's noise on the pressure."""
    made = third(seed)
    assert all(abs(one) <= 2 for one in off_mmhg(made, heard(made)))


def test_an_uneven_rhythm_is_read_and_named() -> None:
    """Intervals that vary by 22 %: both ends within 5 mmHg, rhythm told as irregular."""
    made = third(5, irregular=0.22)
    found = heard(made)
    assert all(abs(one) <= 5 for one in off_mmhg(made, found))
    assert found.regular is False


@pytest.mark.shared_data
@pytest.mark.parametrize("name", ["chest 50054_PV", "chest 84710_PV"])
def test_another_heart_in_the_sound_is_not_taken_for_the_arms(shared_data: Path, name: str) -> None:
    """A real chest 20 dB under the sounds: both ends within 5 mmHg."""
    noise, rate = backgrounds(shared_data)[name]
    made = with_noise(third(2), noise, rate, 20, 2)
    assert all(abs(one) <= 5 for one in off_mmhg(made, heard(made)))


@pytest.mark.shared_data
def test_the_systolic_end_is_read_through_talk_as_loud_as_the_sounds(shared_data: Path) -> None:
    """Speech at 0 dB: what lies above the sounds' band and beside their beat tells talk from taps."""
    noise, rate = backgrounds(shared_data)["speech"]
    for seed in (1, 3):
        made = with_noise(make(seed), noise, rate, 0, seed)
        found = heard(made).systolic
        assert isinstance(found, Heard)
        assert abs(found.mmhg - made.systolic_mmhg) <= 5


def test_a_soft_last_stretch_widens_the_range_upward() -> None:
    """Where the last sounds lie more than 20 dB under the loudest, some listeners stop hearing earlier: the range says
    so, and the answer stays within 5 mmHg of where they are loud enough for all."""
    one = render_measurement(Person(loudness_db=33.0), release_mmhg_per_s=2.0, seed=3)
    found = listen(one.samples, one.rate_hz, one.time_s, one.pressure_mmhg).diastolic
    assert isinstance(found, Heard)
    assert found.high_mmhg - found.mmhg > 2
    assert found.low_mmhg <= one.made["diastolic_mmhg"] <= found.high_mmhg
    assert abs(found.mmhg - one.made["diastolic_mmhg"]) <= 5


def test_where_sounds_become_muffled_is_told() -> None:
    """A candidate for phase IV, within 6 mmHg of where the second maker muffles."""
    made = make(31, muffled_mmhg=12.0, release_mmhg_per_s=2.0)
    found = heard(made)
    assert found.phase_iv_mmhg is not None
    assert abs(found.phase_iv_mmhg - (80.0 + 12.0)) <= 6


def test_sound_cut_short_is_told() -> None:
    """Half the sound: the note says how much of the release was not heard, and no diastolic is made up."""
    made = third(1)
    half = made.sound[: len(made.sound) // 2]
    found = listen(half, made.rate_hz, made.time_s, made.pressure_mmhg)
    assert any("before the release does" in note for note in found.notes)
    assert not isinstance(found.diastolic, Heard)
    assert np.isfinite(found.pulse_per_min or np.nan)
