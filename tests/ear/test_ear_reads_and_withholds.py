"""The ear on two sound makers that share no code: right where it speaks, silent where nobody could say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from ear.second_maker import arterial_feet, backgrounds, make, with_noise
from hushpoint.arm import Person, render_measurement
from hushpoint.ear import listen
from hushpoint.measure import Heard, Withheld


@pytest.mark.parametrize("seed", range(6))
def test_a_clear_recording_of_the_practice_arm_is_read(seed: int) -> None:
    """Both ends within 5 mmHg of the truth, each inside its stated range."""
    made = render_measurement(Person(systolic_mmhg=136, diastolic_mmhg=84), release_mmhg_per_s=2.5, seed=seed)
    heard = listen(made.samples, made.rate_hz, made.time_s, made.pressure_mmhg)
    for end in ("systolic", "diastolic"):
        found = getattr(heard, end)
        assert isinstance(found, Heard)
        assert abs(found.mmhg - made.made[f"{end}_mmhg"]) <= 5


@pytest.mark.parametrize("seed", range(6))
def test_a_clear_recording_of_the_second_maker_is_read(seed: int) -> None:
    """Both ends within 5 mmHg of the truth."""
    made = make(seed)
    heard = listen(made.sound, made.rate_hz, made.time_s, made.pressure_mmhg)
    for end in ("systolic", "diastolic"):
        found = getattr(heard, end)
        assert isinstance(found, Heard)
        assert abs(found.mmhg - getattr(made, f"{end}_mmhg")) <= 5


@pytest.mark.shared_data
def test_chest_recordings_beside_a_falling_pressure_are_withheld(shared_data: Path) -> None:
    """Twelve real chests, sounding at every pressure: 12 of 12 withheld at both ends."""
    for name, (sound, rate) in backgrounds(shared_data).items():
        if not name.startswith("chest"):
            continue
        seconds = len(sound) / rate
        time = np.arange(0, seconds, 0.05)
        pressure = np.interp(time, [0, 1.5, 2.0, seconds], [0, 165, 165, 165 - 3 * (seconds - 2)])
        heard = listen(sound, rate, time, pressure)
        assert isinstance(heard.systolic, Withheld), name
        assert isinstance(heard.diastolic, Withheld), name


@pytest.mark.shared_data
def test_real_arterial_traces_as_the_source_of_beats(shared_data: Path) -> None:
    """Taps that fall on the beats of a real arterial trace: the truth is found again."""
    feet = arterial_feet(shared_data / "arterial-waveforms/abp_3975656_0015_with_artefacts.csv.gz")
    made = make(5, beats_s=feet)
    heard = listen(made.sound, made.rate_hz, made.time_s, made.pressure_mmhg)
    assert isinstance(heard.systolic, Heard)
    assert isinstance(heard.diastolic, Heard)
    assert abs(heard.systolic.mmhg - made.systolic_mmhg) <= 5
    assert abs(heard.diastolic.mmhg - made.diastolic_mmhg) <= 5


@pytest.mark.shared_data
@pytest.mark.parametrize("seed", range(6))
def test_sounds_far_under_the_clatter_are_not_guessed(shared_data: Path, seed: int) -> None:
    """At -12 dB in-band nobody could say: whatever is said is withheld."""
    noise, rate = backgrounds(shared_data)["clatter"]
    made = with_noise(make(seed), noise, rate, -12, seed)
    heard = listen(made.sound, made.rate_hz, made.time_s, made.pressure_mmhg)
    assert isinstance(heard.systolic, Withheld)
    assert isinstance(heard.diastolic, Withheld)
