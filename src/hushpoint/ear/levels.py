"""Each beat's level over what silence would give at that moment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hushpoint.ear.bands import FRAMES_PER_S, Bands

Floats = NDArray[np.float64]

REACH_S = 0.09
"""A sound is looked for this far on either side of where the beat's sounds lie."""
NEIGHBOUR_S = 4.0
"""Noise is judged from the pauses between beats this far on either side."""
FLOOR_DB = 38.0
"""What lies this far below the loudest sounds is taken for silence: 28 dB part the loudest from the faintest arm, and
the first and last sounds lie 20 to 25 dB below (acoustics 1)."""
LEAK_DB = 3.0
"""Margin over what the thump puts into each band."""
MOST_LEAK_DB = np.array([-10.0, -15.0, -20.0, -26.0])
"""A thump puts no more than this of its energy into each band (less than 2 % above 40 Hz; acoustics 6, row 7)."""


@dataclass(frozen=True)
class Levels:
    """Per beat (n,): `at_s` where its sound falls or would fall, `excess_db` over silence, `loudest_db` the excess the
    loudest sounds would have there, `energy_db` in the loudest band. `spread_db`: SD of silence about 0.
    """

    at_s: Floats
    excess_db: Floats
    loudest_db: Floats
    energy_db: Floats
    spread_db: float


def levels_of(bands: Bands, beat_s: Floats) -> Levels:
    """Return the level of each beat over silence.

    Silence is, band by band, the noise of the pauses near by, or what the beat's own thump leaks into the band where
    that is more, or 38 dB below the loudest sounds.
    """
    from scipy.ndimage import maximum_filter1d

    window = 2 * round(REACH_S * FRAMES_PER_S) + 1
    tops = np.stack([maximum_filter1d(one, window) for one in bands.bands])
    thump = maximum_filter1d(bands.thump, 2 * window)
    frame = np.clip(np.searchsorted(bands.time_s, beat_s), 0, len(bands.time_s) - 1)
    rest = np.diff(beat_s, append=beat_s[-1] + np.median(np.diff(beat_s)))
    pause = np.clip(np.searchsorted(bands.time_s, beat_s + 0.62 * rest), 0, len(bands.time_s) - 1)
    at_beat, at_pause = tops[:, frame], tops[:, pause]
    noise = _noise(10 * np.log10(at_pause + 1e-14), beat_s)
    thump_db = 10 * np.log10(thump[frame] + 1e-14)
    beat_db = 10 * np.log10(at_beat + 1e-14)
    over_thump = 10 * np.log10(np.maximum(at_beat - 2 * 10 ** (noise / 10), 1e-14)) - thump_db
    ends = np.minimum(np.median(over_thump[:, :5], axis=1), np.median(over_thump[:, -5:], axis=1))
    leak = thump_db + np.minimum(ends + LEAK_DB, MOST_LEAK_DB)[:, None]
    loudest = np.percentile(beat_db, 92, axis=1)[:, None]
    silence = 10 * np.log10(10 ** (noise / 10) + 10 ** (leak / 10) + 10 ** ((loudest.max() - FLOOR_DB) / 10))
    spread = float(np.percentile((10 * np.log10(at_pause + 1e-14) - silence).max(axis=0), 84))
    excess = beat_db - silence
    strong = loudest - silence
    useful = np.median(strong, axis=1) > 4
    if not useful.any():
        useful[int(np.argmax(np.median(strong, axis=1)))] = True
    excess, strong = excess[useful], strong[useful]
    best = np.argmax(excess, axis=0)
    strip = np.arange(len(beat_s))
    bias = {1: 0.0, 2: 1.0, 3: 1.5, 4: 2.0}[int(useful.sum())]
    return Levels(
        at_s=beat_s,
        excess_db=excess[best, strip] - bias,
        loudest_db=strong.max(axis=0) - bias,
        energy_db=beat_db.max(axis=0),
        spread_db=float(np.clip(spread, 1.5, 5.0)),
    )


def _noise(pause_db: Floats, beat_s: Floats) -> Floats:
    """Return the noise [dB] (bands, n) about each beat: the median of the pauses near by."""
    near = np.abs(beat_s[:, None] - beat_s[None, :]) <= NEIGHBOUR_S
    noise: Floats = np.stack([np.median(pause_db[:, one], axis=1) for one in near], axis=1)
    return noise


def settle(bands: Bands, beat_s: Floats) -> Floats:
    """Return the beat times moved to where the sounds lie: the median lag of the strong ones near by."""
    sound = bands.bands[:3].sum(axis=0)
    typical = float(np.median(np.diff(beat_s)))
    reach = np.arange(-round(0.15 * FRAMES_PER_S), round(min(0.25, 0.35 * typical) * FRAMES_PER_S) + 1)
    frame = np.searchsorted(bands.time_s, beat_s)
    part = sound[np.clip(frame[:, None] + reach[None, :], 0, len(sound) - 1)]
    lag = reach[np.argmax(part, axis=1)] / FRAMES_PER_S
    height = part.max(axis=1)
    strong = height >= np.percentile(height, 60)
    if strong.sum() < 4:
        return beat_s
    near = np.abs(beat_s[:, None] - beat_s[None, strong])
    order = np.argsort(near, axis=1)[:, :5]
    usual = np.median(lag[strong][order], axis=1)
    own = np.abs(lag - usual) < 0.06
    moved: Floats = beat_s + np.where(own, lag, usual)
    return moved
