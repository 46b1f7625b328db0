"""Sound and cuff pressure of one measurement to what was heard, or why it will not say."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from hushpoint.ear.bands import bands_of
from hushpoint.ear.clock import beat_times
from hushpoint.ear.decode import Decoded, alike, decode, likelihoods
from hushpoint.ear.levels import Levels, levels_of, likeness_of
from hushpoint.ear.matched import matched
from hushpoint.ear.release import Cuff, cuff_of
from hushpoint.ear.sync import FARTHEST_S, Shift, shift_of
from hushpoint.measure import Heard, Withheld

Floats = NDArray[np.float64]

FEWEST_BEATS = 6
"""Abstain below six sounding beats (acoustics 5)."""
FASTEST_MMHG_PER_BEAT = 4.2
"""Abstain above 4 mmHg a beat at an end (acoustics 5), and what measuring it over three seconds is off by."""
RIVAL_MMHG = 10.0
"""Two starts this far apart are rivals and both shown (acoustics 5)."""
RIVAL_SHARE = 0.15
WIDEST_MMHG = 18.0
"""A range wider than this is no answer (design choice: within 5 of its middle)."""
NEAR_MMHG = 5.0
SURE_ANY = 0.8
SURE = 0.8
SURE_ALONE = 0.9
"""Chance that must lie within 5 mmHg of the answer; more where the other end is withheld: a recording in which one end
cannot be told is less to be trusted at the other (design choice)."""
PLAIN, LEAST = 40.0, 20.0
SURE_BARELY = 0.92
"""By how many natural logarithms the beats must be likelier with sounds than with none: below LEAST nothing is said,
below PLAIN an end must be this sure (design choice: the search for sounds finds some in mere noise)."""
SPAN = 0.95
"""Share of the chance that a stated range holds."""
CERTAIN = 0.9
"""The middle of the chances is given where so much lies within 5 mmHg of it; else what is nearest to most of it."""
SOFT_DB = 20.0
"""A last sound this far below the loudest is too soft for some listeners: the loudest stand 24 dB over what can be
heard in the best arm and under it in the faintest (acoustics 1), and a file does not say how loud it was played."""
SOFTEST_MMHG = 14.0
"""The range is widened by no more for that."""
CUT_SHORT_S = 1.0
"""A sound that ends this long before the release does is told in a note."""
MUFFLED_DB = 6.0
"""Muffled sounds lie 10 to 15 dB below the loudest (acoustics 1); half of that parts them."""
DEEPEST_DB = 30.0
CLIPPED_SHARE = 0.002
BAD_ROOM = 0.2
ROOM_BEATS = 2
"""Silent beats that must be recorded beyond an end."""
LINE_MMHG = 1.2
"""What the cuff's line itself may be off by: coarse steps, bounce, and the moment of the sound."""


@dataclass(frozen=True)
class Beat:
    """One beat: when its sound falls [s], the cuff's line then [mmHg], dB over silence, chance that it sounds."""

    at_s: float
    mmhg: float
    excess_db: float
    sounding: float


@dataclass(frozen=True)
class Segment:
    """Release rate over one stretch of the cuff's fall."""

    from_mmhg: float
    to_mmhg: float
    rate_mmhg_per_s: float


@dataclass(frozen=True)
class Listened:
    """What the ear makes of one recording. `first_silence`: the other convention for diastolic, one beat lower."""

    systolic: Heard | Withheld
    diastolic: Heard | Withheld
    first_silence: Heard | Withheld
    pulse_per_min: float | None
    regular: bool | None
    release_mmhg_per_s: float | None
    segments: tuple[Segment, ...]
    gap_mmhg: tuple[float, float] | None
    phase_iv_mmhg: float | None
    beats: tuple[Beat, ...]
    notes: tuple[str, ...]


def withheld(reason: str, *notes: str) -> Listened:
    """Return a recording of which nothing can be said."""
    nothing = Withheld(reason)
    return Listened(nothing, nothing, nothing, None, None, None, (), None, None, (), notes)


