"""How numbers were written: zeros, fives, odd digits, copied pairs, a pile-up just under a limit.

Share of zeros expected: 1 in 5 where a gauge with 2 mmHg marks is read to the nearest mark, 1 in 10 where every
digit can be written. Every test is the exact one-sided binomial. Habits of the pen, told with counts, never a reproach.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from hushpoint.agreement.differences import PairedReading
from hushpoint.measure import stated_chance

FEWEST = 12
"""Under this many readings the counts tell too little of a habit (our choice; of 12, six zeros stand out)."""

MOSTLY_EVEN = 0.9
"""From this share of even digits on, the observer is taken to read to the even marks (our choice)."""

EVERY_NUMBER = 1 / 3
"""From this share of odd digits on, what was read shows every number, as a machine does (half of them are odd; our
choice)."""

OF_EVEN, OF_TEN = 0.2, 0.1
"""The share of zeros expected among even digits, and among ten."""

CLEARLY = 0.01
"""Zeros this unlikely stand out clearly."""

SAME_PAIR = 0.025
"""Two readings of one person in a row are the same at both ends so often (NHANES 2009-2012, first and second reading of
10 486 adults: 2.50 %; auscultated, read to even digits)."""

LIMITS_MMHG = {"systolic": (140, 160, 180), "diastolic": (90, 100, 110)}
"""Limits at which something is decided about a client, as on the ladder of docs/visit.md."""

UNDER_SHARE = 1 / 3
"""Of readings in three steps of 2, the last of them at a limit, so many lie in the middle one where pressures thin out
evenly (1 / (r + 1 + 1/r) for a fall by r from step to step is at most 1/3)."""


@dataclass(frozen=True, slots=True)
class SamePairs:
    """Readings that repeat the pair just before, on the same person where persons are told: `same` of `n`.

    `p` is the chance of at least so many at the usual SAME_PAIR; None where nothing could be repeated.
    """

    n: int
    same: int
    p: float | None
    flags: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The object of docs/agreement.md."""
        return {"n": self.n, "same": self.same, "p": self.p, "flags": list(self.flags)}


@dataclass(frozen=True, slots=True)
class UnderLimit:
    """`under` of `near` readings lie within 2 below the limit [mmHg], the others 2 further down or at it."""

    limit_mmhg: int
    under: int
    near: int
    p: float

    def as_json(self) -> dict[str, Any]:
        """The object of docs/agreement.md."""
        return {"limit_mmhg": self.limit_mmhg, "under": self.under, "near": self.near, "p": self.p}


@dataclass(frozen=True, slots=True)
class ChiSquare:
    """Pearson's statistic of counts against expected shares, with its degrees of freedom and p."""

    value: float
    degrees: int
    p: float

    def as_json(self) -> dict[str, Any]:
        """The object of docs/agreement.md."""
        return {"value": round(self.value, 6), "degrees": self.degrees, "p": stated_chance(self.p)}


@dataclass(frozen=True, slots=True)
class Digits:
    """Last digits of the whole numbers among the values: `counts[d]` values end in d.

    `zeros_of_even` is a share from 0 to 1, None without even digits. `p_zeros` is the chance of at least so many
    zeros with no digit preferred, None without values; `p_fives` that of so many fives among the odd digits, None
    without odd ones. `chi_square` is over the five even digits where nearly all are even, else over ten; with many
    readings it is large though the habit is good: look at the share.
    """

    n: int
    counts: tuple[int, ...]
    zeros_of_even: float | None
    p_zeros: float | None
    p_fives: float | None
    chi_square: ChiSquare | None
    under_limits: tuple[UnderLimit, ...]
    flags: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The object of docs/agreement.md."""
        return {
            "n": self.n,
            "digits": list(self.counts),
            "zeros_of_even": self.zeros_of_even,
            "p_zeros": self.p_zeros,
            "p_fives": self.p_fives,
            "chi_square": self.chi_square and self.chi_square.as_json(),
            "under_limits": [one.as_json() for one in self.under_limits],
            "flags": list(self.flags),
        }


@dataclass(frozen=True, slots=True)
class ObserverDigits:
    """One observer's last digits at both ends, and copied pairs."""

    observer: str
    systolic: Digits
    diastolic: Digits
    pairs: SamePairs

    def as_json(self) -> dict[str, Any]:
        """The object of docs/agreement.md."""
        return {
            "observer": self.observer,
            "systolic": self.systolic.as_json(),
            "diastolic": self.diastolic.as_json(),
            "pairs": self.pairs.as_json(),
        }


