"""The cuff's part of a recording: its falling line without the pulse, and where inflation, release and dump lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEP_S = 0.02
"""The cuff is looked at 50 times a second: its pulse holds nothing above 10 Hz (design choice)."""
PUMPED_MMHG = 20.0
"""An inflation is a stretch with the cuff above this."""
LOWEST_PEAK_MMHG = 50.0
SPIKE_MMHG = 15.0
"""A lone sample this far from the middle of its neighbours is no pressure."""
GAP_S = 1.5
"""A straight line is drawn through missing pressure up to this long; a longer hole is stated."""
BEAT_WINDOW_S = 1.4
"""The line is drawn along the feet of the pulse over about this long: one beat or two."""
FEET_PERCENT = 12.0
DUMP_MMHG_PER_S = 9.0
DUMP_TIMES = 2.2
"""The end of the release: steeper than this, and than so many times the release's own middle rate, down to an empty
cuff (a valve opened fully has a time constant of some seconds; acoustics 6, row 18)."""
REINFLATED_MMHG = 8.0
"""A rise this large inside the release is a second pumping, not a pulse (bounce: 1 to 4 mmHg; acoustics 6, row 13)."""


@dataclass(frozen=True)
class Cuff:
    """Cuff pressure on even times: `time_s` (n,), `line_mmhg` without the pulse, `pulse_mmhg` what rides on it.

    The release runs from `from_s` to `to_s`. `holes_s`: stretches without pressure. `reinflated_mmhg`: where pumping
    began again inside the release, None where it did not.
    """

    time_s: Floats
    line_mmhg: Floats
    pulse_mmhg: Floats
    from_s: float
    to_s: float
    peak_mmhg: float
    inflations: int
    holes_s: tuple[tuple[float, float], ...]
    reinflated_mmhg: float | None
    dropped: int

    def at(self, time_s: Floats) -> Floats:
        """Return the line [mmHg] at these times [s]."""
        value: Floats = np.interp(time_s, self.time_s, self.line_mmhg)
        return value

    def rate(self, time_s: Floats, over_s: float = 2.0) -> Floats:
        """Return how fast the line falls there [mmHg/s], over `over_s`."""
        return (self.at(time_s - over_s / 2) - self.at(time_s + over_s / 2)) / over_s


def cuff_of(time_s: Floats, pressure_mmhg: Floats) -> Cuff | str:
    """Return the cuff's part, or why there is none, in plain words.

    `time_s`, `pressure_mmhg`: one length, time rising; NaN where nothing was measured.
    """
    good = np.isfinite(time_s) & np.isfinite(pressure_mmhg)
    time, pressure = time_s[good], pressure_mmhg[good]
    if len(time) < 10 or time[-1] - time[0] < 5:
        return "no usable cuff pressure: fewer than 10 samples or 5 seconds of it"
    spikes = _spikes(pressure)
    time, pressure = time[~spikes], pressure[~spikes]
    steps = np.diff(time)
    if float(np.median(steps)) > 0.5:
        return "no usable cuff pressure: fewer than two samples a second"
    holes = tuple((float(time[i]), float(time[i + 1])) for i in np.flatnonzero(steps > GAP_S))
    even = np.arange(time[0], time[-1], STEP_S)
    raw = np.interp(even, time, pressure)
    pumped = _stretches(raw > PUMPED_MMHG)
    pumped = [(a, b) for a, b in pumped if raw[a:b].max() >= LOWEST_PEAK_MMHG]
    if not pumped:
        return f"no usable cuff pressure: it never rose above {LOWEST_PEAK_MMHG:g} mmHg"
    first, last = pumped[-1]
    line = _line(raw)
    calm = _smooth(raw, 0.4)
    top = first + int(np.flatnonzero(calm[first:last] >= calm[first:last].max() - 1.0)[-1])
    end = _dump(calm, top, last)
    if end - top < 3 / STEP_S:
        return "no usable cuff pressure: there was no slow release to listen to"
    inside = line[top:end]
    rise = inside - np.minimum.accumulate(inside)
    again = float(inside[int(np.argmax(rise > REINFLATED_MMHG))]) if rise.max() > REINFLATED_MMHG else None
    return Cuff(
        time_s=even,
        line_mmhg=line,
        pulse_mmhg=raw - line,
        from_s=float(even[top]),
        to_s=float(even[end - 1]),
        peak_mmhg=float(calm[first:last].max()),
        inflations=len(pumped),
        holes_s=tuple(hole for hole in holes if hole[1] > even[top] and hole[0] < even[end - 1]),
        reinflated_mmhg=again,
        dropped=int(spikes.sum() + (~good).sum()),
    )


def _spikes(pressure: Floats) -> NDArray[np.bool_]:
    from scipy.ndimage import median_filter

    found: NDArray[np.bool_] = np.abs(pressure - median_filter(pressure, 5, mode="nearest")) > SPIKE_MMHG
    return found


def _smooth(values: Floats, over_s: float) -> Floats:
    half = max(1, round(over_s / STEP_S / 2))
    window = np.hanning(2 * half + 3)[1:-1]
    padded = np.concatenate((2 * values[0] - values[half:0:-1], values, 2 * values[-1] - values[-2 : -half - 2 : -1]))
    smooth: Floats = np.convolve(padded, window / window.sum(), mode="valid")
    return smooth


def _line(raw: Floats) -> Floats:
    """Return the pressure without the pulse: the low edge of what is left when the slow fall is taken away."""
    from scipy.ndimage import percentile_filter

    slow = _smooth(raw, 2 * BEAT_WINDOW_S)
    thin = (raw - slow)[::2]
    feet = percentile_filter(thin, FEET_PERCENT, size=round(BEAT_WINDOW_S / STEP_S / 2), mode="nearest")
    low = np.repeat(feet, 2)[: len(raw)]
    return slow + _smooth(low, BEAT_WINDOW_S)


def _stretches(yes: NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], yes, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _dump(calm: Floats, top: int, last: int) -> int:
    """Return the sample at which the slow release ends: the valve is opened, the cuff empty, or the recording over."""
    if last - top < 3:
        return last
    falling = -np.gradient(calm, STEP_S)
    middle = float(np.median(falling[top:last]))
    steep = max(DUMP_MMHG_PER_S, DUMP_TIMES * middle)
    if calm[last - 1] > PUMPED_MMHG + 5:
        return last
    end = last
    look = round(0.4 / STEP_S)
    while end - look > top and float(falling[end - look : end].max()) > steep * (1 if end == last else 0.8):
        end -= look
    return end
