"""A second maker of recordings, sharing no code and no recipe with the practice arm, and real rooms to mix under both.

A tap is a Gaussian-windowed chirp, its loudness over the range a skewed bump, a thump one period of a
Hann-windowed sine; the release is a broken line; beats come from a random walk. Everything is invented; the truth is
written down while it is made.
"""

from __future__ import annotations

import gzip
import itertools
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
IN_BAND_HZ = (25.0, 400.0)
BURST_S = 0.1


@dataclass
class Made:
    """One recording with its truth: sound (n,) at `rate_hz`, pressure (m,) over `time_s`, ends [mmHg] or None."""

    sound: Floats
    rate_hz: int
    time_s: Floats
    pressure_mmhg: Floats
    systolic_mmhg: float | None
    diastolic_mmhg: float | None
    taps: list[tuple[float, float]]
    """When each audible tap falls [s] and the cuff's line then [mmHg]."""
    kind: str = "plain"
    background: str | None = None
    snr_db: float | None = None
    more: dict[str, float] = field(default_factory=dict)


def make(
    seed: int,
    *,
    systolic_mmhg: float = 128.0,
    diastolic_mmhg: float = 80.0,
    pulse_per_min: float = 70.0,
    release_mmhg_per_s: float = 2.5,
    peak_above_mmhg: float = 25.0,
    stop_below_mmhg: float = 15.0,
    irregular: float = 0.03,
    gap_mmhg: tuple[float, float] | None = None,
    muffled_mmhg: float = 6.0,
    faint: float = 1.0,
    thump: float = 0.3,
    rate_hz: int = 4000,
    beats_s: Floats | None = None,
    steps_mmhg: float = 0.0,
    uneven: float = 0.25,
) -> Made:
    """Return one invented recording. `thump`: peak of the thump over the peak of the loudest tap.

    `irregular`: coefficient of variation of the beat interval. `beats_s`: feet of the beats, from outside.
    """
    rng = np.random.default_rng([seed, 4711])
    peak = systolic_mmhg + peak_above_mmhg
    floor = diastolic_mmhg - stop_below_mmhg
    time, line = _release(rng, peak, floor, release_mmhg_per_s, uneven)
    if beats_s is None:
        beats_s = _beats(rng, pulse_per_min, irregular, time[-1])
    breathing = rng.uniform(0, 2 * np.pi)
    sound = np.zeros(int(time[-1] * rate_hz))
    bounce = np.zeros(len(time))
    heard: list[tuple[float, float, bool]] = []
    tune = rng.uniform(0.85, 1.2)
    for foot in beats_s[beats_s < time[-1] - 0.8]:
        swing = 1.5 * np.sin(2 * np.pi * 0.23 * foot + breathing)
        high, low = systolic_mmhg + swing, diastolic_mmhg + 0.4 * swing
        cuff = float(np.interp(foot, time, line))
        if cuff < 15:
            continue
        height = float(np.clip((cuff - low) / (high - low), 0, 1))
        at = foot + 0.03 + 0.11 * height**1.5
        cuff = float(np.interp(at, time, line))
        place = (cuff - low) / (high - low)
        felt = np.exp(-(((cuff - 0.7 * low - 0.3 * high) / (0.55 * (high - low))) ** 2)) + 0.15 * (cuff > high)
        bounce += felt * 1.8 * _pulse(time - foot)
        kick = thump * np.sqrt(felt) * rng.uniform(0.85, 1.1)
        _add(sound, rate_hz, at - 0.02, kick * _thump(rate_hz, 13 * tune))
        if not 0 <= place <= 1:
            heard.append((at, cuff, False))
            continue
        muffled = cuff - low < muffled_mmhg
        silent = gap_mmhg is not None and gap_mmhg[0] <= cuff <= gap_mmhg[1]
        loud = min(1.0, 0.22 + 6.0 * (1 - place)) * rng.uniform(0.8, 1.1)
        loud *= 0.75 + 0.25 * np.sin(2 * np.pi * 0.23 * foot + breathing)
        if muffled:
            loud *= 0.25
        if silent:
            loud = 0.0
        hz, width = (38 * tune, 0.022) if muffled else ((70 - 10 * place) * tune, 0.011)
        _add(sound, rate_hz, at, loud * faint * _tap(rate_hz, hz, width, rng))
        heard.append((at, cuff, loud > 0))
    sound += 0.0005 * rng.standard_normal(len(sound))
    scale = 0.25
    top = float(time[np.flatnonzero(line >= line.max() - 0.5)[-1]])
    heard = [one for one in heard if one[0] > top and one[1] > floor - 2]
    taps = [(at, cuff) for at, cuff, yes in heard if yes]
    pairs = [now[1] for now, after in itertools.pairwise(heard) if now[2] and after[2]]
    return Made(
        sound=sound * scale,
        rate_hz=rate_hz,
        time_s=time,
        pressure_mmhg=_coarse(line + bounce, steps_mmhg),
        systolic_mmhg=pairs[0] if pairs and peak_above_mmhg > 0 else None,
        diastolic_mmhg=taps[-1][1] if pairs and stop_below_mmhg > 0 else None,
        taps=taps,
        more={"pulse_per_min": 60 / float(np.mean(np.diff(beats_s)))},
    )


