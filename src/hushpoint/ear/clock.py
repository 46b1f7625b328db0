"""A beat clock from the cuff's own pulse, the thump and the sounds together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hushpoint.ear.bands import Bands
from hushpoint.ear.release import STEP_S, Cuff

Floats = NDArray[np.float64]

FRAME_S = 0.025
PULSE_PER_MIN = (36.0, 190.0)
STRETCH = (0.45, 1.9)
"""A beat may come this early or late against the typical interval (atrial fibrillation: coefficient of variation 20 to
25 %; facts 7.4)."""
HALF_AS_GOOD = 0.7
"""Half the interval is the interval when the strength is nearly as like itself there."""
PULSE_MMHG_PER_S = 3.5
"""A pulse of 1 to 4 mmHg (acoustics 6, row 13) rises within 0.1 to 0.2 s; coarse steps of a steady fall make less."""
PULSE_LEANS = 1.5
"""A pulse rises this much more steeply than it falls; noise does not."""
BESIDE_PULSE = 0.05
"""How far thump and sound are followed where the cuff's own pulse can be seen: another heart may be in them."""
SECOND_STEADY = 0.25
"""Something else beats in the pauses where they are so like themselves one beat later: real chests 0.2 to 0.8, talk and
clatter mostly below 0.2."""
OWN_LOUDER_DB = 3.0
"""What stands so far over the loudest pauses is the arm's own sound."""
PLACES = 48
"""The beat of something else is parted into so many places: 12 to 35 ms each."""
FIRST_WITHIN = 0.04
"""Its first path of beats tells a place to within about this share of the beat."""
HEARD_DB = (-3.0, 30.0)
"""Levels are taken within these: quieter is silence, louder is the arm."""
PRIOR = 2.0
USUAL_SD_DB, LEAST_SD_DB = 5.0, 2.0
"""A place is taken to be as loud as all, within this, until more than two pauses have told; never sharper than that."""
STRAY = 0.1
"""Share of moments in which something else is heard."""
NEW_SHARE = 0.7
"""Moments 20 ms apart share much of what they tell: each counts so much as one alone would (design choice)."""
SLACK = 0.8
"""By how many places a beat may hurry or lag from moment to moment (design choice)."""
LOOSE = 1.5
"""How dear it is to leave the typical interval (Ellis 2007's beat tracker, its cost kept low for irregular rhythm)."""


def beat_times(bands: Bands, cuff: Cuff) -> Floats:
    """Return when each beat falls [s] from the start of the release to its end.

    The best path of beats through the onset strength with a soft price on uneven intervals (Ellis 2007, dynamic
    programming): clear beats are followed where they fall, and silence is counted through in rhythm.
    """
    time = np.arange(cuff.from_s, cuff.to_s, FRAME_S)
    strength = _strength(time, bands, cuff)
    period_s = _period(strength)
    return time[_path(strength, period_s / FRAME_S)]


def _strength(time: Floats, bands: Bands, cuff: Cuff) -> Floats:
    """Return onset strength: each cue over its own local size, so that none wins by its unit."""
    upstroke = _blur(np.interp(time, cuff.time_s[1:], np.diff(cuff.pulse_mmhg) / STEP_S), 0.1)
    cues = [(1.0, np.clip(upstroke, 0, None))]
    cues.append((1.0, np.sqrt(_peaks(time, bands.time_s, bands.thump))))
    loud = np.sqrt(_peaks(time, bands.time_s, bands.bands[:3].sum(axis=0)))
    cues.append((1.5, loud))
    even = [np.minimum(cue / _local_size(cue), 1.5) for _, cue in cues]
    steady = np.array([_steadiness(cue) for cue in even])
    trust = np.clip(steady / steady.max(), 0.05, 1.0) ** 2
    if _pulses(upstroke):
        trust = np.array([1.0, BESIDE_PULSE, BESIDE_PULSE])
    total = sum(weight * share * cue for (weight, _), share, cue in zip(cues, trust, even, strict=True))
    return _blur(np.asarray(total) / float(trust.max()), 0.075)


def _pulses(upstroke: Floats) -> bool:
    """Return whether the cuff's own pulse can be seen: steep rises, and falls much less steep."""
    rise, fall = float(np.percentile(upstroke, 96)), -float(np.percentile(upstroke, 4))
    return rise >= PULSE_MMHG_PER_S and rise >= PULSE_LEANS * fall


