"""Last digits: does an observer write too many zeros?

Share of zeros expected: 1 in 5 where a gauge with 2 mmHg marks is read to the nearest mark, 1 in 10 where every
digit can be written. The test is the exact one-sided binomial.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from hushpoint.agreement.differences import PairedReading

FEWEST = 12
"""Under this many readings the counts tell too little of a habit (our choice; of 12, six zeros stand out)."""

MOSTLY_EVEN = 0.9
"""From this share of even digits on, the observer is taken to read to the even marks (our choice)."""


@dataclass(frozen=True, slots=True)
class Digits:
    """Last digits of the whole numbers among the values: `counts[d]` values end in d.

    `zeros_of_even` is a share from 0 to 1, None without even digits. `p_zeros` is the chance of at least so many
    zeros with no digit preferred, None without values.
    """

    n: int
    counts: tuple[int, ...]
    zeros_of_even: float | None
    p_zeros: float | None
    flags: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The object of docs/agreement.md."""
        return {
            "n": self.n,
            "digits": list(self.counts),
            "zeros_of_even": self.zeros_of_even,
            "p_zeros": self.p_zeros,
            "flags": list(self.flags),
        }


@dataclass(frozen=True, slots=True)
class ObserverDigits:
    """One observer's last digits at both ends."""

    observer: str
    systolic: Digits
    diastolic: Digits

    def as_json(self) -> dict[str, Any]:
        """The object of docs/agreement.md."""
        return {
            "observer": self.observer,
            "systolic": self.systolic.as_json(),
            "diastolic": self.diastolic.as_json(),
        }


def digits_by_observer(readings: Iterable[PairedReading]) -> list[ObserverDigits]:
    """Count each observer's last digits, in order of first appearance."""
    by_observer: dict[str, list[PairedReading]] = {}
    for row in readings:
        by_observer.setdefault(row.observer, []).append(row)
    return [
        ObserverDigits(
            observer,
            digits(row.systolic_mmhg for row in rows),
            digits(row.diastolic_mmhg for row in rows if row.diastolic_mmhg is not None),
        )
        for observer, rows in by_observer.items()
    ]


def digits(values_mmhg: Iterable[float]) -> Digits:
    """Count the last digits of `values_mmhg` (0 to 300); values with decimals are left out and flagged."""
    values = list(values_mmhg)
    whole = [int(value) for value in values if value == int(value)]
    counts = [0] * 10
    for value in whole:
        counts[value % 10] += 1
    n, even, zeros = len(whole), sum(counts[0::2]), counts[0]
    by_even_marks = n > 0 and even >= MOSTLY_EVEN * n
    judged, expected = (even, 0.2) if by_even_marks else (n, 0.1)
    p_zeros = binomial_upper_tail(zeros, judged, expected) if n else None
    flags = []
    if len(whole) < len(values):
        flags.append(f"left out, written with decimals: {len(values) - len(whole)}")
    if p_zeros is not None:
        flags += _about_zeros(zeros, judged, "even readings" if by_even_marks else "readings", p_zeros)
    flags += _about_odd(counts, n)
    return Digits(
        n,
        tuple(counts),
        round(zeros / even, 6) if even else None,
        None if p_zeros is None else round(p_zeros, 6),
        tuple(flags),
    )


def _about_zeros(zeros: int, judged: int, kind: str, p_zeros: float) -> list[str]:
    if judged < FEWEST:
        return [f"too few to tell: {judged} {kind}, {FEWEST} are needed"]
    if p_zeros <= 0.01:
        return [f"zeros stand out clearly: {zeros} of {judged} {kind}; read to the nearest 2 mmHg mark"]
    if p_zeros <= 0.05:
        return [f"zeros may stand out: {zeros} of {judged} {kind}; look again after more readings"]
    return []


def _about_odd(counts: list[int], n: int) -> list[str]:
    odd, fives = sum(counts[1::2]), counts[5]
    flags = []
    if odd:
        flags.append(f"odd digits: {odd} of {n}; a gauge marked every 2 mmHg is read to an even number")
    if fives >= 3 and binomial_upper_tail(fives, odd, 0.2) <= 0.05:
        flags.append(f"fives stand out: {fives} of {odd} odd readings")
    return flags


def binomial_upper_tail(at_least: int, n: int, p: float) -> float:
    """The exact chance of `at_least` or more among `n`, each with chance `p` (0 < p < 1)."""
    if at_least <= 0:
        return 1.0
    # The shorter tail is summed, so that nothing is lost to rounding and large n stays quick.
    if at_least > n * p:
        return min(1.0, math.fsum(_chance(k, n, p) for k in range(at_least, n + 1)))
    return max(0.0, 1.0 - math.fsum(_chance(k, n, p) for k in range(at_least)))


def _chance(k: int, n: int, p: float) -> float:
    log_ways = math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
    return math.exp(log_ways + k * math.log(p) + (n - k) * math.log1p(-p))