def _release(rng: np.random.Generator, peak: float, floor: float, rate: float, uneven: float) -> tuple[Floats, Floats]:
    time, line = [0.0, 0.6], [0.0, 0.0]
    while line[-1] < peak:
        time.append(time[-1] + 0.25)
        line.append(min(peak, line[-1] + rng.uniform(8, 20)))
    time.append(time[-1] + 1.5)
    line.append(peak)
    while line[-1] > floor:
        step = rng.uniform(1, 4)
        time.append(time[-1] + step)
        line.append(line[-1] - step * rate * rng.uniform(1 - uneven, 1 + uneven))
    while line[-1] > 1:
        time.append(time[-1] + 0.5)
        line.append(max(0.0, line[-1] * 0.45 - 1))
    time.append(time[-1] + 1.0)
    line.append(0.0)
    even = np.arange(0, time[-1], 0.02)
    smooth = np.hanning(15) / np.hanning(15).sum()
    return even, np.convolve(np.pad(np.interp(even, time, line), 7, mode="edge"), smooth, mode="valid")


def _beats(rng: np.random.Generator, per_min: float, irregular: float, until_s: float) -> Floats:
    mean = 60 / per_min
    steps = mean * np.exp(irregular * rng.standard_normal(int(until_s / mean * 2) + 10))
    return np.cumsum(np.maximum(steps, 0.28))


def _pulse(time: Floats) -> Floats:
    rise = np.clip(time / 0.14, 0, 1)
    fall = np.exp(-np.clip(time - 0.14, 0, None) / 0.18)
    return np.where(time > 0, np.sin(np.pi * rise / 2) ** 2 * fall, 0.0)


def _tap(rate: int, hz: float, width_s: float, rng: np.random.Generator) -> Floats:
    time = np.arange(-3 * width_s, 5 * width_s, 1 / rate)
    lean = np.where(time < 0, width_s * 0.6, width_s * 1.4)
    chirp = np.sin(2 * np.pi * (hz * 1.15 * time - 2.0 * hz * time**2) + rng.uniform(-0.3, 0.3))
    return np.exp(-((time / lean) ** 2)) * chirp


def _thump(rate: int, hz: float) -> Floats:
    time = np.arange(0, 2.0 / hz, 1 / rate)
    return -(np.sin(np.pi * time * hz / 2) ** 2) * np.sin(2 * np.pi * hz * time)


def _add(sound: Floats, rate: int, at_s: float, piece: Floats) -> None:
    start = round(at_s * rate)
    if start < 0:
        return
    end = min(len(sound), start + len(piece))
    if end > start:
        sound[start:end] += piece[: end - start]


def _coarse(pressure: Floats, step: float) -> Floats:
    return np.round(pressure / step) * step if step else np.round(pressure, 2)


def in_band(sound: Floats, rate_hz: int) -> Floats:
    """Return the sound from 25 to 400 Hz (by Fourier transform)."""
    spectrum = np.fft.rfft(sound)
    hz = np.fft.rfftfreq(len(sound), 1 / rate_hz)
    spectrum[(hz < IN_BAND_HZ[0]) | (hz > IN_BAND_HZ[1])] = 0
    return np.fft.irfft(spectrum, len(sound))


def with_noise(made: Made, noise: Floats, noise_rate_hz: int, snr_db: float, seed: int) -> Made:
    """Return the recording with a real background under it.

    In-band power of the 100 ms after each tap of the middle half of the range, over the in-band power of the noise.
    """
    rng = np.random.default_rng([seed, 7])
    seconds = len(made.sound) / made.rate_hz
    have = len(noise) / noise_rate_hz
    at = (np.arange(len(made.sound)) / made.rate_hz + rng.uniform(0, have)) % have
    under = np.interp(at, np.arange(len(noise)) / noise_rate_hz, noise)
    under -= under.mean()
    clean = in_band(made.sound, made.rate_hz)
    low, high = min(tap[1] for tap in made.taps), max(tap[1] for tap in made.taps)
    middle = [tap[0] for tap in made.taps if low + 0.25 * (high - low) <= tap[1] <= high - 0.25 * (high - low)]
    middle = middle or [tap[0] for tap in made.taps]  # a gap may take the whole middle
    burst = round(BURST_S * made.rate_hz)
    starts = [round((one - 0.01) * made.rate_hz) for one in middle]
    power = np.mean([np.mean(clean[start : start + burst] ** 2) for start in starts])
    noise_power = np.mean(in_band(under, made.rate_hz) ** 2)
    under *= np.sqrt(power / noise_power / 10 ** (snr_db / 10))
    assert seconds > 0
    return Made(**{**made.__dict__, "sound": made.sound + under, "snr_db": snr_db})


def backgrounds(shared_data: Path) -> dict[str, tuple[Floats, int]]:
    """Return the real backgrounds by name: speech, clatter and twelve chests, as samples and rate [Hz]."""
    import soundfile

    found = {}
    for name, path in (
        ("clatter", "interference-audio/room_dishes_noise.wav"),
        ("speech", "interference-audio/speech_aew_a0001.wav"),
    ):
        found[name] = soundfile.read(shared_data / path, dtype="float64")
    for path in sorted((shared_data / "heart-sounds-circor/open").glob("*.wav")):
        found[f"chest {path.stem}"] = soundfile.read(path, dtype="float64")
    return found


def arterial_feet(path: Path) -> Floats:
    """Return when each beat of a real arterial trace begins [s]: the steepest rise before each peak."""
    with gzip.open(path, "rt") as file:
        rows = np.genfromtxt(file, delimiter=",", skip_header=1)
    time, pressure = rows[:, 0], rows[:, 1]
    good = np.isfinite(pressure)
    pressure = np.interp(time, time[good], pressure[good])
    slope = np.gradient(pressure, time)
    feet, last = [], -1.0
    high = 0.4 * np.percentile(slope, 99)
    for place in range(1, len(slope) - 1):
        top = slope[place] >= slope[place - 1] and slope[place] > slope[place + 1]
        if top and slope[place] > high and time[place] - last > 0.35:
            feet.append(time[place])
            last = time[place]
    return np.array(feet) - time[0]
