"""From what a checked gauge showed back to the pressure there was: a monotone curve with its interval."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from hushpoint.instrument.check import Direction, GaugeCheck, InstrumentError, run_of
from hushpoint.measure.verdict import Withheld

USE = "for use in calculation only, never to hide a failed gauge: a gauge outside its limits is taken out of use"


@dataclass(frozen=True, slots=True)
class Corrected:
    """A reading as it would have stood on a gauge without error, with its interval (coverage factor 2) [mmHg]."""

    mmhg: float
    low_mmhg: float
    high_mmhg: float


@dataclass(frozen=True, slots=True, eq=False)
class CorrectionCurve:
    """Knots of a curve that never falls: readings, pressures, and half hysteresis at each [mmHg], all of shape (n,)."""

    reading_mmhg: np.ndarray
    pressure_mmhg: np.ndarray
    half_hysteresis_mmhg: np.ndarray
    reference_error_mmhg: float
    reading_interval_mmhg: float

    def correct(self, reading_mmhg: float) -> Corrected | Withheld:
        """Return the pressure behind a reading [mmHg], or why not: nothing is guessed beyond what was checked.

        The interval adds, as evenly spread and independent: the reference's certificate error, the reading interval
        twice (in the check and in use), half the hysteresis (a smaller rise and fall stays inside the full loop), and
        between two points up to half of what the error changes there (CHOICE). Straight lines between points. Raises
        InstrumentError where the reading is no number.
        """
        if not math.isfinite(reading_mmhg):
            raise InstrumentError(f"reading {reading_mmhg}; a finite number of mmHg is needed")
        readings, pressures = self.reading_mmhg, self.pressure_mmhg
        if not readings[0] <= reading_mmhg <= readings[-1]:
            return Withheld(f"{reading_mmhg:g} lies outside what was checked, {readings[0]:g} to {readings[-1]:g} mmHg")
        mmhg = float(np.interp(reading_mmhg, readings, pressures))
        after = int(np.clip(np.searchsorted(readings, reading_mmhg, side="right"), 1, len(readings) - 1))
        part = (reading_mmhg - readings[after - 1]) / (readings[after] - readings[after - 1])
        errors = readings - pressures
        bend = 2 * part * (1 - part) * abs(errors[after] - errors[after - 1])
        hysteresis = float(np.interp(reading_mmhg, readings, self.half_hysteresis_mmhg))
        halves = (self.reference_error_mmhg, hysteresis, bend, *(2 * [self.reading_interval_mmhg / 2]))
        half = 2 * math.sqrt(sum(each**2 for each in halves) / 3)
        return Corrected(mmhg, mmhg - half, mmhg + half)


def correction_curve(check: GaugeCheck) -> CorrectionCurve:
    """Return the curve of a check: the middle of rising and falling where both were read, never falling.

    Where the gauge sticks or turns back, neighbouring pressures are pooled (isotonic regression of pressure on
    reading). Raises InstrumentError where the gauge showed one and the same reading throughout.
    """
    from scipy.optimize import isotonic_regression

    (up_at, up), (down_at, down) = run_of(check.errors, Direction.UP), run_of(check.errors, Direction.DOWN)
    if up.size and down.size:
        # Beyond what both directions cover, the one that was read speaks alone.
        at = np.unique(np.concatenate([up_at, down_at]))
        rising = np.interp(at, up_at, up, left=np.nan, right=np.nan)
        falling = np.interp(at, down_at, down, left=np.nan, right=np.nan)
        one = np.where(np.isnan(rising), falling, rising)
        other = np.where(np.isnan(falling), rising, falling)
        error, half = (one + other) / 2, np.abs(one - other) / 2
    else:
        at, error = (up_at, up) if up.size else (down_at, down)
        half = np.zeros_like(at)
    readings, group = np.unique(np.round(at + error, 6), return_inverse=True)
    if len(readings) < 2:
        raise InstrumentError(
            f"the gauge showed {readings[0]:g} throughout; no correction can be drawn, 2 readings are needed"
        )
    count = np.bincount(group)
    pressures = np.bincount(group, at) / count
    # A reading that stood for several pressures is no surer than their spread.
    spread = np.array([np.ptp(at[group == number]) / 2 for number in range(len(readings))])
    pooled = isotonic_regression(pressures, weights=count).x
    widths = np.maximum(np.bincount(group, half) / count, spread) + np.abs(pooled - pressures)
    return CorrectionCurve(readings, pooled, widths, check.reference_error_mmhg, check.reading_interval_mmhg)
