"""The whole release at once: silent, sounding, gap, sounding, silent, as probabilities of where each begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ABOVE, START, SOUND, GAP, AGAIN, MUFFLED, BELOW = range(7)
CLEAR_DB = (-2.0, 16.0)
"""How far below the loudest a clear sound lies: breathing and phase II take up to 12 dB (acoustics 1)."""
FAINT_DB = (4.0, 30.0)
"""The first sounds lie 20 dB below the loudest and rise over 12 % of pulse pressure; muffled ones 10 to 25 dB below
(acoustics 1, levels FROM MEMORY), widened because arms differ."""
MUFFLED_DB = (8.0, 32.0)
"""Muffled sounds lie 10 to 15 dB below the clear ones and fade by as much again (acoustics 1; FROM MEMORY)."""
KNOCK = (0.006, 0.03)
"""Share of silent beats that something else makes loud: as often as pauses are, within these (design choice)."""
KNOCK_DB = 8.0
HOLE = 0.04
FAINT_HOLE = 0.15
"""Share of sounding beats that are missing (a hole after the first tap: 10 to 26 % of releases; acoustics 1)."""
START_MMHG = 4.0
"""The first sounds reach full loudness within about 12 % of pulse pressure (acoustics 1)."""
SOUND_MMHG = 35.0
GAP_MMHG = 18.0
"""A silent gap is 10 to 40 mmHg wide (acoustics 1)."""
MUFFLED_MMHG = 8.0
"""Phase IV is the last 5 to 10 mmHg (facts 7.1)."""
WIDEST_DB = 40.0
QUIETEST_DB = 0.0
"""Anything quieter than silence is as silent as silence."""
LIKE_AT_DB = ((0.0, 6.0, 10.0, 20.0), (0.34, 0.55, 0.74, 0.92))
"""Likeness of neighbouring sounds by their level over noise [dB] (acoustics 5: noise .34, taps .55 at 6, .74 at 10 dB;
the last is extended)."""
LIKE_SD = 0.15
UNLIKE = 0.4
"""Share of true sounds that are as unlike their neighbours as noise: murmurs, and where one phase passes into the next
(design choice, high so that likeness alone never decides)."""


@dataclass(frozen=True)
class Decoded:
    """Probabilities over beats (n,): `first` that sounds begin at it, `last` that they end with it.

    `loud` (n,) that a beat is heard, judged by itself. `sounding` (n,) that it belongs to the sounding stretch; `gap`
    (n,) that it lies in a silent gap; `muffled` (n,) that the muffled end has begun. `from_top`: that sounds were there
    at the first beat. `to_end`: that they were still there at the last. `any`: that there were any sounds at all.
    """

    first: Floats
    last: Floats
    loud: Floats
    sounding: Floats
    gap: Floats
    muffled: Floats
    from_top: float
    to_end: float
    any: float


def likelihoods(excess_db: Floats, loudest_db: Floats, pause_db: Floats) -> Floats:
    """Return the likelihood (n, 7) of each state for each beat.

    `excess_db` (n,): the beat's level over silence. `loudest_db` (n,): the excess that the loudest sounds of this
    recording would have there. `pause_db` (m,): the excess of the pauses. A silent beat is like a pause; a sound d dB
    below the loudest gives its energy and a pause's together. What is hidden in noise thus speaks for no state.
    """
    noise_db = np.percentile(np.maximum(pause_db, QUIETEST_DB), np.linspace(2, 98, 25))

    def like(about: Floats, width_db: float) -> Floats:
        z = (np.maximum(excess_db, QUIETEST_DB)[:, None] - about.reshape(len(about), -1)) / width_db
        height: Floats = np.exp(-0.5 * np.minimum(np.abs(z), 30) ** 2).mean(axis=1) / (width_db * np.sqrt(2 * np.pi))
        return height

    knock = (excess_db < WIDEST_DB + 20) / WIDEST_DB
    share = float(np.clip(np.mean(pause_db > KNOCK_DB), *KNOCK))
    silent = (1 - share) * like(np.tile(noise_db, (len(excess_db), 1)), 1.5) + share * knock + 1e-9

    def sound(span: tuple[float, float], hole: float) -> Floats:
        level = loudest_db[:, None] - np.linspace(*span, 15)
        about = 10 * np.log10(10 ** (level[:, :, None] / 10) + 10 ** (noise_db / 10))
        heard: Floats = (1 - hole) * like(about, 1.5) + hole * silent + 1e-9
        return heard

    clear, faint, dull = sound(CLEAR_DB, HOLE), sound(FAINT_DB, FAINT_HOLE), sound(MUFFLED_DB, FAINT_HOLE)
    return np.stack([silent, faint, clear, silent, clear, dull, silent], axis=1)


def alike(beats: Floats, pauses: Floats, excess_db: Floats) -> Floats:
    """Return the likelihood (n, 7) that likeness to a neighbour gives each state.

    `beats` (n,): each beat's likeness, `pauses` (m,): that of pauses, `excess_db` (n,): level over silence.
    """

    def height(value: Floats, about: Floats, width: float) -> Floats:
        bell: Floats = np.exp(-0.5 * ((value - about) / width) ** 2) / (width * np.sqrt(2 * np.pi))
        return bell

    chance = 0.95 * height(beats[:, None], pauses[None, :], 0.06).mean(axis=1) + 0.05
    true = height(beats, np.interp(excess_db, *LIKE_AT_DB), LIKE_SD)
    sound = UNLIKE * chance + (1 - UNLIKE) * true
    return np.stack([chance, sound, sound, chance, sound, sound, chance], axis=1)


def _moves(step_mmhg: float) -> tuple[Floats, Floats]:
    """Return the first beat's chances (7,) and the moves (7, 7) from beat to beat as the cuff falls by a step.

    How long each state lasts is told in mmHg (START_MMHG and so on): slow releases have more beats in it.
    """
    start = np.array([0.7, 0.1, 0.18, 0, 0, 0.01, 0.01])

    def stay(lasts_mmhg: float) -> float:
        return float(np.exp(-step_mmhg / lasts_mmhg))

    moves = np.zeros((7, 7))
    faint, clear, gap, muffled = stay(START_MMHG), stay(SOUND_MMHG), stay(GAP_MMHG), stay(MUFFLED_MMHG)
    above = stay(SOUND_MMHG)
    moves[ABOVE, [ABOVE, START, SOUND]] = (above, 0.75 * (1 - above), 0.25 * (1 - above))
    moves[START, [START, SOUND, MUFFLED, BELOW]] = np.array([faint, *((1 - faint) * np.array([0.98, 0.01, 0.01]))])
    moves[SOUND, [SOUND, GAP, MUFFLED, BELOW]] = np.array([clear, *((1 - clear) * np.array([0.05, 0.8, 0.15]))])
    moves[GAP, [GAP, AGAIN]] = (gap, 1 - gap)
    moves[AGAIN, [AGAIN, MUFFLED, BELOW]] = np.array([clear, *((1 - clear) * np.array([0.84, 0.16]))])
    moves[MUFFLED, [MUFFLED, BELOW]] = (muffled, 1 - muffled)
    moves[BELOW, BELOW] = 1
    return start, moves


def decode(likely: Floats, step_mmhg: float) -> Decoded:
    """Return what the beats say together (forward and backward pass over a left-to-right chain)."""
    start, moves = _moves(step_mmhg)
    count = len(likely)
    forward, backward = np.empty_like(likely), np.ones_like(likely)
    forward[0] = start * likely[0]
    forward[0] /= forward[0].sum()
    for now in range(1, count):
        forward[now] = (forward[now - 1] @ moves) * likely[now]
        forward[now] /= forward[now].sum()
    backward[-1, GAP] = 0  # a gap is only a gap when sounds come back
    for now in range(count - 2, -1, -1):
        backward[now] = moves @ (likely[now + 1] * backward[now + 1])
        backward[now] /= backward[now].sum()
    state = forward * backward
    state /= state.sum(axis=1, keepdims=True)
    voiced = state[:, [START, SOUND, GAP, AGAIN, MUFFLED]].sum(axis=1)
    first = np.concatenate(([voiced[0]], np.clip(-np.diff(state[:, ABOVE]), 0, None)))
    last = np.concatenate((np.clip(np.diff(state[:, BELOW]), 0, None), [voiced[-1]]))
    return Decoded(
        first=first,
        last=last,
        loud=likely[:, START] / (likely[:, START] + likely[:, BELOW]),
        sounding=voiced,
        gap=state[:, GAP],
        muffled=state[:, MUFFLED],
        from_top=float(voiced[0]),
        to_end=float(voiced[-1]),
        any=float(1 - state[-1, ABOVE] - (state[0, BELOW])),
    )
