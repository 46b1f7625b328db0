"""Each beat's level over what silence would give at that moment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hushpoint.ear.bands import FRAMES_PER_S, Bands

Floats = NDArray[np.float64]

REACH_S = 0.08
"""A sound is looked for this far on either side of where the beat's sounds lie."""
NEIGHBOUR_S = 4.0
"""Noise is judged from the pauses between beats this far on either side."""
FLOOR_DB = 38.0
"""What lies this far below the loudest sounds is taken for silence: 28 dB part the loudest from the faintest arm, and
the first and last sounds lie 20 to 25 dB below (acoustics 1)."""
PAUSES = (0.0, 0.5, 1.0)
AFTER_S = 0.26
BEFORE_S = 0.16
"""Three pauses are heard from 0.26 s after a beat's sound to 0.16 s before the next: past a murmur of 90 ms and clear
of the next sound, each with its reach."""
TINY = 1e-14
USEFUL_DB = 4.0
"""A band in which even the loudest sounds stand out by less tells nothing."""
LEAK_DB = 3.0
"""Margin over what the thump puts into each band."""
MOST_LEAK_DB = np.array([-10.0, -15.0, -20.0, -26.0])
"""A thump puts no more than this of its energy into each band (less than 2 % above 40 Hz; acoustics 6, row 7)."""


@dataclass(frozen=True)
class Levels:
    """Per beat (n,): `at_s` where its sound falls or would fall, `excess_db` over silence, `loudest_db` the excess the
    loudest sounds would have there. `pause_db` (m,): the same excess of windows in the pauses between beats, where no
    sound is: what noise alone does in this recording.
    """

    at_s: Floats
    excess_db: Floats
    loudest_db: Floats
    pause_db: Floats


def levels_of(bands: Bands, beat_s: Floats) -> Levels:
    """Return the level of each beat over silence.

    Silence is, band by band, the noise of the pauses near by, or what the beat's own thump leaks into the band where
    that is more, or 38 dB below the loudest sounds. The level is that of the band that stands out most.
    """
    from scipy.ndimage import maximum_filter1d

    window = 2 * round(REACH_S * FRAMES_PER_S) + 1
    tops_db = 10 * np.log10(np.stack([maximum_filter1d(one, window) for one in bands.bands]) + TINY)
    thump_db = 10 * np.log10(maximum_filter1d(bands.thump, 2 * window) + TINY)

    def frames(at_s: Floats) -> NDArray[np.int64]:
        return np.clip(np.searchsorted(bands.time_s, at_s), 0, len(bands.time_s) - 1)

    at_beat = frames(beat_s)
    at_pauses = np.stack([frames(at_s) for at_s in _pauses(beat_s)])
    beat_db, pause_db = tops_db[:, at_beat], tops_db[:, at_pauses]
    noise = _noise(pause_db, beat_s)
    over_thump = 10 * np.log10(np.maximum(10 ** (beat_db / 10) - 2 * 10 ** (noise / 10), TINY)) - thump_db[at_beat]
    ends = np.minimum(np.median(over_thump[:, :5], axis=1), np.median(over_thump[:, -5:], axis=1))
    leak = thump_db[at_beat] + np.minimum(ends + LEAK_DB, MOST_LEAK_DB)[:, None]
    loudest = np.percentile(beat_db, 92, axis=1)[:, None]
    floor = 10 ** ((loudest.max() - FLOOR_DB) / 10)
    still = 10 * np.log10(10 ** (noise / 10) + floor)
    silence = 10 * np.log10(10 ** (noise / 10) + 10 ** (leak / 10) + floor)
    strong = loudest - silence
    useful = np.median(strong, axis=1) > USEFUL_DB
    if not useful.any():
        useful[int(np.argmax(np.median(strong, axis=1)))] = True
    return Levels(
        at_s=beat_s,
        excess_db=(beat_db - silence)[useful].max(axis=0),
        loudest_db=strong[useful].max(axis=0),
        pause_db=(pause_db - still[:, None, :])[useful].max(axis=0).ravel(),
    )


