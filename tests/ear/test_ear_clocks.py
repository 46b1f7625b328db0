"""Sound and pressure started apart, and drifting clocks: found from the pulse in both, told, and put right."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from ear.second_maker import make
from hushpoint.ear import listen
from hushpoint.measure import Heard


@pytest.mark.parametrize("seed", [701, 702, 703])
@pytest.mark.parametrize(("late_s", "drift"), [(1.3, 0.0), (-2.1, 0.0), (0.7, 0.02)])
def test_a_shifted_clock_is_found_and_put_right(seed: int, late_s: float, drift: float) -> None:
    """The note names the shift within 0.2 s; both ends stay within 1 mmHg of the truth."""
    made = make(seed, irregular=0.05)
    found = listen(made.sound, made.rate_hz, (made.time_s - late_s) / (1 + drift), made.pressure_mmhg)
    (note,) = (one for one in found.notes if "clock" in one)
    if not drift:
        assert abs(float(note.split()[3]) - late_s) < 0.1
    assert ("drifting" in note) == bool(drift)
    for end in ("systolic", "diastolic"):
        one = getattr(found, end)
        assert isinstance(one, Heard)
        assert abs(one.mmhg - getattr(made, f"{end}_mmhg")) < 1


@pytest.mark.parametrize("seed", range(710, 716))
def test_clocks_that_agree_are_left_alone(seed: int) -> None:
    """No note where nothing is wrong."""
    made = make(seed)
    assert listen(made.sound, made.rate_hz, made.time_s, made.pressure_mmhg).notes == ()


@pytest.mark.shared_data
@pytest.mark.parametrize("name", ["pcg1", "pcg3", "pcg5"])
def test_pulse_from_real_heart_sounds(shared_data: Path, name: str) -> None:
    """Within 2 a minute of the marked R peaks (60 over their mean interval; the set's README)."""
    folder = shared_data / "heart-sounds-with-beat-marks/open"
    sound, rate = soundfile.read(folder / f"{name}.wav")
    rows = [line.split(",") for line in (folder / f"{name}_marks.csv").read_text().splitlines()[1:]]
    peaks = [float(at) for at, mark in rows if mark.strip() == "R_peak"]
    seconds = len(sound) / rate
    time = np.arange(0, seconds, 0.05)
    pressure = np.interp(time, [0, 0.5, 0.8, seconds], [0, 170, 170, 170 - 3 * (seconds - 0.8)])
    found = listen(sound, rate, time, pressure)
    assert found.pulse_per_min is not None
    assert abs(found.pulse_per_min - 60 / float(np.mean(np.diff(peaks)))) <= 2