def second_rhythm(strength_db: Floats, at_s: Floats, still: NDArray[np.bool_]) -> Floats | None:
    """Return the chances (m, PLACES) of each place in the beat of what beats in the pauses, None where nothing does.

    `strength_db` (m,): how loud it is at `at_s` [s], evenly apart; `still` (m,): which of them lie in the pauses.
    Between pauses it is followed where it is no louder than in them; what is louder is the arm's own sound, and is
    counted through. A first path of beats tells how loud each place is; the chances then follow from that, so that a
    place is told sharply where the pauses tell it and vaguely where they do not.
    """
    time = np.arange(at_s[0], at_s[-1], FRAME_S)
    middle, top = np.percentile(strength_db[still], (50, 95))
    alone = np.interp(time, at_s, np.where(still, np.clip(strength_db, 0, None), max(middle, 0)))
    if _steadiness(alone) < SECOND_STEADY:
        return None
    cue = np.where(still | (strength_db < top + OWN_LOUDER_DB), np.clip(strength_db, 0, None), max(middle, 0))
    cue = np.interp(time, at_s, cue)
    cue = np.minimum(cue / _local_size(cue), 1.5)
    period_s = _period(cue)
    beats = time[_path(cue, period_s / FRAME_S)]
    if len(beats) < 6:
        return None
    first = np.interp(at_s, beats, np.arange(len(beats))) % 1
    places = np.arange(PLACES) / PLACES
    chance = np.exp(-0.5 * (((first[:, None] - places + 0.5) % 1 - 0.5) / FIRST_WITHIN) ** 2)
    step = (at_s[1] - at_s[0]) / _finer(cue, period_s) * PLACES
    return _followed(chance / chance.sum(axis=1, keepdims=True), np.clip(strength_db, *HEARD_DB), still, step)


