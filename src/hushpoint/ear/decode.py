"""The whole release at once: silent, sounding, gap, sounding, silent, as probabilities of where each begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STATES = ("above", "faint start", "sounding", "gap", "sounding again", "muffled", "below")
ABOVE, START, SOUND, GAP, AGAIN, MUFFLED, BELOW = range(7)
CLEAR_DB = (-2.0, 16.0)
"""How far below the loudest a clear sound lies: breathing and phase II take up to 12 dB (acoustics 1)."""
FAINT_DB = (4.0, 30.0)
"""The first sounds lie 20 dB below the loudest and rise over 12 % of pulse pressure; muffled ones 10 to 25 dB below
(acoustics 1, levels FROM MEMORY), widened because arms differ."""
KNOCK = 0.03
"""Share of silent beats that something else makes loud."""
HOLE = 0.04
"""Share of sounding beats that are missing (a hole after the first tap: 10 to 26 % of releases; acoustics 1)."""
WIDEST_DB = 40.0


@dataclass(frozen=True)
class Decoded:
    """Probabilities over beats (n,): `first` that sounds begin at it, `last` that they end with it.

    `sounding` (n,) that a beat belongs to the sounding stretch; `gap` (n,) that it lies in a silent gap; `muffled` (n,)
    that the muffled end has begun. `from_top`: that sounds were there at the first beat. `to_end`: that they were still
    there at the last. `any`: that there were any sounds at all.
    """

    first: Floats
    last: Floats
    sounding: Floats
    gap: Floats
    muffled: Floats
    from_top: float
    to_end: float
    any: float


def likelihoods(excess_db: Floats, loudest_db: Floats, spread_db: float) -> Floats:
    """Return the likelihood (n, 7) of each state for each beat.

    `excess_db`: the beat's level over what silence would give there. `loudest_db`: the excess that the loudest sounds
    of this recording would have there. `spread_db`: SD of silent beats about 0. A sound d dB below the loudest gives an
    excess of its energy and the noise's together; what is hidden in noise therefore speaks for no state.
    """

    def bell(about: Floats) -> Floats:
        z = (excess_db[:, None] - about) / spread_db
        height: Floats = np.exp(-0.5 * np.minimum(z, 30) ** 2) / (spread_db * np.sqrt(2 * np.pi))
        return height

    noise = bell(np.zeros((len(excess_db), 1)))[:, 0]
    low = np.minimum(excess_db, 0)
    noise = np.where(low < 0, np.maximum(noise, 0.3 / (spread_db * np.sqrt(2 * np.pi)) * np.exp(low / 10)), noise)
    knock = ((excess_db > -3) & (excess_db < WIDEST_DB + 20)) / WIDEST_DB
    silent = (1 - KNOCK) * noise + KNOCK * knock + 1e-9

    def sound(span: tuple[float, float]) -> Floats:
        down = np.linspace(*span, 15)
        about = 10 * np.log10(1 + 10 ** ((loudest_db[:, None] - down) / 10))
        heard: Floats = (1 - HOLE) * bell(about).mean(axis=1) + HOLE * silent + 1e-9
        return heard

    clear, faint = sound(CLEAR_DB), sound(FAINT_DB)
    return np.stack([silent, faint, clear, silent, clear, faint, silent], axis=1)


def _moves() -> tuple[Floats, Floats]:
    """Return the first beat's chances (7,) and the moves (7, 7) from beat to beat (design choice: loose)."""
    start = np.array([0.7, 0.1, 0.18, 0, 0, 0.01, 0.01])
    moves = np.zeros((7, 7))
    moves[ABOVE, [ABOVE, START, SOUND]] = (0.93, 0.05, 0.02)
    moves[START, [START, SOUND, MUFFLED, BELOW]] = (0.6, 0.39, 0.005, 0.005)
    moves[SOUND, [SOUND, GAP, MUFFLED, BELOW]] = (0.937, 0.003, 0.04, 0.02)
    moves[GAP, [GAP, AGAIN]] = (0.85, 0.15)
    moves[AGAIN, [AGAIN, MUFFLED, BELOW]] = (0.94, 0.04, 0.02)
    moves[MUFFLED, [MUFFLED, BELOW]] = (0.75, 0.25)
    moves[BELOW, BELOW] = 1
    return start, moves


def decode(likely: Floats) -> Decoded:
    """Return what the beats say together (forward and backward pass over a left-to-right chain)."""
    start, moves = _moves()
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
        sounding=voiced,
        gap=state[:, GAP],
        muffled=state[:, MUFFLED],
        from_top=float(voiced[0]),
        to_end=float(voiced[-1]),
        any=float(1 - state[-1, ABOVE] - (state[0, BELOW])),
    )
