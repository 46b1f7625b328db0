"""Gauges and cuffs as instruments: the check beside a reference, correction, drift, leak, exhaust and valve."""

from hushpoint.instrument.by_hand import check_by_hand, correction_by_hand, drift_by_hand, timed_by_hand
from hushpoint.instrument.check import (
    Direction,
    Failed,
    GaugeCheck,
    GaugePoint,
    Hysteresis,
    InstrumentError,
    Passed,
    PointError,
    check_gauge,
    refuse_disorder,
)
from hushpoint.instrument.correction import USE, Corrected, CorrectionCurve, correction_curve
from hushpoint.instrument.drift import Drift, DriftCorrection, Moved, Reach, reach
from hushpoint.instrument.timed import Exhaust, Fall, TimedReading, leak, rapid_exhaust, valve

__all__ = [
    "USE",
    "Corrected",
    "CorrectionCurve",
    "Direction",
    "Drift",
    "DriftCorrection",
    "Exhaust",
    "Failed",
    "Fall",
    "GaugeCheck",
    "GaugePoint",
    "Hysteresis",
    "InstrumentError",
    "Moved",
    "Passed",
    "PointError",
    "Reach",
    "TimedReading",
    "check_by_hand",
    "check_gauge",
    "correction_by_hand",
    "correction_curve",
    "drift_by_hand",
    "leak",
    "rapid_exhaust",
    "reach",
    "refuse_disorder",
    "timed_by_hand",
    "valve",
]