def _followed(first: Floats, level_db: Floats, still: NDArray[np.bool_], step: float) -> Floats:
    """Return the chances (m, PLACES) of each place by a forward and backward pass, `step` places a moment.

    `first` (m, PLACES): chances to begin with, which tell how loud each place is: mean and spread of `level_db` (m,)
    over the pauses, blurred over neighbouring places.
    """
    around = (np.arange(PLACES) + PLACES // 2) % PLACES - PLACES // 2
    blur = np.exp(-0.5 * around**2.0)
    circle = np.stack([np.roll(blur / blur.sum(), place) for place in range(PLACES)])
    told = first * still[:, None]
    usual = float(level_db[still].mean())
    count = told.sum(axis=0) @ circle + PRIOR
    mean = (level_db @ told @ circle + PRIOR * usual) / count
    square = (level_db**2 @ told @ circle + PRIOR * (usual**2 + USUAL_SD_DB**2)) / count
    spread = np.sqrt(np.maximum(square - mean**2, LEAST_SD_DB**2))
    near = np.exp(-0.5 * ((level_db[:, None] - mean) / spread) ** 2) / spread
    likely = np.where(still[:, None], ((1 - STRAY) * near + STRAY / (HEARD_DB[1] / 2)) ** NEW_SHARE, 1.0)
    gone = (np.arange(PLACES)[None, :] - np.arange(PLACES)[:, None] - step + PLACES / 2) % PLACES - PLACES / 2
    moves = np.exp(-0.5 * (gone / SLACK) ** 2)
    moves /= moves.sum(axis=1, keepdims=True)
    ahead, back = np.empty_like(likely), np.empty_like(likely)
    now = np.full(PLACES, 1 / PLACES)
    for at in range(len(likely)):
        now = (now @ moves) * likely[at]
        now /= now.sum()
        ahead[at] = now
    now = np.full(PLACES, 1 / PLACES)
    for at in range(len(likely) - 1, -1, -1):
        back[at] = now
        now = moves @ (now * likely[at])
        now /= now.sum()
    both = ahead * back
    places: Floats = both / both.sum(axis=1, keepdims=True)
    return places


def _own(values: Floats) -> Floats:
    """Return how like itself a signal is at each lag, 1 at none."""
    from scipy import fft

    centred = values - values.mean()
    size = fft.next_fast_len(2 * len(centred))
    own = fft.irfft(np.abs(fft.rfft(centred, size)) ** 2, size)[: len(centred)]
    fair: Floats = own / (own[0] + 1e-12) * len(own) / np.maximum(len(own) - np.arange(len(own)), len(own) / 2)
    return fair


def _steadiness(cue: Floats) -> float:
    """Return how steadily a cue beats: its likeness to itself one beat later, at the best beat."""
    own = _own(_blur(cue, 0.15))
    first, last = round(60 / PULSE_PER_MIN[1] / FRAME_S), min(round(60 / PULSE_PER_MIN[0] / FRAME_S), len(own) // 2)
    return max(float(own[first:last].max()), 0.02)


def _peaks(time: Floats, frame_s: Floats, energy: Floats) -> Floats:
    from scipy.ndimage import maximum_filter1d

    value: Floats = np.interp(time, frame_s, maximum_filter1d(energy, 5))
    return value


def _blur(values: Floats, over_s: float) -> Floats:
    half = max(1, round(over_s / FRAME_S / 2))
    window = np.hanning(2 * half + 3)[1:-1]
    return np.convolve(np.pad(values, half, mode="edge"), window / window.sum(), mode="valid")


def _local_size(cue: Floats) -> Floats:
    """Return the usual height of a cue's peaks about each frame: a high share of what lies within 4 s, blurred."""
    block = max(1, round(2.0 / FRAME_S))
    start = np.arange(0, len(cue), block)
    wide = min(3 * block, len(cue))
    first = np.clip(start - block, 0, len(cue) - wide)
    tops = np.percentile(cue[first[:, None] + np.arange(wide)], 96, axis=1)
    at = start + block / 2
    size: Floats = np.interp(np.arange(len(cue)), at, tops)
    return np.maximum(size, 0.02 * float(tops.max()) + 1e-12)


def _period(strength: Floats) -> float:
    """Return the typical beat interval [s]: where the onset strength is most like itself, shorter wins when as good."""
    own = _own(strength)
    lags = np.arange(round(60 / PULSE_PER_MIN[1] / FRAME_S), min(round(60 / PULSE_PER_MIN[0] / FRAME_S), len(own) // 2))
    doubled = own[np.minimum(2 * lags, len(own) - 1)]
    prior = np.exp(-0.5 * (np.log(lags * FRAME_S * 72 / 60) / 0.7) ** 2)
    score = (own[lags] + 0.5 * doubled) * prior
    best = int(lags[int(np.argmax(score))])
    half = np.arange(round(best / 2 * 0.94), round(best / 2 * 1.06) + 1)
    if half[0] >= lags[0] and own[half].max() > HALF_AS_GOOD * own[best]:
        best = int(half[int(np.argmax(own[half]))])
    return best * FRAME_S


def _exact(strength: Floats, period_s: float) -> float:
    own = _own(_blur(strength, 0.1))
    at = round(period_s / FRAME_S)
    low, mid, high = own[at - 1 : at + 2]
    bend = low - 2 * mid + high
    return (at + (float(np.clip(0.5 * (low - high) / bend, -1, 1)) if bend < 0 else 0.0)) * FRAME_S


def _finer(strength: Floats, period_s: float) -> float:
    """Return the interval [s] between two frames, where a parabola through the likeness about it is highest."""
    own = _own(_blur(strength, 0.1))
    at = round(period_s / FRAME_S)
    low, middle, high = own[at - 1 : at + 2]
    bend = low - 2 * middle + high
    aside = float(np.clip(0.5 * (low - high) / bend, -1, 1)) if bend < 0 else 0.0
    return (at + aside) * FRAME_S


def _path(strength: Floats, period: float) -> NDArray[np.int64]:
    """Return the frames of the best path."""
    nearest, farthest = max(2, round(STRETCH[0] * period)), round(STRETCH[1] * period)
    lags = np.arange(nearest, farthest + 1)
    price = LOOSE * np.log(lags / period) ** 2 * (1 + np.abs(np.log(lags / period)))
    best = np.copy(strength)
    before = np.full(len(strength), -1)
    for now in range(nearest, len(strength)):
        back = best[max(now - farthest, 0) : now - nearest + 1][::-1]
        back = back - price[: len(back)]
        choice = int(back.argmax())
        if back[choice] > 0 or now >= farthest:
            best[now] = strength[now] + back[choice]
            before[now] = now - nearest - choice
    at = len(best) - farthest + int(np.argmax(best[-farthest:])) if len(best) > farthest else int(np.argmax(best))
    path = []
    while at >= 0:
        path.append(at)
        at = int(before[at])
    return np.array(path[::-1], dtype=np.int64)
