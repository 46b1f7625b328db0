"""Every reason for withholding, brought about once."""

from __future__ import annotations

import numpy as np
import pytest

from ear.second_maker import Made, make
from hushpoint.ear import Listened, listen
from hushpoint.measure import Heard, Withheld


def heard(made: Made) -> Listened:
    return listen(made.sound, made.rate_hz, made.time_s, made.pressure_mmhg)


def reason(end: Heard | Withheld) -> str:
    assert isinstance(end, Withheld), end
    return end.reason


def test_inflated_too_low() -> None:
    """Sounds at the top of the release: systolic withheld, diastolic still read."""
    made = make(11, peak_above_mmhg=-15)
    found = heard(made)
    assert reason(found.systolic).startswith("inflated too low")
    assert isinstance(found.diastolic, Heard)
    assert abs(found.diastolic.mmhg - made.diastolic_mmhg) <= 5


def test_stopped_too_early() -> None:
    """Sounds up to the end of the release: diastolic withheld, systolic still read."""
    made = make(12, stop_below_mmhg=-12)
    found = heard(made)
    assert reason(found.diastolic).startswith("stopped too early")
    assert isinstance(found.systolic, Heard)
    assert abs(found.systolic.mmhg - made.systolic_mmhg) <= 5


def test_nothing_heard() -> None:
    """Noise and thump, no sound."""
    found = heard(make(13, faint=0.0))
    assert reason(found.systolic).startswith("nothing")
    assert reason(found.diastolic).startswith("nothing")


def test_a_silent_file() -> None:
    """All zeros is said to be silent."""
    made = make(14)
    found = listen(np.zeros(len(made.sound)), made.rate_hz, made.time_s, made.pressure_mmhg)
    assert "silent" in reason(found.systolic)


def test_drowned() -> None:
    """White noise as loud as the sounds hides the ends: said so, with where they may lie."""
    made = make(15)
    noise = np.random.default_rng(15).standard_normal(len(made.sound))
    found = listen(made.sound + 0.15 * noise, made.rate_hz, made.time_s, made.pressure_mmhg)
    assert any(word in reason(found.systolic) for word in ("drowned", "rival"))


def test_too_few_beats() -> None:
    """Four sounding beats are not enough."""
    found = heard(make(16, systolic_mmhg=100, diastolic_mmhg=90, release_mmhg_per_s=2.5, muffled_mmhg=0))
    assert reason(found.systolic).startswith("too few beats")


def test_two_rival_starts() -> None:
    """A beat or two above a wide silence, in noise, may be a start or knocks: if it cannot be told, both are shown."""
    shown = []
    for seed in range(17, 41):
        made = make(seed, systolic_mmhg=150, gap_mmhg=(118, 146.5), release_mmhg_per_s=2)
        noise = np.random.default_rng(seed).standard_normal(len(made.sound))
        found = listen(made.sound + 0.07 * noise, made.rate_hz, made.time_s, made.pressure_mmhg)
        if isinstance(found.systolic, Withheld) and "rival" in found.systolic.reason:
            shown.append(sorted(int(word) for word in found.systolic.reason.split() if word.isdigit()))
    assert shown
    for low, high in shown:
        assert abs(low - 118) <= 8
        assert abs(high - 150) <= 8


def test_re_inflated() -> None:
    """Pumping up again inside the release spoils it, and where is told."""
    made = make(18)
    at = float(made.time_s[np.argmax(made.pressure_mmhg)]) + 15
    again = 25 * np.exp(-(((made.time_s - at) / 2.0) ** 2))
    found = listen(made.sound, made.rate_hz, made.time_s, made.pressure_mmhg + again)
    assert reason(found.systolic).startswith("re-inflated")


def test_clipped() -> None:
    """Sound driven far over full scale."""
    made = make(19)
    found = listen(np.clip(made.sound * 40, -1, 1), made.rate_hz, made.time_s, made.pressure_mmhg)
    assert reason(found.systolic).startswith("clipped")


