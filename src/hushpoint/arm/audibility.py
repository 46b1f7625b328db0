"""The audibility rule and the truth of a release (docs/bench-format.md); the page runs the same rule."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm.beats import BeatTable
from hushpoint.measure import Heard, Withheld

Floats = NDArray[np.float64]
Phase = Literal["I", "II", "III", "IV"]

GAP_DB = 60.0
"""Taken off inside a silent gap: no arm is loud enough to be heard through it (facts: below -30 dB; FROM MEMORY)."""
EMPTY_MMHG = 10.0
"""An inflation is a stretch with the cuff above this pressure."""
TO_ZERO_LOWEST_MMHG = 2.0
"""Sounds that go on to zero end here."""
RISING_OVER_S = 0.3
RISING_MMHG = 0.5

PUMPED_TOO_LOW = "sounds were already there at the top of the release: pumped too low"
NOTHING_HEARD = "no two sounds in a row could be heard in this release"
NO_RELEASE = "there was no release to listen to"


@dataclass(frozen=True, slots=True)
class BeatHeard:
    """One beat at the ear: when its sound falls [s], cuff pressure then [mmHg], place in the range, level [dB]."""

    index: int
    at_s: float
    mmhg: float
    place: float
    level_db: float
    audible: bool
    phase: Phase


@dataclass(frozen=True, slots=True)
class Truth:
    """What could be heard in one release.

    `muffling_mmhg`: cuff pressure at the first beat of the last muffled stretch; None where nothing muffled was heard.
    `gap_mmhg`: cuff pressures (low, high) at the beats on either side of a silent gap that was passed through.
    `beats`: the beats of the release, audible or not. `release_from_s`: when it began.
    """

    systolic: Heard | Withheld
    diastolic: Heard | Withheld
    muffling_mmhg: float | None
    gap_mmhg: tuple[float, float] | None
    beats: tuple[BeatHeard, ...]
    release_from_s: float


def audible_beats(
    table: BeatTable, time_s: Sequence[float] | Floats, pressure_mmhg: Sequence[float] | Floats
) -> tuple[BeatHeard, ...]:
    """Return every beat whose foot falls within the log, judged by the rule.

    `time_s`, `pressure_mmhg`: one length, time rising; the cuff's line without bounce, straight between samples.
    """
    time, pressure = np.asarray(time_s, float), np.asarray(pressure_mmhg, float)
    count = int(np.searchsorted(table.foot_s, time[-1], side="right"))
    foot, systolic, diastolic = (
        table.foot_s[:count],
        table.systolic_mmhg[:count],
        table.diastolic_mmhg[:count],
    )
    pulse = systolic - diastolic
    at_foot = np.interp(foot, time, pressure, right=0.0)
    at_s = foot + opening_delay_s((at_foot - diastolic) / pulse, table)
    mmhg = np.interp(at_s, time, pressure, right=0.0)
    place = (mmhg - diastolic) / pulse
    level = table.level_db[:count] + np.interp(place, table.profile_place, table.profile_db)
    if table.gap_place is not None:
        low, high = table.gap_place
        level = level - GAP_DB * ((place >= low) & (place <= high))
    in_range = (place >= 0) & (place <= 1)
    if table.to_zero:
        in_range |= (place < 0) & (mmhg > TO_ZERO_LOWEST_MMHG)
    audible = in_range & (level > table.hear_db)
    phases = np.searchsorted(table.phase_edges, place, side="right")
    names: tuple[Phase, ...] = ("IV", "III", "II", "I")
    columns = zip(at_s.tolist(), mmhg.tolist(), place.tolist(), level.tolist(), audible.tolist(), phases, strict=True)
    return tuple(
        BeatHeard(index, moment, cuff, where, loud, heard, names[phase])
        for index, (moment, cuff, where, loud, heard, phase) in enumerate(columns)
    )


def opening_delay_s(place: Floats, table: BeatTable) -> Floats:
    """Return how long after the foot the sound comes [s], by place at the foot (facts 1; DERIVED).

    The upstroke is half a cosine: the artery opens when it passes the cuff, so the sound is LATEST at systolic.
    """
    held = np.clip(place, 0.0, 1.0)
    delay: Floats = table.upstroke_s / math.pi * np.arccos(1 - 2 * held) + table.delay_s
    return delay


def release_start(time_s: Floats, pressure_mmhg: Floats) -> int | None:
    """Return the sample at which the last inflation's release began; None where the cuff was never pumped up."""
    above = np.flatnonzero(pressure_mmhg > EMPTY_MMHG)
    if not len(above):
        return None
    last = int(above[-1])
    below = np.flatnonzero(pressure_mmhg[: last + 1] <= EMPTY_MMHG)
    first = int(below[-1]) + 1 if len(below) else 0
    part = pressure_mmhg[first : last + 1]
    return first + len(part) - 1 - int(np.argmax(part[::-1]))


