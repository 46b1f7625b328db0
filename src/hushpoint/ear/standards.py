"""Grading a reader against the truth, by the rules made for automated devices (facts 4.2).

ISO 81060-2 criterion 1: |mean| at most 5 and SD at most 8. Criterion 2: SD of per-subject means at most what keeps 85 %
within 10 at that mean. BHS 1993: A, B, C by the shares within 5, 10 and 15, else D.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

ISO_MEAN_MMHG = 5.0
ISO_SD_MMHG = 8.0
TOLERABLE_MMHG = 10.0
TOLERABLE_SHARE = 0.85
"""ISO 81060-2: at least 85 % of errors within 10 mmHg (facts 4.2)."""
BHS = (("A", (60.0, 85.0, 95.0)), ("B", (50.0, 75.0, 90.0)), ("C", (40.0, 65.0, 85.0)))
"""BHS 1993: per cent within 5, 10 and 15 mmHg; all three must hold (facts 4.2)."""
WITHIN_MMHG = (5, 10, 15)


@dataclass(frozen=True)
class Grade:
    """How the readings at one end stand against the truth.

    `n` readings with a truth, `heard` of them given. `wrong`: given and more than 5 mmHg off. `unreadable`: no truth to
    be had, `guessed` of them given all the same. `in_range_percent`: ranges that hold the truth. `mean_mmhg`, `sd_mmhg`
    of reading minus truth, None below two.
    """

    n: int
    heard: int
    wrong: int
    unreadable: int
    guessed: int
    in_range_percent: float | None
    mean_mmhg: float | None
    sd_mmhg: float | None
    within_percent: tuple[float, ...] | None
    criterion_1: bool | None
    criterion_2: bool | None
    criterion_2_limit_mmhg: float | None
    bhs: str | None


def grade(rows: Sequence[tuple[float | None, float | None, bool]]) -> Grade:
    """Return the grade of one end from rows of (truth or None, reading or None, whether the range holds the truth)."""
    pairs = [(given - truth, held) for truth, given, held in rows if truth is not None and given is not None]
    errors = [error for error, _ in pairs]
    blind = [given for truth, given, _ in rows if truth is None]
    count = len(errors)
    mean = sum(errors) / count if count > 1 else None
    sd = None if mean is None else math.sqrt(sum((one - mean) ** 2 for one in errors) / (count - 1))
    within = tuple(100 * sum(abs(one) <= edge for one in errors) / count for edge in WITHIN_MMHG) if count else None
    limit = None if mean is None else criterion_2_limit_mmhg(mean)
    return Grade(
        n=len(rows) - len(blind),
        heard=count,
        wrong=sum(abs(one) > WITHIN_MMHG[0] for one in errors),
        unreadable=len(blind),
        guessed=sum(given is not None for given in blind),
        in_range_percent=100 * sum(held for _, held in pairs) / count if count else None,
        mean_mmhg=mean,
        sd_mmhg=sd,
        within_percent=within,
        criterion_1=None if mean is None or sd is None else abs(mean) <= ISO_MEAN_MMHG and sd <= ISO_SD_MMHG,
        criterion_2=None if sd is None or limit is None else sd <= limit,
        criterion_2_limit_mmhg=limit,
        bhs=None if within is None else bhs_grade(within),
    )


def criterion_2_limit_mmhg(mean_mmhg: float) -> float:
    """Return the largest SD [mmHg] that keeps 85 % within 10 mmHg at this mean; 0 where none does.

    SD solves Phi((10 - m) / s) - Phi((-10 - m) / s) = 0.85 (facts 4.2; the printed table differs by 0.024 at most).
    """
    mean = abs(mean_mmhg)
    if mean >= TOLERABLE_MMHG:
        return 0.0
    low, high = 1e-6, 20.0
    for _ in range(60):
        middle = (low + high) / 2
        if _phi((TOLERABLE_MMHG - mean) / middle) - _phi((-TOLERABLE_MMHG - mean) / middle) >= TOLERABLE_SHARE:
            low = middle
        else:
            high = middle
    return low


def bhs_grade(within_percent: Sequence[float]) -> str:
    """Return A, B, C or D from the per cent within 5, 10 and 15 mmHg."""
    for letter, least in BHS:
        if all(share >= edge for share, edge in zip(within_percent, least, strict=True)):
            return letter
    return "D"


def _phi(value: float) -> float:
    return 0.5 * (1 + math.erf(value / math.sqrt(2)))
