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
@pytest.mark.parametrize("trace", ["abp_mixedsignals", "abp_3975656_0015_with_artefacts"])
def test_real_arterial_traces_as_the_source_of_beats(shared_data: Path, trace: str) -> None:
    """Taps that fall on the beats of a real arterial trace: the truth is found again."""
    feet = arterial_feet(shared_data / f"arterial-waveforms/{trace}.csv.gz")
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


def disturbed(kind: str, sound: np.ndarray, rate: int) -> np.ndarray:
    """Return the sound with what a room does to it."""
    time = np.arange(len(sound)) / rate
    match kind:
        case "mains hum":
            return sound + 0.05 * np.sin(2 * np.pi * 50 * time)
        case "tremor at 10 Hz":
            return sound + 0.05 * np.sin(2 * np.pi * 10 * time)
        case "very soft, with an offset":
            return 0.3 + 0.002 * sound
        case _:
            knocks = sound.copy()
            rng = np.random.default_rng(1)
            for at in rng.uniform(10, time[-1] - 5, 12):
                knocks[int(at * rate) :][:40] += 0.5 * rng.standard_normal(40)
            return knocks


@pytest.mark.parametrize("kind", ["mains hum", "tremor at 10 Hz", "very soft, with an offset", "knocks"])
@pytest.mark.parametrize("maker", ["arm", "second"])
def test_what_a_room_does_moves_no_end(kind: str, maker: str) -> None:
    """Hum, tremor, a soft recording and knocks: both ends still given, within 5 mmHg."""
    if maker == "arm":
        one = render_measurement(Person(), release_mmhg_per_s=2.5, seed=5)
        sound, rate, time, pressure = one.samples.astype(float), one.rate_hz, one.time_s, one.pressure_mmhg
        truth = {end: one.made[f"{end}_mmhg"] for end in ("systolic", "diastolic")}
    else:
        two = make(801)
        sound, rate, time, pressure = two.sound, two.rate_hz, two.time_s, two.pressure_mmhg
        truth = {"systolic": two.systolic_mmhg, "diastolic": two.diastolic_mmhg}
    found = listen(disturbed(kind, sound, rate), rate, time, pressure)
    for end, mmhg in truth.items():
        answer = getattr(found, end)
        assert isinstance(answer, Heard)
        assert abs(answer.mmhg - mmhg) <= 5


@pytest.mark.parametrize("change", ["2 mmHg steps", "2.5 rows a second", "no pulse on it", "from the release on"])
def test_poor_pressure_is_enough(change: str) -> None:
    """Coarse, slow, smoothed or late pressure: both ends still within 5 mmHg."""
    made = make(801)
    time, pressure = made.time_s, made.pressure_mmhg
    match change:
        case "2 mmHg steps":
            pressure = np.round(pressure / 2) * 2
        case "2.5 rows a second":
            time = np.arange(0, made.time_s[-1], 0.4)
            pressure = np.interp(time, made.time_s, made.pressure_mmhg)
        case "no pulse on it":
            pressure = np.convolve(pressure, np.ones(101) / 101, "same")
        case _:
            late = time > time[np.argmax(pressure)] + 1
            time, pressure = time[late], pressure[late]
    found = listen(made.sound, made.rate_hz, time, pressure)
    for end in ("systolic", "diastolic"):
        answer = getattr(found, end)
        assert isinstance(answer, Heard)
        assert abs(answer.mmhg - getattr(made, f"{end}_mmhg")) <= 5
