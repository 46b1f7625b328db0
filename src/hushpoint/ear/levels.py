"""Each beat's level over what silence would give at that moment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hushpoint.ear.bands import FRAMES_PER_S, Bands
from hushpoint.ear.clock import second_rhythm
from hushpoint.ear.matched import Matched

Floats = NDArray[np.float64]

REACH_S = 0.025
"""A sound is looked for this far on either side of where the beat's sounds lie."""
NEIGHBOUR_S = 4.0
"""Noise is judged from the pauses between beats this far on either side."""
FLOOR_DB = 35.0
"""What lies this far below the loudest sounds is taken for silence: 28 dB part the loudest from the faintest arm, and
the first and last sounds lie 20 to 25 dB below (acoustics 1)."""
MOMENT_S = 0.02
KNOCK_DB = 8.0
"""A pause this far over silence holds a knock."""
MOST_PAUSES = 1200
"""More moments in pauses are thinned out, so that time stays linear in length."""
QUANTILES = 20
SAME_DB = 3.0
"""Two moments are as noisy above the sounds' band within about this."""
AROUND_S, APART_S = 0.6, 0.09
"""How noisy it is about a moment is told from the pauses about so near, but no nearer than its own sound reaches."""
AROUND_DB = 2.0
"""Two moments have as noisy surroundings within about this."""
QUIET_DB = -5.0
EVERYWHERE = 0.05
"""Weight of all other pauses beside those at the same place and as noisy (design choices, these five)."""
AFTER_S = 0.17
BEFORE_S = 0.12
"""Pauses are heard from so long after a beat's sound to so long before the next: past a murmur of 90 ms and clear of
the next sound, each with its reach."""
TINY = 1e-14
USEFUL_DB = 4.0
"""A band in which even the loudest sounds stand out by less tells nothing."""
LEAK_DB = 3.0
"""Margin over what the thump puts into each band."""
LEAK_APART_DB = 6.0
"""How much more the thump may leak at one end of the release than at the other: the sound falls nearer to it there."""
PAUSE_SHARE = 0.5
"""Of a beat so much of the pauses' noise is taken off before its leak is told: all of it would leave no leak at all
where that is no louder than the noise, and the leak would pass for soft sounds."""
MOST_LEAK_DB = -10.0
"""A thump puts no more than this of its energy above 30 Hz (less than 2 % above 40 Hz; acoustics 6, row 7)."""


@dataclass(frozen=True)
class Levels:
    """Per beat (n,): `at_s` where its sound falls or would fall, `excess_db` over silence, `loudest_db` the excess the
    loudest sounds would have there. `noise_db` (n, QUANTILES): the excess that noise alone would make there, told from
    the pauses. `knocks`: share of pauses that something loud falls into.
    """

    at_s: Floats
    excess_db: Floats
    loudest_db: Floats
    noise_db: Floats
    knocks: float


def levels_of(bands: Bands, found: Matched) -> Levels:
    """Return the level of each beat over silence.

    The level is that of the filter that stands out most. Silence is, filter by filter, the noise of the pauses near by,
    and what the beat's own thump leaks into it, and 35 dB below the loudest sounds.
    """
    from scipy.ndimage import maximum_filter1d

    beat_s = found.at_s
    window = 2 * round(REACH_S * FRAMES_PER_S) + 1
    tops_db = 20 * np.log10(maximum_filter1d(found.filters, window, axis=1) + TINY)
    thump_db = 10 * np.log10(maximum_filter1d(bands.thump, 2 * round(0.08 * FRAMES_PER_S)) + TINY)

    def frames(at_s: Floats) -> NDArray[np.int64]:
        return np.clip(np.searchsorted(bands.time_s, at_s), 0, len(bands.time_s) - 1)

    at_beat = frames(beat_s)
    moment_s, still = _moments(beat_s)
    beat_db, moment_db = tops_db[:, at_beat], tops_db[:, frames(moment_s)]
    noise = _noise(moment_db[:, still], moment_s[still], beat_s)
    noise_there = _noise(moment_db[:, still], moment_s[still], moment_s)
    over_thump = (
        10 * np.log10(np.maximum(10 ** (beat_db / 10) - PAUSE_SHARE * 10 ** (noise / 10), TINY)) - thump_db[at_beat]
    )
    top, bottom = np.median(over_thump[:, :5], axis=1), np.median(over_thump[:, -5:], axis=1)
    least = np.minimum(top, bottom) + LEAK_APART_DB
    along = np.linspace(0, 1, len(beat_s))
    share = np.minimum(top, least)[:, None] * (1 - along) + np.minimum(bottom, least)[:, None] * along
    leak = thump_db[at_beat] + share + LEAK_DB
    loudest = np.percentile(beat_db, 92, axis=1)[:, None]
    energy_db = 10 * np.log10(maximum_filter1d(bands.bands[:3].sum(axis=0), window) + TINY)[at_beat]
    loud = beat_db >= loudest - 6
    unit = np.array([np.median((one - energy_db)[where]) for one, where in zip(beat_db, loud, strict=True)])
    leak = np.minimum(leak, thump_db[at_beat] + unit[:, None] + MOST_LEAK_DB)
    floor = 10 ** ((loudest.max() - FLOOR_DB) / 10)
    silence_there = 10 * np.log10(10 ** (noise_there / 10) + floor)
    silence = 10 * np.log10(10 ** (noise / 10) + 10 ** (leak / 10) + floor)
    strong = loudest - silence
    useful = np.median(strong, axis=1) > USEFUL_DB
    if not useful.any():
        useful[int(np.argmax(np.median(strong, axis=1)))] = True
    beside_db = 10 * np.log10(maximum_filter1d(bands.beside, window) + TINY)
    heard = loud[useful].any(axis=0)
    own = np.median(10 ** (beside_db[at_beat][heard] / 10)) - np.median(10 ** (beside_db[frames(moment_s)][still] / 10))
    own_db = 10 * float(np.log10(max(own, TINY)))
    moments = (moment_db - silence_there)[useful].max(axis=0)
    return Levels(
        at_s=beat_s,
        excess_db=(beat_db - silence)[useful].max(axis=0),
        loudest_db=strong[useful].max(axis=0),
        noise_db=_expected(moments, moment_s, still, beat_s, beside_db[frames(moment_s)], beside_db[at_beat], own_db),
        knocks=float(np.mean(moments[still] > KNOCK_DB)),
    )