def listen(samples: NDArray[np.floating], rate_hz: float, time_s: Floats, pressure_mmhg: Floats) -> Listened:
    """Return what was heard: `samples` (n,) in -1..1 at `rate_hz` [Hz], `pressure_mmhg` over `time_s` (m,)."""
    cuff = cuff_of(np.asarray(time_s, float), np.asarray(pressure_mmhg, float))
    if isinstance(cuff, str):
        return withheld(cuff)
    samples = np.asarray(samples, float)
    until = min(cuff.to_s, len(samples) / rate_hz)
    missing = cuff.to_s - until
    if until - cuff.from_s < 3:
        return withheld("the sound does not reach over the release of the cuff")
    if not np.isfinite(samples).all():
        return withheld("the sound holds values that are no numbers")
    if float(np.ptp(samples)) == 0.0:
        return withheld("nothing heard: the sound file is silent from start to end")
    start = max(0, int((cuff.from_s - FARTHEST_S) * rate_hz))
    stop = min(len(samples), int((until + FARTHEST_S) * rate_hz))
    part = samples[start:stop]
    bands = bands_of(part - part.mean(), rate_hz)
    bands = replace(bands, time_s=bands.time_s + start / rate_hz)
    shift = shift_of(bands, cuff)
    if shift is not None:
        cuff = _shifted(cuff, shift)
        until = min(cuff.to_s, len(samples) / rate_hz)
    beats = beat_times(bands, cuff)
    beats = beats[(beats > cuff.from_s + 0.1) & (beats < until - 0.2)]
    if len(beats) < FEWEST_BEATS:
        return withheld(f"too few beats: {len(beats)} in the release, {FEWEST_BEATS} are needed")
    found = matched(bands, beats)
    beats = found.at_s
    levels, like = levels_of(bands, found), likeness_of(bands, beats)
    silent, sound = likelihoods(levels.excess_db, levels.loudest_db, levels.noise_db, levels.knocks)
    ratio = alike(like.beats, like.pauses, levels.excess_db)
    decoded = decode(silent, sound, ratio, _step(cuff, beats), _pulse(beats)[1])
    answer = _answer(cuff, levels, decoded, _clipped(part), shift)
    if missing > CUT_SHORT_S:
        note = f"the sound ends {missing:.1f} s before the release does: what came after it was not heard"
        answer = replace(answer, notes=(*answer.notes, note))
    return answer


def _shifted(cuff: Cuff, shift: Shift) -> Cuff:
    """Return the cuff on the sound's clock."""

    def moved(time_s: Floats) -> Floats:
        return time_s + shift.seconds + shift.drift * (time_s - shift.from_s)

    ends = moved(np.array([cuff.from_s, cuff.to_s]))
    return replace(cuff, time_s=moved(cuff.time_s), from_s=float(ends[0]), to_s=float(ends[1]))


def _step(cuff: Cuff, beat_s: Floats) -> float:
    """Return how far the cuff falls from beat to beat [mmHg], the middle one of the release."""
    return max(float(-np.median(np.diff(cuff.at(beat_s)))), 0.2)


def _clipped(samples: NDArray[np.floating]) -> float:
    """Return the share of samples that stand at the very top or bottom for three in a row or more."""
    top = float(np.abs(samples).max())
    flat = np.abs(samples) >= 0.999 * top
    runs = flat[:-2] & flat[1:-1] & flat[2:]
    return float(runs.mean()) if len(samples) > 3 else 0.0


def _answer(cuff: Cuff, levels: Levels, found: Decoded, clipped: float, shift: Shift | None) -> Listened:
    mmhg = cuff.at(levels.at_s)
    step = cuff.rate(levels.at_s, 3.0) * _typical(levels.at_s)
    notes: list[str] = []
    whole = _whole_reason(cuff, levels, found, clipped)
    if whole:
        systolic: Heard | Withheld = Withheld(whole)
        diastolic: Heard | Withheld = Withheld(whole)
    else:
        sure = SURE if found.evidence >= PLAIN else SURE_BARELY
        systolic, diastolic = _systolic(mmhg, step, found, sure), _diastolic(mmhg, step, found, sure)
        if isinstance(diastolic, Withheld):
            systolic = _systolic(mmhg, step, found, SURE_ALONE)
        elif isinstance(systolic, Withheld):
            diastolic = _diastolic(mmhg, step, found, SURE_ALONE)
    if cuff.inflations > 1:
        notes.append(f"{cuff.inflations} inflations: the last one was read")
    if cuff.dropped:
        notes.append(f"{cuff.dropped} pressure samples were no pressure and were left out")
    if shift is not None:
        drift = f", drifting {100 * shift.drift:+.1f} %" if shift.drift else ""
        notes.append(
            f"the sound started {shift.seconds:+.2f} s from the pressure's clock{drift}: put right by the pulse"
        )
    if isinstance(diastolic, Heard):
        diastolic = _softened(diastolic, mmhg, levels)
    voiced = found.sounding > 0.5
    gap = _gap(mmhg, found)
    pulse, regular = _pulse(levels.at_s)
    heard_both = isinstance(systolic, Heard) and isinstance(diastolic, Heard)
    rate = cuff.rate(levels.at_s[voiced] if voiced.any() else levels.at_s)
    return Listened(
        systolic=systolic,
        diastolic=diastolic,
        first_silence=_one_lower(diastolic, mmhg),
        pulse_per_min=pulse,
        regular=regular,
        release_mmhg_per_s=float(np.mean(rate)),
        segments=_segments(cuff),
        gap_mmhg=gap if not whole else None,
        phase_iv_mmhg=_muffling(mmhg, levels, voiced) if heard_both else None,
        beats=tuple(
            Beat(*row)
            for row in zip(
                levels.at_s.tolist(), mmhg.tolist(), levels.excess_db.tolist(), found.sounding.tolist(), strict=True
            )
        ),
        notes=tuple(notes),
    )


