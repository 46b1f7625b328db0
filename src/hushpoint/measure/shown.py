"""How pressures are shown, so that every page and line says one number.

A judged pressure is stated to one decimal; everything shown is worked out from the stated number, never from the one
behind it: rounding twice by different roads would show two numbers.
"""

from __future__ import annotations

import math

KPA_PER_MMHG = 0.133322387415
"""The conventional millimetre of mercury, 133.322387415 Pa (ISO 80000-4; BIPM, SI Brochure, 8th ed., table 8)."""


def stated(mmhg: float) -> float:
    """Return a judged pressure to one decimal [mmHg]."""
    return round(float(mmhg), 1)


def whole_mmhg(value_mmhg: float) -> int:
    """Return a pressure or an error to the nearest whole mmHg, half away from zero."""
    return int(math.copysign(math.floor(abs(value_mmhg) + 0.5), value_mmhg))


def decimal_words(value: float, places: int = 1, *, sign: bool = False) -> str:
    """Return a number with `places` decimals and a true minus, with `sign` also a plus; 0 has neither."""
    text = f"{value:{'+' if sign else ''}.{places}f}"
    return text.replace("-", "\N{MINUS SIGN}") if text.strip("+-0.") else text.lstrip("+-")


def truth_words(mmhg: float) -> str:
    """Return a truth as shown: whole mmHg, but with its decimal where that is 5.

    120.5 shown as 121 beside 124 written would ask for an error of 3, while 3.5 is shown as 4.
    """
    told = stated(mmhg)
    return f"{told:.1f}" if round(told * 10) % 10 == 5 else str(whole_mmhg(told))


def kilopascals(mmhg: float) -> float:
    """Return a pressure to 0.1 kPa [kPa], about one mmHg (0.13 kPa), beside which it is shown and never alone."""
    return round(mmhg * KPA_PER_MMHG, 1)


SMALLEST_CHANCE = 1e-300
"""What a smaller chance is given as: numbers that computers add up end near 1e-308."""


def stated_chance(p: float) -> float:
    """Return a chance (0 to 1) to six significant digits, never 0: what is smaller is given as `SMALLEST_CHANCE`."""
    return max(SMALLEST_CHANCE, float(f"{p:.6g}"))
