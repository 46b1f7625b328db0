"""The sounds of each phase, made from the recipe (facts 1: DERIVED, levels FROM MEMORY), and the thump outside them.

s = sum of w (1 - e^(-t/r)) e^(-t/tau) sin 2 pi f t, high-passed at 8 Hz, scaled to its energy re phase III.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm.person import Person

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ring:
    """A damped ringing: partials as (frequency [Hz], weight, decay [ms]) and its rise time [ms]."""

    partials: tuple[tuple[float, float, float], ...]
    rise_ms: float


TAP = Ring(((45, 1, 20), (75, 0.8, 14), (120, 0.35, 8)), 3)
RECIPE = {
    "I": TAP,
    "II": TAP,
    "III": Ring(((50, 1, 16), (90, 1, 12), (150, 0.6, 8), (220, 0.3, 6)), 3),
    "IV": Ring(((32, 1, 30), (48, 0.6, 22), (70, 0.15, 14)), 6),
    "thump": Ring(((10, 1, 40), (18, 0.5, 25)), 12),
}
SECONDS = 0.25
HISS_HZ = (70.0, 255.0)
HISS_STEP_HZ = 10.0
"""Partials from 70 to 250 Hz."""
HISS_S = 0.09
HISS_DB = -3.0
"""Swish of phase II re its tap."""
HIGH_PASS_HZ = 8.0
VARIANTS = {"I": 1, "II": 4, "III": 1, "IV": 1, "thump": 1}
"""Phase II carries noise, so a few takes of it keep it from sounding like a loop."""


def phase_sounds(
    person: Person, rng: np.random.Generator, rate_hz: int = 8000, *, pitch: float = 1.0
) -> dict[str, list[Floats]]:
    """Return sound samples by phase (I, II, III, IV, thump), each of energy 1 (sum of squares over rate).

    `person.tone` scales the frequencies (stiff arteries and children ring higher; envelopes kept); `pitch` scales them
    once more, for a speaker that gives no low sounds. Level by place in the range is the table's gain, not the
    sample's. The same generator state gives the same bytes.
    """
    time = np.arange(round(SECONDS * rate_hz)) / rate_hz
    sounds: dict[str, list[Floats]] = {}
    for phase, ring in RECIPE.items():
        tone = 1.0 if phase == "thump" else person.tone * pitch
        takes = []
        for _ in range(VARIANTS[phase]):
            sound = _high_passed(_ringing(ring, time, tone), rate_hz)
            if phase == "II":
                sound = sound + _hiss(sound, time, rng, rate_hz, tone)
            takes.append(sound / math.sqrt(energy(sound, rate_hz)))
        sounds[phase] = takes
    return sounds


def energy(sound: Floats, rate_hz: int) -> float:
    """Return the energy of a sound: sum of squares over rate."""
    return float(np.sum(sound**2)) / rate_hz


def _ringing(ring: Ring, time: Floats, tone: float) -> Floats:
    rise = 1 - np.exp(-time / (ring.rise_ms / 1000))
    total = np.zeros_like(time)
    for hz, weight, decay_ms in ring.partials:
        total += weight * rise * np.exp(-time / (decay_ms / 1000)) * np.sin(2 * np.pi * hz * tone * time)
    return total


def _hiss(tap: Floats, time: Floats, rng: np.random.Generator, rate_hz: int, tone: float) -> Floats:
    """Return band noise under a window of 90 ms: even partials of random phase, so that every take has the band's
    own spectrum."""
    hz = np.arange(*HISS_HZ, HISS_STEP_HZ) * tone
    partials = np.sin(2 * np.pi * np.outer(hz, time) + rng.uniform(0, 2 * np.pi, (len(hz), 1)))
    hiss: Floats = partials.sum(axis=0) * np.sin(np.pi * np.clip(time / HISS_S, 0, 1))
    wanted = energy(tap, rate_hz) * 10 ** (HISS_DB / 10)
    return hiss * math.sqrt(wanted / energy(hiss, rate_hz))


def _high_passed(sound: Floats, rate_hz: int) -> Floats:
    """Return the sound after a second-order Butterworth high-pass at 8 Hz (s = i f / f0)."""
    padded = 4 * len(sound)
    s = 1j * np.fft.rfftfreq(padded, 1 / rate_hz) / HIGH_PASS_HZ
    passed: Floats = np.fft.irfft(np.fft.rfft(sound, padded) * s**2 / (s**2 + math.sqrt(2) * s + 1), padded)
    return passed[: len(sound)]
