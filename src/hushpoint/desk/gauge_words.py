"""A gauge check in words and rows, for command, page and certificate alike."""

from __future__ import annotations

from hushpoint.instrument import Corrected, CorrectionCurve, GaugeCheck
from hushpoint.measure.verdict import Withheld


def check_notes(check: GaugeCheck) -> list[str]:
    """Return what to know of a check beside its verdict: what was left unread, what looks odd."""
    notes = list(check.unread)
    if check.zero is None:
        notes.append("zero was not read")
    if check.hysteresis is not None and check.hysteresis.falling_minus_rising_mmhg < -check.reading_interval_mmhg:
        notes.append(
            "falling reads below rising, which an aneroid does not do of itself: look for a leak and read again"
        )
    return notes


def correction_rows(curve: CorrectionCurve | Withheld | None) -> list[tuple[float, Corrected]]:
    """Return what the gauge showed at the points of a check and the pressure behind it; empty where none is drawn."""
    if curve is None or isinstance(curve, Withheld):
        return []
    found = [(float(reading), curve.correct(float(reading))) for reading in curve.reading_mmhg]
    return [(reading, to) for reading, to in found if isinstance(to, Corrected)]


def signed_decimal(value_mmhg: float) -> str:
    """Return an error to one decimal with its sign and a true minus."""
    return minus(f"{value_mmhg:+.1f}") if round(value_mmhg, 1) else "0.0"


def one_decimal(value_mmhg: float) -> str:
    """Return a pressure to one decimal with a true minus."""
    return minus(f"{value_mmhg + 0.0:.1f}")


def minus(number: str) -> str:
    """Return a number with a true minus."""
    return number.replace("-", "\N{MINUS SIGN}")
