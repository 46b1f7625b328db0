"""A third maker of recordings, of another recipe than the practice arm and the second maker.

A tap is a burst of filtered noise or a ringing of random partials, drawn anew for every recording; its loudness follows
a random broken line; the cuff's pulse has another shape and a sensor's noise on it; all is heard through a
stethoscope's low-pass and a hiss. Everything is invented; the truth is written down while it is made.
"""

from __future__ import annotations

import itertools

import numpy as np

from ear.second_maker import Floats, Made


def make_third(
    seed: int,
    *,
    systolic_mmhg: float,
    diastolic_mmhg: float,
    pulse_per_min: float,
    release_mmhg_per_s: float,
    irregular: float = 0.04,
    gap_mmhg: tuple[float, float] | None = None,
    faint_db: float = 0.0,
    thump: float = 0.4,
    sensor_mmhg: float = 0.05,
    rate_hz: int = 4000,
) -> Made:
    """Return one invented recording. `thump`: its peak over that of the loudest tap. `faint_db`: softer by this."""
    rng = np.random.default_rng([seed, 1905])
    top, floor = systolic_mmhg + rng.uniform(15, 35), diastolic_mmhg - rng.uniform(12, 25)
    pumped = rng.uniform(3, 6)
    long = (top - floor) / release_mmhg_per_s
    time = np.arange(0, pumped + 1 + long + 3, 0.01)
    slow = release_mmhg_per_s * (1 + 0.2 * np.sin(2 * np.pi * time / rng.uniform(8, 20) + rng.uniform(0, 6)))
    fall = np.cumsum(np.where(time > pumped + 1, slow, 0.0)) * 0.01
    line = np.where(time < pumped, top * time / pumped, np.maximum(top - fall, 0.0))
    ended = time > pumped + 1 + long
    line[ended] = np.maximum(line[ended][0] - 25 * (time[ended] - time[ended][0]), 0)

    steps = 60 / pulse_per_min * (1 + irregular * rng.standard_normal(400))
    feet = np.cumsum(np.maximum(steps, 0.3)) + rng.uniform(0, 0.5)
    feet = feet[feet < time[-1] - 1.0]
    sound = np.zeros(int(time[-1] * rate_hz))
    clear, dull = _tap(rng, rate_hz, dull=False), _tap(rng, rate_hz, dull=True)
    murmur = rng.uniform(0, 0.5)
    spots = np.sort(rng.uniform(0.1, 0.95, 4))
    curve_at = np.array([0, *spots, 1.0])
    curve_db = np.array([-rng.uniform(8, 20), *(-rng.uniform(0, 9, 4)), -rng.uniform(8, 18)])
    dull_below = rng.uniform(0.06, 0.25)
    wander = rng.normal(0, 0.006, len(feet)).cumsum() * 0.1
    bounce = np.zeros(len(time))
    heard: list[tuple[float, float, bool]] = []
    peak_db = -faint_db
    for number, foot in enumerate(feet):
        sway = 2 * np.sin(2 * np.pi * foot / rng.uniform(3.5, 4.5)) + rng.normal(0, 0.8)
        high, low = systolic_mmhg + sway, diastolic_mmhg + 0.5 * sway
        cuff = float(np.interp(foot, time, line))
        if cuff < 20:
            continue
        place = (cuff - low) / (high - low)
        size = 2.2 / (1 + ((place - 0.35) / 0.55) ** 2) + 0.1
        since = time - foot
        bounce += size * np.maximum(since, 0) / 0.09 * np.exp(1 - np.maximum(since, 0) / 0.09)
        at = foot + 0.05 + 0.07 * np.clip(place, 0, 1) + wander[number]
        cuff = float(np.interp(at, time, line))
        place = (cuff - low) / (high - low)
        _put(sound, rate_hz, foot + 0.02, thump * np.sqrt(size / 2.3) * _thump(rate_hz))
        yes = 0 <= place <= 1
        if gap_mmhg is not None and gap_mmhg[0] <= cuff <= gap_mmhg[1]:
            yes = False
        if yes:
            level = np.interp(1 - place, curve_at, curve_db) + rng.normal(0, 1.2) + 1.2 * sway / 2
            piece = (dull if place < dull_below else clear) * 10 ** ((level + peak_db) / 20)
            if 0.5 < place < 0.85 and murmur > 0.15:
                piece = piece + murmur * 10 ** ((level + peak_db) / 20) * _noise(rng, rate_hz, len(piece), 60, 220)
            _put(sound, rate_hz, at, piece)
        heard.append((at, cuff, yes))
    sound = _low_passed(sound, rate_hz) * 0.2
    sound += 0.0003 * rng.standard_normal(len(sound))
    began = pumped + 1.0
    heard = [one for one in heard if one[0] > began and one[1] > floor]
    taps = [(at, cuff) for at, cuff, yes in heard if yes]
    pairs = [now[1] for now, after in itertools.pairwise(heard) if now[2] and after[2]]
    pressure = line + bounce + sensor_mmhg * rng.standard_normal(len(time))
    return Made(
        sound=sound,
        rate_hz=rate_hz,
        time_s=time[::2],
        pressure_mmhg=np.round(pressure[::2], 2),
        systolic_mmhg=pairs[0] if pairs else None,
        diastolic_mmhg=taps[-1][1] if pairs else None,
        taps=taps,
    )


def _tap(rng: np.random.Generator, rate: int, *, dull: bool) -> Floats:
    count = round(0.16 * rate)
    time = np.arange(count) / rate
    rise, decay = (0.012, 0.028) if dull else (0.005, rng.uniform(0.012, 0.022))
    window = (1 - np.exp(-time / rise)) * np.exp(-time / decay)
    if rng.random() < 0.5:
        low, high = (22, 55) if dull else (35, rng.uniform(90, 160))
        wave = _noise(rng, rate, count, low, high)
    else:
        hz = rng.uniform(26, 50, 2) if dull else rng.uniform(38, 120, 4)
        wave = sum(np.sin(2 * np.pi * one * time + rng.uniform(0, 2)) for one in hz)
    piece: Floats = window * wave
    return piece / np.abs(piece).max()


def _noise(rng: np.random.Generator, rate: int, count: int, low: float, high: float) -> Floats:
    spectrum = np.fft.rfft(rng.standard_normal(count * 2))
    hz = np.fft.rfftfreq(count * 2, 1 / rate)
    spectrum *= 1 / (1 + (low / np.maximum(hz, 1)) ** 6) / (1 + (hz / high) ** 6)
    wave: Floats = np.fft.irfft(spectrum)[:count]
    return wave / np.abs(wave).max()


def _thump(rate: int) -> Floats:
    time = np.arange(round(0.3 * rate)) / rate
    piece: Floats = np.sin(2 * np.pi * 9 * time) * np.exp(-(((time - 0.1) / 0.06) ** 2))
    return piece / np.abs(piece).max()


def _low_passed(sound: Floats, rate: int) -> Floats:
    spectrum = np.fft.rfft(sound)
    hz = np.fft.rfftfreq(len(sound), 1 / rate)
    return np.fft.irfft(spectrum / np.sqrt(1 + (hz / 180) ** 2), len(sound))


def _put(sound: Floats, rate: int, at_s: float, piece: Floats) -> None:
    start = round(at_s * rate)
    end = min(len(sound), start + len(piece))
    if 0 <= start < end:
        sound[start:end] += piece[: end - start]
