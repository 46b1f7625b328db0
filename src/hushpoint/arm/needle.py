"""The needle: the pulse's bounce on the falling line, and the pointer's lag."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm.beats import BeatTable

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Needle:
    """Artery a, b [1/mmHg] and volume at rest [mL] (Babbs 2012, public code), air in cuff and tubes [mL],
    pointer lag.

    `above`: above systolic the pulse still knocks on the cuff's upper edge: this share of the largest bounce,
    fading over so many mmHg (DERIVED; real needles jump about 15 mmHg before the sounds: Trigg 2019).
    """

    lag_s: float = 0.06
    artery: tuple[float, float, float] = (0.11, 0.0453, 0.3)
    cuff_ml: float = 300.0
    ambient_mmhg: float = 760.0
    above: tuple[float, float] = (0.4, 40.0)


STANDARD_NEEDLE = Needle()
RUN_OFF_S = 0.45
"""Time constant of the pulse's decay after its peak (design choice)."""


def artery_ml(transmural_mmhg: Floats, needle: Needle = STANDARD_NEEDLE) -> Floats:
    """Return the volume of the artery under the cuff [mL] at a transmural pressure (Babbs 2012's form)."""
    a, b, rest = needle.artery
    collapsed = np.exp(a * np.minimum(transmural_mmhg, 0.0))
    stretched = 1 + (a / b) * (1 - np.exp(-b * np.maximum(transmural_mmhg, 0.0)))
    volume: Floats = rest * np.where(transmural_mmhg < 0, collapsed, stretched)
    return volume


def bounce_mmhg(
    cuff_mmhg: Floats | float,
    systolic_mmhg: Floats | float,
    diastolic_mmhg: Floats | float,
    needle: Needle = STANDARD_NEEDLE,
) -> Floats:
    """Return the bounce peak to peak [mmHg] of a beat at a cuff pressure: volume change over the cuff's own
    give."""
    cuff = np.asarray(cuff_mmhg, float)
    systolic, diastolic = np.asarray(systolic_mmhg, float), np.asarray(diastolic_mmhg, float)

    def own(at: Floats) -> Floats:
        change = artery_ml(systolic - at, needle) - artery_ml(diastolic - at, needle)
        return change / (needle.cuff_ml / (needle.ambient_mmhg + at))

    share, fade = needle.above
    places = np.linspace(0, 1, 41).reshape(-1, *([1] * systolic.ndim))
    peak = own(diastolic + places * (systolic - diastolic)).max(axis=0)
    above = share * np.exp(-np.maximum(cuff - systolic, 0.0) / fade) * peak
    bounced: Floats = np.where(cuff > systolic, np.maximum(own(cuff), above), own(cuff))
    return bounced


def pulse_shape(since_foot_s: Floats, upstroke_s: float) -> Floats:
    """Return the pulse wave from 0 at the foot to 1 at its peak: half a cosine up, then a smooth decay."""
    up = 0.5 - 0.5 * np.cos(math.pi * np.clip(since_foot_s / upstroke_s, 0, 1))
    down = np.exp(-(np.maximum(since_foot_s - upstroke_s, 0.0) ** 1.5) / RUN_OFF_S)
    shape: Floats = np.where(since_foot_s < 0, 0.0, up * down)
    return shape


def lifted_mmhg(table: BeatTable, time_s: Floats, pressure_mmhg: Floats, needle: Needle = STANDARD_NEEDLE) -> Floats:
    """Return the pressure in the cuff with each beat's bounce on the falling line [mmHg], one value per
    sample."""
    time, line = np.asarray(time_s, float), np.asarray(pressure_mmhg, float)
    count = max(int(np.searchsorted(table.foot_s, time[-1], side="right")), 1)
    foot = table.foot_s[:count]
    beat = np.maximum(np.searchsorted(foot, time, side="right") - 1, 0)
    at_beats = bounce_mmhg(
        np.interp(foot, time, line), table.systolic_mmhg[:count], table.diastolic_mmhg[:count], needle
    )
    lift = at_beats[beat] * pulse_shape(time - foot[beat], table.upstroke_s)
    lifted: Floats = line + np.where(line > 0, lift, 0.0)
    return lifted


def needle_mmhg(table: BeatTable, time_s: Floats, pressure_mmhg: Floats, needle: Needle = STANDARD_NEEDLE) -> Floats:
    """Return where the pointer stands [mmHg] at evenly spaced `time_s` over the falling line `pressure_mmhg`.

    Each beat lifts the line by its bounce; the pointer follows with `lag_s`. The bounce is never the reading.
    """
    target = lifted_mmhg(table, time_s, pressure_mmhg, needle)
    follow = 1 - math.exp(-float(time_s[1] - time_s[0]) / needle.lag_s)
    pointer, stands = [], float(target[0])
    for mmhg in target.tolist():
        stands += (mmhg - stands) * follow
        pointer.append(stands)
    return np.array(pointer)
