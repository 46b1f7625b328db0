"""How numbers were written: odd digits, zeros, copied pairs. Told with counts, never as a reproach."""

from __future__ import annotations

from math import comb
from typing import TYPE_CHECKING

from hushpoint.measure import Reading, Written

if TYPE_CHECKING:
    from collections.abc import Sequence

FEWEST_READINGS = 12
"""Below this many even readings no habit is spoken of (smallest n in the facts' table of limits; design
choice)."""
ZERO_SHARE = 0.2
"""Honest even readings end in 0 one time in five."""
FLAG_P = 0.01
"""A habit is told where so many zeros would come by chance in less than 1 % of series (design choice)."""


def zeros_p(zeros: int, even: int) -> float:
    """Return the chance of at least `zeros` of `even` even readings ending in 0 (exact one-sided binomial,
    p 1/5)."""
    return sum(comb(even, k) * ZERO_SHARE**k * (1 - ZERO_SHARE) ** (even - k) for k in range(zeros, even + 1))


def pen_lines(earlier: Sequence[Reading], reading: Reading, last_same: Reading | None) -> list[str]:
    """Return what is worth saying about how this and earlier readings were written, oldest first.

    `last_same` is the reading before this one on the same person, where there is one.
    """
    lines = []
    odd = [str(mmhg) for mmhg in _numbers(reading) if mmhg % 2]
    if odd:
        lines.append(f"Odd digit ({', '.join(odd)}): the dial is marked every 2; write the nearest mark.")
    if last_same is not None and reading == last_same and len(_numbers(reading)) > 1:
        lines.append("The same pair as last time on this person: write each one as if it were the first.")
    enough = False
    for end in ("systolic", "diastolic"):
        even = even_of((*earlier, reading), end)
        if len(even) < FEWEST_READINGS:
            continue
        enough = True
        zeros = sum(mmhg % 10 == 0 for mmhg in even)
        if zeros_p(zeros, len(even)) < FLAG_P:
            lines.append(
                f"Your pen: {zeros} of {len(even)} even {end} readings end in 0; "
                f"{ZERO_SHARE * len(even):.0f} expected. Review the habit."
            )
    if not enough:
        count = len(earlier) + 1
        lines.append(f"{count} reading{'s' if count > 1 else ''}: too few to tell a habit of digits.")
    elif not lines:
        lines.append("Your pen: no habit of digits to be seen.")
    return lines


def even_of(readings: Sequence[Reading], end: str) -> list[int]:
    """Return the even numbers written for an end, in order."""
    written = [getattr(one, end) for one in readings]
    return [one.mmhg for one in written if isinstance(one, Written) and one.mmhg % 2 == 0]


def _numbers(reading: Reading) -> list[int]:
    return [one.mmhg for one in (reading.systolic, reading.diastolic) if isinstance(one, Written)]