def digits_by_observer(readings: Iterable[PairedReading]) -> list[ObserverDigits]:
    """Count each observer's last digits, in order of first appearance."""
    by_observer: dict[str, list[PairedReading]] = {}
    for row in readings:
        by_observer.setdefault(row.observer, []).append(row)
    return [
        ObserverDigits(
            observer,
            digits((row.systolic_mmhg for row in rows), LIMITS_MMHG["systolic"]),
            digits((row.diastolic_mmhg for row in rows if row.diastolic_mmhg is not None), LIMITS_MMHG["diastolic"]),
            same_pairs(rows),
        )
        for observer, rows in by_observer.items()
    ]


def digits(values_mmhg: Iterable[float], limits_mmhg: Sequence[int] = ()) -> Digits:
    """Count the last digits of `values_mmhg` (0 to 300); values with decimals are left out and flagged.

    Just under each of `limits_mmhg` a pile-up is looked for.
    """
    values = list(values_mmhg)
    whole = [int(value) for value in values if value == int(value)]
    counts = [0] * 10
    for value in whole:
        counts[value % 10] += 1
    n, even, odd, zeros = len(whole), sum(counts[0::2]), sum(counts[1::2]), counts[0]
    judged, expected = zeros_judged(counts)
    p_zeros = binomial_upper_tail(zeros, judged, expected) if n else None
    p_fives = binomial_upper_tail(counts[5], odd, 0.2) if odd else None
    under = tuple(one for limit in limits_mmhg if (one := _under(whole, limit)) is not None)
    flags = []
    if len(whole) < len(values):
        flags.append(f"left out, written with decimals: {len(values) - len(whole)}")
    if p_zeros is not None:
        advice = "write the number as it is shown" if odd >= EVERY_NUMBER * n else "read to the nearest 2 mmHg mark"
        flags += _about_zeros(zeros, judged, expected, p_zeros, advice)
    flags += _about_odd(counts, n, p_fives)
    flags += _about_limits(under, len(limits_mmhg))
    return Digits(
        n,
        tuple(counts),
        round(zeros / even, 6) if even else None,
        None if p_zeros is None else stated_chance(p_zeros),
        None if p_fives is None else stated_chance(p_fives),
        chi_square(counts[0::2] if expected == OF_EVEN else counts) if n else None,
        under,
        tuple(flags),
    )


def zeros_judged(counts: Sequence[int]) -> tuple[int, float]:
    """Return among how many readings zeros are counted, and the share expected: the even ones where nearly all are."""
    n, even = sum(counts), sum(counts[0::2])
    return (even, OF_EVEN) if n > 0 and even >= MOSTLY_EVEN * n else (n, OF_TEN)


def chi_square(counts: Sequence[int], shares: Sequence[float] | None = None) -> ChiSquare:
    """Return Pearson's chi-square of counts against expected shares (equal ones where None); at least one count."""
    from scipy.special import chdtrc

    n = sum(counts)
    expected = [n * share for share in shares or [1 / len(counts)] * len(counts)]
    value = math.fsum((count - mean) ** 2 / mean for count, mean in zip(counts, expected, strict=True))
    return ChiSquare(value, len(counts) - 1, float(chdtrc(len(counts) - 1, value)))