def _moments(beat_s: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Return moments 20 ms apart [s], and which lie in the pauses, clear of each beat's sound and the next."""
    rest = np.diff(beat_s)
    moment_s = np.arange(beat_s[0], beat_s[-1], MOMENT_S)
    before = np.clip(np.searchsorted(beat_s, moment_s, side="right") - 1, 0, len(rest) - 1)
    since, long = moment_s - beat_s[before], rest[before]
    still = (since >= np.minimum(AFTER_S, 0.4 * long)) & (since <= np.maximum(long - BEFORE_S, 0.6 * long))
    return moment_s, still


def _noise(pause_db: Floats, pause_s: Floats, at_s: Floats) -> Floats:
    """Return the noise [dB] (filters, n) about each moment: the median of the pauses near by, second by second."""
    marks = np.arange(at_s[0], at_s[-1] + 1.0, 1.0)
    first, last = np.searchsorted(pause_s, marks - NEIGHBOUR_S), np.searchsorted(pause_s, marks + NEIGHBOUR_S)
    there = np.stack(
        [
            np.median(pause_db[:, a : max(b, a + 1)] if a < pause_db.shape[1] else pause_db[:, -1:], axis=1)
            for a, b in zip(first, last, strict=True)
        ],
        axis=1,
    )
    return np.stack([np.interp(at_s, marks, one) for one in there])


def _expected(
    moments: Floats,
    moment_s: Floats,
    still: NDArray[np.bool_],
    at_s: Floats,
    beside_there: Floats,
    beside_here: Floats,
    own_db: float,
) -> Floats:
    """Return what noise alone would give at each moment `at_s` (n, QUANTILES), from the pauses.

    Where something else beats in the pauses, another heart say, its own beat is followed through, also where it falls
    together with this one, and the pauses that lie at the same place in that beat tell most. So do those in which it
    is as noisy above the sounds' band (`beside_there`, `beside_here`, dB): talk and clatter reach up there. `own_db`:
    what the sounds put there themselves. So do those about which it is as noisy.
    """
    thin = np.flatnonzero(still)
    thin = thin[:: -(-len(thin) // MOST_PAUSES)]
    pauses = moments[thin]
    order = np.argsort(pauses)
    there_db, here_db = beside_there[thin], beside_here
    quiet_db = max(float(np.median(there_db)) - 10, own_db)
    away = np.maximum(here_db, quiet_db)[:, None] - np.maximum(there_db, quiet_db)[None, :]
    weight = np.exp(-0.5 * (away / SAME_DB) ** 2)
    around = _around(moments, still)
    away = np.interp(at_s, moment_s, around)[:, None] - around[None, thin]
    weight *= np.exp(-0.5 * (away / AROUND_DB) ** 2)
    place = second_rhythm(moments, moment_s, still)
    if place is not None:
        here, there = (
            place[np.clip(np.round((at_s - moment_s[0]) / MOMENT_S).astype(int), 0, len(place) - 1)],
            place[thin],
        )
        weight *= here @ (there / there.sum(axis=0)).T
    weight = weight + EVERYWHERE * weight.mean(axis=1, keepdims=True) + 1e-9
    run = np.cumsum(weight[:, order], axis=1)
    run /= run[:, -1:]
    parts = np.linspace(0.02, 0.98, QUANTILES)
    places = np.stack([np.searchsorted(one, parts) for one in run])
    expected: Floats = pauses[order][np.minimum(places, len(pauses) - 1)]
    return expected


def _around(moments: Floats, still: NDArray[np.bool_]) -> Floats:
    """Return how noisy the pauses about each moment are [dB] (m,), itself left out."""
    reach = round(AROUND_S / MOMENT_S)
    offsets = np.arange(-3 * reach, 3 * reach + 1)
    kernel = np.exp(-0.5 * (offsets / reach) ** 2) * (np.abs(offsets) > APART_S / MOMENT_S)
    there = still.astype(float)
    middle = slice(3 * reach, 3 * reach + len(moments))
    total = np.convolve(np.clip(moments, QUIET_DB, None) * there, kernel)[middle]
    noisy: Floats = total / np.maximum(np.convolve(there, kernel)[middle], TINY)
    return noisy


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
    rest = np.append(np.diff(beat_s), np.median(np.diff(beat_s)))
    pauses = [_neighbours(bands, beat_s + part * rest) for part in (0.35, 0.5, 0.65)]
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