@pytest.mark.parametrize(
    ("time_s", "mmhg"),
    [
        (np.array([0.0, 1.0]), np.array([0.0, 1.0])),
        (np.arange(0, 60, 0.05), np.zeros(1200)),
        (np.arange(0, 60, 0.05), np.full(1200, np.nan)),
        (np.arange(0, 60, 2.0), np.linspace(160, 40, 30)),
        (np.arange(0, 60, 0.05), np.linspace(0, 180, 1200)),
    ],
    ids=["two samples", "never pumped", "all missing", "too coarse in time", "no release"],
)
def test_no_usable_pressure(time_s: np.ndarray, mmhg: np.ndarray) -> None:
    """A cuff that says nothing is no usable pressure."""
    sound = np.random.default_rng(1).standard_normal(60 * 2000) * 0.1
    assert "pressure" in reason(listen(sound, 2000, time_s, mmhg).systolic)


def test_a_hole_in_the_pressure() -> None:
    """Three seconds without pressure inside the release: withheld, with where the hole is."""
    made = make(20)
    at = float(made.time_s[np.argmax(made.pressure_mmhg)]) + 10
    keep = (made.time_s < at) | (made.time_s > at + 3)
    found = listen(made.sound, made.rate_hz, made.time_s[keep], made.pressure_mmhg[keep])
    assert reason(found.systolic).startswith("no usable cuff pressure")


def test_missing_samples_and_spikes_are_let_pass() -> None:
    """NaN here and there, lone spikes: left out, counted in a note, and the ends still found."""
    made = make(21)
    pressure = made.pressure_mmhg.copy()
    pressure[::17] = np.nan
    pressure[5::211] = 290
    found = listen(made.sound, made.rate_hz, made.time_s, pressure)
    assert isinstance(found.systolic, Heard)
    assert abs(found.systolic.mmhg - made.systolic_mmhg) <= 5
    assert any("left out" in note for note in found.notes)


def test_released_too_fast() -> None:
    """More than 4 mmHg a beat at an end is not read."""
    found = heard(make(22, release_mmhg_per_s=6, pulse_per_min=60, diastolic_mmhg=60, systolic_mmhg=150))
    assert "too fast" in reason(found.systolic)


def test_sound_that_does_not_reach_the_release() -> None:
    """Five seconds of sound beside a minute of pressure."""
    made = make(23)
    found = listen(made.sound[: 5 * made.rate_hz], made.rate_hz, made.time_s, made.pressure_mmhg)
    assert "does not reach" in reason(found.systolic)


def test_sound_with_no_numbers_in_it() -> None:
    """NaN in the sound is told, never passed on."""
    made = make(24)
    sound = made.sound.copy()
    sound[len(sound) // 2] = np.nan
    assert "no numbers" in reason(listen(sound, made.rate_hz, made.time_s, made.pressure_mmhg).systolic)


def test_a_silent_gap_is_told() -> None:
    """The gap lies where it was put, and systolic is the start above it."""
    made = make(25, systolic_mmhg=170, diastolic_mmhg=90, gap_mmhg=(130, 150))
    found = heard(made)
    assert isinstance(found.systolic, Heard)
    assert abs(found.systolic.mmhg - made.systolic_mmhg) <= 5
    assert found.gap_mmhg is not None
    assert abs(found.gap_mmhg[0] - 130) <= 5
    assert abs(found.gap_mmhg[1] - 150) <= 5


def test_pulse_rhythm_release_and_first_silence() -> None:
    """What else is told: pulse within 2 a minute, rhythm, rate, and diastolic by the other convention."""
    made = make(26, pulse_per_min=84, release_mmhg_per_s=3, uneven=0.05)
    found = heard(made)
    assert found.pulse_per_min is not None
    assert found.release_mmhg_per_s is not None
    assert abs(found.pulse_per_min - made.more["pulse_per_min"]) <= 2
    assert found.regular
    assert abs(found.release_mmhg_per_s - 3) < 0.4
    assert isinstance(found.diastolic, Heard)
    assert isinstance(found.first_silence, Heard)
    assert 0 < found.diastolic.mmhg - found.first_silence.mmhg < 5
    assert not heard(make(27, irregular=0.2)).regular