def same_pairs(rows: Sequence[PairedReading]) -> SamePairs:
    """Count one observer's readings that repeat both values of their last one, in order.

    Compared with the last one of the same client where clients are told, else with the reading just before.
    """
    last: dict[str, PairedReading] = {}
    n = same = 0
    for row in rows:
        before = last.get(row.client)
        last[row.client] = row
        if before is not None and row.diastolic_mmhg is not None and before.diastolic_mmhg is not None:
            n += 1
            same += (row.systolic_mmhg, row.diastolic_mmhg) == (before.systolic_mmhg, before.diastolic_mmhg)
    p = binomial_upper_tail(same, n, SAME_PAIR) if n else None
    flags = []
    if p is not None and same >= 3 and p <= 0.05:
        sure = "stand out clearly" if p <= 0.01 else "may stand out"
        flags.append(
            f"pairs the same as the one before {sure}: {same} of {n}, where about 1 in 40 is usual; "
            "write each one as if it were the first"
        )
    return SamePairs(n, same, None if p is None else stated_chance(p), tuple(flags))


def _under(whole: Sequence[int], limit_mmhg: int) -> UnderLimit | None:
    """The readings just under a limit among those near it; None where none is near.

    Who writes eights everywhere is not taken for one who writes them under a limit: the share expected is at least
    that of the same digits among all other readings ending alike.
    """
    places = [(value - limit_mmhg) // 2 for value in whole]
    near = [sum(place == step for place in places) for step in (-2, -1, 0)]
    elsewhere = [value % 10 // 2 for value, place in zip(whole, places, strict=True) if not -2 <= place <= 0]
    eights, alike = elsewhere.count(4), sum(digit in (3, 4, 0) for digit in elsewhere)
    if not sum(near):
        return None
    expected = max(UNDER_SHARE, eights / alike) if alike >= FEWEST else UNDER_SHARE
    p = binomial_upper_tail(near[1], sum(near), min(expected, 0.999))
    return UnderLimit(limit_mmhg, near[1], sum(near), stated_chance(p))


def _about_limits(under: Sequence[UnderLimit], looked_at: int) -> list[str]:
    return [
        f"readings just under {one.limit_mmhg} stand out: {one.under} of {one.near} from {one.limit_mmhg - 4} to "
        f"{one.limit_mmhg + 1}; write what was heard, the limit is for later"
        for one in under
        if one.p * looked_at <= 0.01
    ]


def zeros_limit(n: int, expected: float, at: float = CLEARLY) -> int:
    """Return the smallest count of zeros among `n` whose exact chance is at most `at`, each with chance `expected`.

    n + 1 where even all of them would not be that unlikely.
    """
    return bisect_left(range(n + 1), True, key=lambda count: binomial_upper_tail(count, n, expected) <= at)


def _about_zeros(zeros: int, judged: int, expected: float, p_zeros: float, advice: str) -> list[str]:
    kind = "even readings" if expected == OF_EVEN else "readings"
    if judged < FEWEST:
        return [f"too few to tell: {judged} {kind}, {FEWEST} are needed"]
    if p_zeros <= CLEARLY:
        chance = "p below 0.0001" if p_zeros < 0.0001 else f"p {p_zeros:.4f}"
        limit = zeros_limit(judged, expected)
        return [
            f"zeros stand out clearly: {zeros} of {judged} {kind}, {judged * expected:g} expected, {chance}, "
            f"from {limit} on at 1 %; {advice}"
        ]
    if p_zeros <= 0.05:
        return [f"zeros may stand out: {zeros} of {judged} {kind}; look again after more readings"]
    return []


def _about_odd(counts: list[int], n: int, p_fives: float | None) -> list[str]:
    odd, fives = sum(counts[1::2]), counts[5]
    flags = []
    if n >= FEWEST and odd >= EVERY_NUMBER * n:
        flags.append(
            f"odd digits: {odd} of {n}, as from a device that shows every number; where it was a gauge marked every "
            "2 mmHg, it is read to an even number"
        )
    elif odd:
        flags.append(f"odd digits: {odd} of {n}; a gauge marked every 2 mmHg is read to an even number")
    if p_fives is not None and fives >= 3 and p_fives <= 0.05:
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