def _pauses(beat_s: Floats) -> list[Floats]:
    """Return where three pauses after each beat lie [s]; between beats too close for that, halfway."""
    rest = np.diff(beat_s)
    rest = np.append(rest, np.median(rest))
    first, last = np.minimum(AFTER_S, 0.5 * rest), np.maximum(rest - BEFORE_S, 0.5 * rest)
    return [beat_s + first + part * np.maximum(last - first, 0) for part in PAUSES]


def _noise(pause_db: Floats, beat_s: Floats) -> Floats:
    """Return the noise [dB] (bands, n) about each beat: the median of the pauses near by."""
    near = np.abs(beat_s[:, None] - beat_s[None, :]) <= NEIGHBOUR_S
    noise: Floats = np.stack([np.median(pause_db[:, :, one], axis=(1, 2)) for one in near], axis=1)
    return noise


@dataclass(frozen=True)
class Likeness:
    """How like a neighbour each beat's sound is (n,), 0 to 1, and the same of the pauses (m,): what chance does."""

    beats: Floats
    pauses: Floats


def likeness_of(bands: Bands, beat_s: Floats) -> Likeness:
    """Return each beat's best normalised correlation with either neighbour, over windows of 180 ms moved by 40 ms.

    True sounds change slowly from beat to beat; talk, knocks and rub do not come twice alike (Centracchio 2023 uses
    neighbour correlation; normalised figures: acoustics 5).
    """
    pauses = [_neighbours(bands, at_s) for at_s in _pauses(beat_s)]
    return Likeness(_neighbours(bands, beat_s), np.concatenate(pauses))


def _neighbours(bands: Bands, at_s: Floats) -> Floats:
    half, slack = round(0.09 * FRAMES_PER_S), round(0.04 * FRAMES_PER_S)
    centre = np.searchsorted(bands.time_s, at_s)
    reach = np.arange(-half - slack, half + slack + 1)
    piece = bands.wave[np.clip(centre[:, None] + reach, 0, len(bands.wave) - 1)]
    inner = piece[:, slack : len(reach) - slack]
    size = np.sqrt((np.abs(inner) ** 2).sum(axis=1)) + TINY
    best = np.zeros(len(at_s) - 1)
    for lag in range(2 * slack + 1):
        other = piece[1:, lag : lag + inner.shape[1]]
        power = np.sqrt((np.abs(other) ** 2).sum(axis=1)) + TINY
        best = np.maximum(best, np.abs((inner[:-1] * other.conj()).sum(axis=1)) / size[:-1] / power)
    like: Floats = np.maximum(np.append(best, 0), np.insert(best, 0, 0))
    return like


def settle(bands: Bands, beat_s: Floats) -> Floats:
    """Return the beat times moved to where the sounds lie: by the median lag of the strong ones near by.

    No beat is moved by its own sound: a silent beat must not be drawn to the loudest noise near it.
    """
    sound = bands.bands[:3].sum(axis=0)
    typical = float(np.median(np.diff(beat_s)))
    reach = np.arange(-round(0.15 * FRAMES_PER_S), round(min(0.25, 0.35 * typical) * FRAMES_PER_S) + 1)
    frame = np.searchsorted(bands.time_s, beat_s)
    part = sound[np.clip(frame[:, None] + reach[None, :], 0, len(sound) - 1)]
    lag = reach[np.argmax(part, axis=1)] / FRAMES_PER_S
    height = part.max(axis=1)
    strong = height >= np.percentile(height, 60)
    near = np.abs(beat_s[:, None] - beat_s[None, strong])
    order = np.argsort(near, axis=1)[:, :5]
    moved: Floats = beat_s + np.median(lag[strong][order], axis=1)
    return moved
