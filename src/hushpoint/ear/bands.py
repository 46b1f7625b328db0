"""The sound's part of a recording: its energy by band over time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FRAMES_PER_S = 260
THUMP_HZ = (5.0, 20.0)
"""Where the thump of the pulse has its energy: 6 to 22 Hz (acoustics 1)."""
BANDS_HZ = ((30.0, 50.0), (50.0, 84.0), (84.0, 150.0), (150.0, 300.0))
"""Where what an ear hears of these sounds lies: 21 to 53 Hz muffled, 27 to 104 Hz clear, to 199 Hz with a murmur
(acoustics 1); training-free readers use 30 to 80 Hz (acoustics 5, R6)."""
BESIDE_HZ = (270.0, 370.0)
"""Talk and clatter reach up here; next to nothing of these sounds does (95 % lie below 200 Hz; acoustics 6, row 1)."""
SHAPE_HZ = (30.0, 150.0)
EDGE = 0.22
"""Soft edge of a band as a share of its edge frequency."""
BLUR_S = 0.03
"""A clear sound lasts 25 to 35 ms (acoustics 1, 5-95 % energy)."""
MAINS_HZ = (50.0, 60.0)
HUM_HALF_HZ = 1.0
HUM_TIMES = 20.0
"""A line this many times as strong as what lies beside it is hum: beats alone give no more than 3 (design choice)."""
LOWEST_RATE_HZ = 1000


@dataclass(frozen=True)
class Bands:
    """Energy over time: `time_s` (n,), `thump` (n,), `bands` (4, n), `beside` (n,) above them; full scale 1 squared.
    `wave` (n,): the sound from 30 to 150 Hz as an analytic signal, turned down by `wave_from_hz`."""

    time_s: Floats
    thump: Floats
    bands: Floats
    beside: Floats
    wave: NDArray[np.complex128]
    wave_from_hz: float


def bands_of(samples: Floats, rate_hz: float) -> Bands:
    """Return the energy of each band at about 250 frames a second.

    One Fourier transform; the bins of a band, turned back by themselves, are its analytic signal at a low rate.
    """
    from scipy import fft

    down = max(1, int(rate_hz // LOWEST_RATE_HZ))
    if down > 1:
        from scipy.signal import resample_poly

        samples = resample_poly(samples, 1, down)
        rate_hz = rate_hz / down
    count = fft.next_fast_len(len(samples) + round(0.25 * rate_hz), real=True)
    seconds = count / rate_hz
    frames = fft.next_fast_len(int(np.ceil(seconds * FRAMES_PER_S)))
    spectrum = fft.rfft(samples, count)
    hz = np.arange(len(spectrum)) / seconds
    _take_out_hum(spectrum, hz)
    energy = [_energy(_wave(spectrum, hz, band, frames, count)) for band in (THUMP_HZ, *BANDS_HZ, BESIDE_HZ)]
    wave = _wave(spectrum, hz, SHAPE_HZ, frames, count)
    time = np.arange(frames) * seconds / frames
    keep = time < len(samples) / rate_hz
    thump, *inside, beside = (one[keep] for one in energy)
    return Bands(
        time[keep],
        thump,
        np.array(inside),
        beside,
        wave[keep],
        float(np.ceil(SHAPE_HZ[0] * (1 - EDGE) * seconds) / seconds),
    )


def _take_out_hum(spectrum: NDArray[np.complex128], hz: Floats) -> None:
    """Set mains hum and its harmonics to nothing where a line stands far above its surroundings."""
    for line in (mains * times for mains in MAINS_HZ for times in range(1, 6)):
        first, last, below, above = np.searchsorted(hz, (line - HUM_HALF_HZ, line + HUM_HALF_HZ, line - 5, line - 1))
        if last > first and above > below:
            power, beside = np.abs(spectrum[first:last]) ** 2, np.abs(spectrum[below:above]) ** 2
            if power.mean() > HUM_TIMES * beside.mean():
                spectrum[first:last] = 0


def _wave(
    spectrum: NDArray[np.complex128], hz: Floats, band: tuple[float, float], frames: int, count: int
) -> NDArray[np.complex128]:
    from scipy import fft

    low, high = band
    first, last = np.searchsorted(hz, (low * (1 - EDGE), high * (1 + EDGE)))
    part = hz[first:last]
    rise = np.clip((part / low - (1 - EDGE)) / (2 * EDGE), 0, 1)
    fall = np.clip(((1 + EDGE) - part / high) / (2 * EDGE), 0, 1)
    shape = (np.sin(np.pi / 2 * rise) * np.sin(np.pi / 2 * fall)) ** 2
    narrow = np.zeros(frames, dtype=complex)
    narrow[: last - first] = spectrum[first:last] * shape
    wave: NDArray[np.complex128] = fft.ifft(narrow) * (2 * frames / count)
    return wave


def _energy(wave: NDArray[np.complex128]) -> Floats:
    from scipy.ndimage import convolve1d

    power = wave.real**2 + wave.imag**2
    half = max(1, round(BLUR_S * FRAMES_PER_S / 2))
    window = np.hanning(2 * half + 3)[1:-1]
    blurred: Floats = convolve1d(power, window / window.sum(), mode="nearest")
    return blurred