def _typical(at_s: Floats) -> float:
    return float(np.median(np.diff(at_s)))


def _whole_reason(cuff: Cuff, levels: Levels, found: Decoded, clipped: float) -> str | None:
    """Return why neither end can be given, or None."""
    if cuff.reinflated_mmhg is not None:
        return f"re-inflated: the cuff was pumped up again at {cuff.reinflated_mmhg:.0f} mmHg inside the release"
    if clipped > CLIPPED_SHARE:
        return f"clipped: {100 * clipped:.1f} % of the sound stands at full scale"
    if cuff.holes_s:
        a, b = cuff.holes_s[0]
        return f"no usable cuff pressure: none from {a:.1f} to {b:.1f} s, inside the release"
    sounding = float(found.sounding.sum())
    room = float(np.median(levels.loudest_db))
    if found.any < SURE_ANY or sounding < 2:
        if room < 8:
            return "nothing stands out of the noise: drowned, or nothing to hear"
        return "nothing heard: no run of sounds in time with the pulse"
    if found.evidence < LEAST:
        return "drowned: what may be sounds hardly stands out of what else is heard"
    if sounding < FEWEST_BEATS:
        return f"too few beats: {sounding:.0f} sounding, {FEWEST_BEATS} are needed"
    if room < 6:
        return f"drowned: the loudest sounds stand only {room:.0f} dB above the noise"
    return None


def _systolic(mmhg: Floats, step: Floats, found: Decoded, sure: float) -> Heard | Withheld:
    if found.first[:ROOM_BEATS].sum() > BAD_ROOM:
        return Withheld("inflated too low: sounds were there from the top of the release")
    return _end(mmhg, step, _first_of_two(found), sure, "start")


def _first_of_two(found: Decoded) -> Floats:
    """Return the chances (n,) of the first of at least two consecutive audible beats; a lone one does not count."""
    loud = found.loud
    count = len(loud)
    start = np.zeros(count)
    lone = quiet = 0.0  # sounds have begun, no two in a row yet: the beat before was heard, or not
    for now in range(count):
        begun, loose = lone, quiet
        lone = (found.first[now] + loose) * loud[now]
        quiet = (found.first[now] + loose + begun) * (1 - loud[now])
        if now:
            start[now - 1] = begun * loud[now]
    start[-1] += lone
    return start


def _last_heard(found: Decoded) -> Floats:
    """Return the chances (n,) of the last beat that is heard: holes at the end do not count."""
    last = found.last.copy()
    for now in range(len(last) - 1, 0, -1):
        passed = last[now] * (1 - found.loud[now])
        last[now] -= passed
        last[now - 1] += passed
    return last


def _diastolic(mmhg: Floats, step: Floats, found: Decoded, sure: float) -> Heard | Withheld:
    if found.last[-ROOM_BEATS:].sum() > BAD_ROOM:
        return Withheld("stopped too early: sounds went on to the end of the release")
    return _end(mmhg, step, _last_heard(found), sure, "stop")


def _end(mmhg: Floats, step: Floats, chance: Floats, sure: float, what: str) -> Heard | Withheld:
    """Return an end from the chances (n,) that it lies at each beat."""
    share = chance / chance.sum()
    run = np.cumsum(share)
    best = min(int(np.searchsorted(run, 0.5)), len(mmhg) - 1)
    early, late = _shortest(run)
    away = np.abs(mmhg - mmhg[best]) >= RIVAL_MMHG
    if share[away].sum() > RIVAL_SHARE:
        other = int(np.argmax(np.where(away, share, 0)))
        return Withheld(f"two rival {what}s: {mmhg[best]:.0f} and {mmhg[other]:.0f} mmHg are both possible")
    if round(float(step[best]), 1) > FASTEST_MMHG_PER_BEAT:
        return Withheld(f"released too fast: {step[best]:.1f} mmHg a beat at the {what}, at most 4 can be read")
    value, surety = _safest(mmhg, share, float(mmhg[best]))
    low, high = sorted((float(mmhg[late]), float(mmhg[early])))
    if surety < sure or high - low > WIDEST_MMHG:
        return Withheld(f"drowned: the {what} of the sounds lies somewhere from {low:.0f} to {high:.0f} mmHg")
    return Heard(value, min(low, value) - LINE_MMHG, max(high, value) + LINE_MMHG)


