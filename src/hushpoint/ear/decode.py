"""The whole release at once: silent, sounding, gap, sounding, silent, as probabilities of where each begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEVELS_DB = np.arange(0.0, 33.0, 2.0)
"""How far below the loudest a sound may lie: the first ones 20 dB, muffled ones 10 to 25 dB (acoustics 1, levels FROM
MEMORY), widened because arms differ."""
COUNT = len(LEVELS_DB)
ABOVE, GAP, BELOW = 0, 1, 2
START, SOUND, AGAIN, MUFFLED = (slice(3 + at * COUNT, 3 + (at + 1) * COUNT) for at in range(4))
STATES = 3 + 4 * COUNT
CLEAR_DB = 16.0
"""A clear sound lies no farther below the loudest: breathing and phase II take up to 12 dB (acoustics 1)."""
DULL_DB = 6.0
"""A muffled sound lies at least so far below the loudest."""
WIDTH_DB = 1.5
TAIL_DB = (1.5, 6.0)
TAIL = 0.2
"""Share of levels that stray farther, by a scale that the loudest pauses tell, within these (design choice)."""
DRIFT_DB = 2.5
"""From beat to beat a level changes by about this: breathing +-20 %, 10 % at random (acoustics 1)."""
JUMP_DB = 8.0
JUMP = 0.15
"""Share of wider steps: into phase III, and where sounds become muffled."""
RISE_DB = 3.0
"""The first sounds rise by 12 dB within some 12 % of pulse pressure (acoustics 1): so much a beat."""
DROP_DB = (12.0, 6.0)
SUDDEN = 0.3
"""Sounds drop by 10 to 15 dB where they become muffled (acoustics 1): at once in this share (design choice)."""
KNOCK = (0.003, 0.05)
"""Share of silent beats that something else makes loud: as often as pauses are, within these (design choice)."""
KNOCK_DB = 8.0
HOLE = 0.05
FAINT_HOLE = 0.12
UNEVEN_HOLE, UNEVEN_FAINT_HOLE = 0.15, 0.35
UNEVEN_TIMES = 3.0
"""Where the rhythm is uneven each beat has its own pressures (atrial fibrillation: SD 8 to 12 mmHg; facts 7.4): holes
are common and the ends this many times as long."""
"""Share of sounding beats that are missing (a hole after the first tap: 10 to 26 % of releases; acoustics 1)."""
START_MMHG = 4.0
"""The first sounds reach full loudness within about 12 % of pulse pressure (acoustics 1)."""
SOUND_MMHG = 35.0
GAP_MMHG = 18.0
"""A silent gap is 10 to 40 mmHg wide (acoustics 1)."""
MUFFLED_MMHG = 8.0
"""Phase IV is the last 5 to 10 mmHg (facts 7.1)."""
WIDEST_DB = 60.0
QUIETEST_DB = -3.0
"""Anything quieter than this under the usual silence is as silent as silence."""
LIKE_AT_DB = ((0.0, 6.0, 10.0, 20.0), (0.34, 0.55, 0.74, 0.92))
"""Likeness of neighbouring sounds by their level over noise [dB] (acoustics 5: noise .34, taps .55 at 6, .74 at 10 dB;
the last is extended)."""
LIKE_SD = 0.15
UNLIKE = 0.4
"""Share of true sounds that are as unlike their neighbours as noise: murmurs, and where one phase passes into the next
(design choice, high so that likeness alone never decides)."""

SHARED = 0.6
"""Each likeness is shared by two neighbours, so that it counts little more than half at each."""


@dataclass(frozen=True)
class Decoded:
    """Probabilities over beats (n,): `first` that sounds begin at it, `last` that they end with it.

    `loud` (n,) that a beat is heard, if it belongs to the sounding stretch. `sounding` (n,) that it belongs to it;
    `gap` (n,) that it lies in a silent gap. `any`: that there were any sounds at all.
    `evidence`: by how many natural logarithms all beats are likelier with sounds than with none.
    """

    first: Floats
    last: Floats
    loud: Floats
    sounding: Floats
    gap: Floats
    any: float
    evidence: float


def likelihoods(excess_db: Floats, loudest_db: Floats, noise_db: Floats, knocks: float) -> tuple[Floats, Floats]:
    """Return the likelihood of silence (n,) and of a sound at each level (n, levels) for each beat.

    `excess_db` (n,): the beat's level over silence. `loudest_db` (n,): the excess that the loudest sounds of this
    recording would have there. `noise_db` (n, q): what the pauses would make one expect there, as even quantiles.
    `knocks`: share of pauses that something loud falls into. A silent beat is like a pause; a sound d dB below the
    loudest gives its energy and a pause's together. What is hidden in noise thus speaks neither way.
    """
    heard = np.maximum(excess_db, QUIETEST_DB)
    noise = np.maximum(noise_db, QUIETEST_DB)
    tail_db = float(np.clip(np.mean(noise[:, -2:]) - np.mean(noise[:, -6:-4]), *TAIL_DB))

    def like(about: Floats) -> Floats:
        away = heard.reshape(-1, *[1] * (about.ndim - 1)) - about
        near = np.exp(-0.5 * np.minimum(np.abs(away / WIDTH_DB), 30) ** 2) / (WIDTH_DB * np.sqrt(2 * np.pi))
        far = np.exp(-np.abs(away) / tail_db) / (2 * tail_db)
        height: Floats = ((1 - TAIL) * near + TAIL * far).mean(axis=-1)
        return height

    share = float(np.clip(knocks, *KNOCK))
    silent = (1 - share) * like(noise) + share / WIDEST_DB
    level = (loudest_db[:, None] - LEVELS_DB)[:, :, None]
    sound = like(10 * np.log10(10 ** (level / 10) + 10 ** (noise[:, None, :] / 10)))
    return silent, 0.98 * sound + 0.02 / WIDEST_DB


def alike(beats: Floats, pauses: Floats, excess_db: Floats) -> Floats:
    """Return how much likelier a sound makes each beat's likeness to its neighbours than silence does (n,).

    `beats` (n,): each beat's likeness, `pauses` (m,): that of pauses, `excess_db` (n,): level over silence.
    """

    def height(value: Floats, about: Floats, width: float) -> Floats:
        bell: Floats = np.exp(-0.5 * ((value - about) / width) ** 2) / (width * np.sqrt(2 * np.pi))
        return bell

    chance = 0.95 * height(beats[:, None], pauses[None, :], 0.06).mean(axis=1) + 0.05
    true = height(beats, np.interp(excess_db, *LIKE_AT_DB), LIKE_SD)
    ratio: Floats = ((UNLIKE * chance + (1 - UNLIKE) * true) / chance) ** SHARED
    return ratio


def _steps(about_db: float) -> Floats:
    """Return the chances (levels, levels) of a level after a level, risen by about so much."""
    change = LEVELS_DB[:, None] - LEVELS_DB[None, :] - about_db
    near, far = np.exp(-np.abs(change) / DRIFT_DB), np.exp(-np.abs(change) / JUMP_DB)
    near, far = near / near.sum(axis=1, keepdims=True), far / far.sum(axis=1, keepdims=True)
    steps: Floats = (1 - JUMP) * near + JUMP * far
    return steps


def _moves(step_mmhg: float, even: bool) -> tuple[Floats, Floats]:
    """Return the first beat's chances (s,) and the moves (s, s) from beat to beat as the cuff falls by a step.

    How long each state lasts is told in mmHg (START_MMHG and so on): slow releases have more beats in it.
    """
    faint = np.where(LEVELS_DB >= 4, 1.0, 0.3)
    faint = faint / faint.sum()
    clear = (LEVELS_DB <= CLEAR_DB) / np.sum(LEVELS_DB <= CLEAR_DB)
    dull = (LEVELS_DB >= DULL_DB) / np.sum(LEVELS_DB >= DULL_DB)
    same, up = _steps(0.0), _steps(RISE_DB)
    lower = LEVELS_DB[None, :] - LEVELS_DB[:, None]
    sudden = np.exp(-0.5 * ((lower - DROP_DB[0]) / DROP_DB[1]) ** 2) + 1e-6
    drop = (1 - SUDDEN) * same + SUDDEN * sudden / sudden.sum(axis=1, keepdims=True)

    def stay(lasts_mmhg: float) -> float:
        return float(np.exp(-step_mmhg / lasts_mmhg))

    def only(steps: Floats, where: Floats) -> Floats:
        kept = steps * (where > 0)
        whole: Floats = kept / np.maximum(kept.sum(axis=1, keepdims=True), 1e-12)
        return whole

    start = np.zeros(STATES)
    start[ABOVE], start[BELOW] = 0.7, 0.01
    start[START], start[SOUND], start[MUFFLED] = 0.1 * faint, 0.18 * clear, 0.01 * dull
    moves = np.zeros((STATES, STATES))
    times = 1.0 if even else UNEVEN_TIMES
    first, on, gap, muffled = stay(START_MMHG * times), stay(SOUND_MMHG), stay(GAP_MMHG), stay(MUFFLED_MMHG * times)
    moves[ABOVE, ABOVE] = on
    moves[ABOVE, START], moves[ABOVE, SOUND] = 0.85 * (1 - on) * faint, 0.15 * (1 - on) * clear
    moves[START, START] = first * up
    moves[START, SOUND] = 0.98 * (1 - first) * only(up, clear)
    moves[START, MUFFLED] = 0.01 * (1 - first) * only(same, dull)
    moves[START, BELOW] = 0.01 * (1 - first)
    moves[SOUND, SOUND] = on * only(same, clear)
    moves[SOUND, GAP] = 0.07 * (1 - on)
    moves[SOUND, MUFFLED] = 0.79 * (1 - on) * only(drop, dull)
    moves[SOUND, BELOW] = 0.14 * (1 - on)
    moves[GAP, GAP] = gap
    moves[GAP, AGAIN] = (1 - gap) * clear
    moves[AGAIN, AGAIN] = on * only(same, clear)
    moves[AGAIN, MUFFLED] = 0.84 * (1 - on) * only(drop, dull)
    moves[AGAIN, BELOW] = 0.16 * (1 - on)
    moves[MUFFLED, MUFFLED] = muffled * only(same, dull)
    moves[MUFFLED, BELOW] = 1 - muffled
    moves[BELOW, BELOW] = 1
    return start, moves


def decode(silent: Floats, sound: Floats, ratio: Floats, step_mmhg: float, even: bool = True) -> Decoded:
    """Return what the beats say together (forward and backward pass over a left-to-right chain).

    `silent` (n,), `sound` (n, levels): likelihoods. `ratio` (n,): how much likelier likeness makes a sound.
    """
    start, moves = _moves(step_mmhg, even)
    count = len(silent)
    voiced = sound * ratio[:, None]
    likely = np.empty((count, STATES))
    likely[:, [ABOVE, GAP, BELOW]] = silent[:, None]
    hole, faint_hole = (HOLE, FAINT_HOLE) if even else (UNEVEN_HOLE, UNEVEN_FAINT_HOLE)
    holes = ((START, faint_hole), (SOUND, hole), (AGAIN, hole), (MUFFLED, faint_hole))
    for part, hole in holes:
        likely[:, part] = (1 - hole) * voiced + hole * silent[:, None]
    size = likely.max(axis=1, keepdims=True)
    likely = likely / size + 1e-12
    forward, backward = np.empty_like(likely), np.ones_like(likely)
    forward[0] = start * likely[0]
    weight = forward[0].sum()
    forward[0] /= weight
    evidence = np.log(weight)
    for now in range(1, count):
        forward[now] = (forward[now - 1] @ moves) * likely[now]
        weight = forward[now].sum()
        evidence += np.log(weight)
        forward[now] /= weight
    evidence -= float(np.log(silent / size[:, 0] + 1e-12).sum())
    backward[-1, GAP] = 0  # a gap is only a gap when sounds come back
    for now in range(count - 2, -1, -1):
        backward[now] = moves @ (likely[now + 1] * backward[now + 1])
        backward[now] /= backward[now].sum()
    state = forward * backward
    state /= state.sum(axis=1, keepdims=True)
    sounding = 1 - state[:, ABOVE] - state[:, BELOW]
    first = np.concatenate(([sounding[0]], np.clip(-np.diff(state[:, ABOVE]), 0, None)))
    last = np.concatenate((np.clip(np.diff(state[:, BELOW]), 0, None), [sounding[-1]]))
    voice = voiced / size
    mute = silent[:, None] / size
    heard = np.zeros(count)
    for part, hole in holes:
        heard += (state[:, part] * (1 - hole) * voice / ((1 - hole) * voice + hole * mute + 1e-12)).sum(axis=1)
    heard = heard / np.maximum(sounding, 1e-9)
    return Decoded(
        first=first,
        last=last,
        loud=np.where(sounding > 1e-3, heard, 0.0),
        sounding=sounding,
        gap=state[:, GAP],
        any=float(1 - state[-1, ABOVE] - state[0, BELOW]),
        evidence=float(evidence),
    )
