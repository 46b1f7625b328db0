"""Whether sound and cuff pressure were started apart, and whether their clocks drift: told by the pulse in both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hushpoint.ear.bands import Bands
from hushpoint.ear.release import STEP_S, Cuff

Floats = NDArray[np.float64]

FRAME_S = 0.025
FARTHEST_S = 5.0
"""Start times up to this far apart are found."""
USUAL_S = (-0.15, 0.35)
"""A sound or thump comes this long after the cuff's upstroke when the clocks agree (acoustics 1: up to 120 ms after the
foot)."""
MIDDLE_S = 0.06
CLEAR = 1.05
"""The best shift must be this many times as good as any other, no shift among them: beats are alike, and only their
uneven intervals tell one from the next."""
LEAST = 0.6
LEAST_DRIFTING = 0.75
BETTER = 1.15
"""Likeness that a shift needs, and more where many drifts were tried, which must also be this much better than none
(design choice: no false shift in 210 noisy recordings)."""
DRIFTS = tuple(percent / 100 for percent in (-3, -2.5, -2, -1.5, -1, 1, 1.5, 2, 2.5, 3))
"""Drifts looked for where no plain shift fits; less than 1 % is not told from the sound's own delay, which shrinks by
0.1 s as the cuff falls (acoustics 6, row 9)."""


@dataclass(frozen=True)
class Shift:
    """The sound lies `seconds` later than the pressure says, plus `drift` seconds a second after `from_s`."""

    seconds: float
    drift: float
    from_s: float


def shift_of(bands: Bands, cuff: Cuff) -> Shift | None:
    """Return how far the sound's clock is from the cuff's, or None where they agree or it cannot be told."""
    time = np.arange(cuff.from_s, cuff.to_s, FRAME_S)
    pulse = np.clip(np.interp(time, cuff.time_s[1:], np.diff(cuff.pulse_mmhg) / STEP_S), 0, None)
    if float(np.percentile(pulse, 95)) < 0.5:
        return None
    wide = np.arange(cuff.from_s - FARTHEST_S, cuff.to_s + FARTHEST_S - FRAME_S / 2, FRAME_S)
    loud = np.sqrt(np.interp(wide, bands.time_s, bands.thump, left=0, right=0))
    loud = np.minimum(loud, 1.5 * float(np.percentile(loud, 95)))
    plain = _likeness(pulse, loud)
    found = _best(plain)
    if found is not None:
        return None if USUAL_S[0] <= found[1] <= USUAL_S[1] else Shift(found[1] - MIDDLE_S, 0.0, cuff.from_s)
    drifting = []
    for drift in DRIFTS:
        stretched = np.interp(time, cuff.from_s + (time - cuff.from_s) * (1 + drift), pulse)
        found = _best(_likeness(stretched, loud))
        if found is not None and found[0] >= max(LEAST_DRIFTING, BETTER * float(plain.max())):
            drifting.append((*found, drift))
    if not drifting:
        return None
    _, seconds, drift = max(drifting)
    return Shift(seconds - MIDDLE_S, drift, cuff.from_s)


def _best(like: Floats) -> tuple[float, float] | None:
    """Return (likeness, shift [s]) of the best shift where it stands clear of every other."""
    lag = np.arange(len(like)) * FRAME_S - FARTHEST_S
    best = int(np.argmax(like))
    rival = float(like[np.abs(lag - lag[best]) > 0.3].max())
    if like[best] < LEAST or like[best] < CLEAR * rival:
        return None
    return float(like[best]), float(lag[best])


def _likeness(pulse: Floats, loud: Floats) -> Floats:
    """Return the correlation of the pulse with the sound at each shift."""
    short = _blur(pulse) - _blur(pulse).mean()
    long = _blur(loud)
    ones = np.ones(len(short)) / len(short)
    mean = np.correlate(long, ones, "valid")
    spread = np.sqrt(np.maximum(np.correlate(long**2, ones, "valid") - mean**2, 1e-30))
    like: Floats = np.correlate(long, short, "valid") / (len(short) * (short.std() + 1e-12) * spread)
    return like


def _blur(values: Floats) -> Floats:
    window = np.hanning(9)[1:-1]
    return np.convolve(values, window / window.sum(), mode="same")
