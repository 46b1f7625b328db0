"""How long listening takes: printed, never asserted. `make speed` shows it."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from ear.second_maker import make
from hushpoint.ear import listen
from timing import median_s

pytestmark = pytest.mark.speed


def test_sixty_seconds_at_8_khz_beside_two_general_libraries() -> None:
    """The whole reading beside a band-pass alone: zero-phase Butterworth of scipy.signal, FFT filter of numpy."""
    from scipy.signal import butter, sosfiltfilt

    made = make(1, rate_hz=8000, systolic_mmhg=150, diastolic_mmhg=70, release_mmhg_per_s=2.2)
    sound, rate = made.sound[: 60 * 8000], 8000
    band = butter(4, (28, 300), "bandpass", fs=rate, output="sos")

    def by_transform() -> object:
        spectrum = np.fft.rfft(sound)
        hz = np.fft.rfftfreq(len(sound), 1 / rate)
        return np.fft.irfft(spectrum * ((hz > 28) & (hz < 300)), len(sound))

    ours = median_s(lambda: listen(sound, rate, made.time_s, made.pressure_mmhg))
    scipy_s, numpy_s = median_s(lambda: sosfiltfilt(band, sound)), median_s(by_transform)
    print(f"{len(sound) / rate:.0f} s at 8 kHz: whole reading {ours * 1000:.0f} ms")
    for name, peer in (("scipy.signal", scipy_s), ("numpy.fft", numpy_s)):
        print(f"band-pass alone by {name} {peer * 1000:.0f} ms, ratio {ours / peer:.1f}")


def test_time_and_memory_against_length() -> None:
    """Releases of 30 to 480 s: milliseconds a second must stay level."""
    for rate in (4.0, 2.0, 1.0, 0.5, 0.25):
        made = make(2, systolic_mmhg=150, diastolic_mmhg=70, release_mmhg_per_s=rate, rate_hz=4000)
        seconds = len(made.sound) / 4000
        took = median_s(lambda made=made: listen(made.sound, 4000, made.time_s, made.pressure_mmhg), 3)  # type: ignore[misc]
        tracemalloc.start()
        listen(made.sound, 4000, made.time_s, made.pressure_mmhg)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        print(f"{seconds:5.0f} s: {took * 1000:5.0f} ms, {took / seconds * 1000:.2f} ms/s, peak {peak / 1e6:.0f} MB")