def _softened(diastolic: Heard, mmhg: Floats, levels: Levels) -> Heard:
    """Return the last sound with a range up to where sounds were loud enough for any listener.

    Where that lies more than 5 mmHg higher, the answer moves up until it is within 5 of both.
    """
    soft = levels.loudest_db - levels.excess_db > SOFT_DB
    last = int(np.argmin(np.abs(mmhg - diastolic.mmhg)))
    loud = np.flatnonzero(~soft[: last + 1])
    if not len(loud):
        return diastolic
    high = min(float(mmhg[loud[-1]]), diastolic.mmhg + SOFTEST_MMHG)
    value = float(np.clip(high - NEAR_MMHG + LINE_MMHG, diastolic.mmhg, diastolic.mmhg + NEAR_MMHG - LINE_MMHG))
    return Heard(value, diastolic.low_mmhg, max(diastolic.high_mmhg, high + LINE_MMHG))


def _safest(mmhg: Floats, share: Floats, middle: float) -> tuple[float, float]:
    """Return the pressure nearest the middle within 5 mmHg of which most of the chance lies, and how much of it."""
    values = middle + np.arange(-4, 4.5, 0.5)
    within = (np.abs(mmhg[None, :] - values[:, None]) <= NEAR_MMHG - 0.2) @ share
    good = np.flatnonzero(within >= min(within.max() - 0.02, CERTAIN))
    best = good[np.argmin(np.abs(values[good] - middle))]
    return float(values[best]), float(within[best])


def _shortest(run: Floats) -> tuple[int, int]:
    """Return the first and last beat of the shortest stretch that holds SPAN of the chance that runs up."""
    before = np.concatenate(([0.0], run[:-1]))
    late = np.minimum(np.searchsorted(run, before + SPAN), len(run) - 1)
    early = int(np.argmin(np.where(run[late] - before >= SPAN - 1e-9, late - np.arange(len(run)), len(run))))
    return early, int(late[early])


def _one_lower(diastolic: Heard | Withheld, mmhg: Floats) -> Heard | Withheld:
    if isinstance(diastolic, Withheld):
        return diastolic
    below = mmhg[mmhg < diastolic.mmhg]
    lower = diastolic.mmhg - (float(below.max()) if len(below) else diastolic.mmhg)
    return Heard(diastolic.mmhg - lower, diastolic.low_mmhg - lower, diastolic.high_mmhg - lower)


def _gap(mmhg: Floats, found: Decoded) -> tuple[float, float] | None:
    inside = np.flatnonzero(found.gap > 0.8)
    if len(inside) < 3 or inside[0] == 0 or inside[-1] + 1 >= len(mmhg):
        return None
    return float(mmhg[inside[-1] + 1]), float(mmhg[inside[0] - 1])


def _muffling(mmhg: Floats, levels: Levels, voiced: NDArray[np.bool_]) -> float | None:
    """Return where sounds in the lower half of the range fall off and stay low, None where they do not.

    The cut that parts the levels best (difference times the root of n m / (n + m)), at least MUFFLED_DB apart.
    """
    place = np.flatnonzero(voiced)
    depth = np.minimum(levels.loudest_db - levels.excess_db, DEEPEST_DB)[place]
    count = len(place)
    cuts = range(max(count // 2, 3), count - 1)
    parted = [
        (float(np.median(depth[cut:]) - np.median(depth[:cut])) * np.sqrt(cut * (count - cut) / count), cut)
        for cut in cuts
        if np.median(depth[cut:]) - np.median(depth[:cut]) >= MUFFLED_DB
    ]
    return float(mmhg[place[max(parted)[1]]]) if parted else None


def _pulse(at_s: Floats) -> tuple[float, bool]:
    steps = np.diff(at_s)
    typical = float(np.median(steps))
    near = steps[np.abs(steps - typical) <= 0.3 * typical]
    return 60 / float(near.mean()), bool(1.4826 * np.median(np.abs(steps - typical)) < 0.1 * typical)


def _segments(cuff: Cuff) -> tuple[Segment, ...]:
    """Return the release rate over every 20 mmHg."""
    inside = (cuff.time_s >= cuff.from_s) & (cuff.time_s <= cuff.to_s)
    time, line = cuff.time_s[inside], np.minimum.accumulate(cuff.line_mmhg[inside])
    edges = np.arange(np.floor(line[0] / 20) * 20, line[-1], -20.0)
    marks = [line[0], *edges[edges < line[0]], line[-1]]
    found = []
    for high, low in itertools.pairwise(marks):
        if high - low < 5:
            continue
        a, b = (float(np.interp(-one, -line, time)) for one in (high, low))
        if b > a:
            found.append(Segment(float(high), float(low), float((high - low) / (b - a))))
    return tuple(found)