def truth_of(table: BeatTable, time_s: Sequence[float] | Floats, pressure_mmhg: Sequence[float] | Floats) -> Truth:
    """Return what could be heard in the release of the last inflation of a log.

    The true crossing lies between the last inaudible beat and the first audible one, and likewise at the other end:
    that is the range of each Heard.
    """
    time, pressure = np.asarray(time_s, float), np.asarray(pressure_mmhg, float)
    start = release_start(time, pressure)
    if start is None:
        nothing = Withheld(NO_RELEASE)
        return Truth(nothing, nothing, None, None, (), float(time[-1]))
    from_s = float(time[start])
    beats = tuple(
        beat
        for beat in audible_beats(table, time, pressure)
        if beat.at_s > from_s and _not_rising(beat, time, pressure)
    )
    pairs = [
        place
        for place, (this, after) in enumerate(itertools.pairwise(beats))
        if this.audible and after.audible and after.index == this.index + 1
    ]
    if not pairs:
        nothing = Withheld(NOTHING_HEARD)
        return Truth(nothing, nothing, None, None, beats, from_s)
    first, last = pairs[0], max(place for place, beat in enumerate(beats) if beat.audible)
    systolic: Heard | Withheld = Withheld(PUMPED_TOO_LOW)
    if not beats[0].audible:
        mmhg = beats[first].mmhg
        systolic = Heard(mmhg, mmhg, max(mmhg, beats[first - 1].mmhg))
    mmhg = beats[last].mmhg
    below = beats[last + 1].mmhg if last + 1 < len(beats) else 0.0
    diastolic = Heard(mmhg, min(mmhg, below), mmhg)
    heard = [beat for beat in beats[first : last + 1] if beat.audible]
    return Truth(systolic, diastolic, _muffling(heard), _gap(table, beats[first : last + 1]), beats, from_s)


def slow_truth(table: BeatTable, at_s: float) -> tuple[float | None, float | None]:
    """Return systolic and diastolic [mmHg] of the same arm in an infinitely slow release at `at_s`.

    Natural swings are averaged out: the ends of the places where profile and loudness stand above what can be heard.
    Hand loss is truth minus this. None where nothing can be heard.
    """
    place = np.unique(np.concatenate((np.linspace(0, 1, 4001), table.profile_place)))
    level = table.base_level_db + np.interp(place, table.profile_place, table.profile_db)
    if table.gap_place is not None:
        low, high = table.gap_place
        level = level - GAP_DB * ((place >= low) & (place <= high))
    heard = place[level > table.hear_db]
    if not len(heard):
        return None, None
    fade = math.exp(-at_s / table.settling_tau_s)
    systolic = table.base_systolic_mmhg + table.settling_systolic_mmhg * fade
    diastolic = table.base_diastolic_mmhg + table.settling_diastolic_mmhg * fade
    lowest = diastolic + float(heard[0]) * (systolic - diastolic)
    if table.to_zero and heard[0] == 0:
        lowest = min(lowest, TO_ZERO_LOWEST_MMHG)
    return diastolic + float(heard[-1]) * (systolic - diastolic), lowest


def _not_rising(beat: BeatHeard, time: Floats, pressure: Floats) -> bool:
    before = float(np.interp(beat.at_s - RISING_OVER_S, time, pressure, right=0.0))
    return beat.mmhg <= before + RISING_MMHG


def _muffling(heard: Sequence[BeatHeard]) -> float | None:
    clear = [place for place, beat in enumerate(heard) if beat.phase != "IV"]
    muffled = heard[clear[-1] + 1 :] if clear else heard
    return muffled[0].mmhg if muffled else None


def _gap(table: BeatTable, beats: Sequence[BeatHeard]) -> tuple[float, float] | None:
    if table.gap_place is None:
        return None
    low, high = table.gap_place
    inside = [place for place, beat in enumerate(beats) if low <= beat.place <= high and not beat.audible]
    if not inside or inside[0] == 0:
        return None
    return beats[inside[-1] + 1].mmhg, beats[inside[0] - 1].mmhg
