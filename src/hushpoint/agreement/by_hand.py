"""Bias, limits, shares and last digits worked out in lines that can be done again by hand."""

from __future__ import annotations

import math

from hushpoint.agreement.differences import WITHIN_MMHG, Z_LIMITS, Differences, PairAgreement, student_t_975
from hushpoint.agreement.last_digits import (
    EVERY_NUMBER,
    FEWEST,
    OF_EVEN,
    SAME_PAIR,
    Digits,
    ObserverDigits,
    zeros_judged,
)
from hushpoint.agreement.reliability import Kappa
from hushpoint.agreement.whose import EndErrors
from hushpoint.measure import OUR_OWN, Worked, decimal_words, figure_words, sum_words

MOST_LISTED = 30
"""Of more differences than this their sum alone is told."""
_LIMITS = "Bland and Altman, Lancet 1986 and Stat Methods Med Res 1999, section 2"
_DIGITS = f"exact one-sided binomial; share by the marks of the gauge, and 1 % for clearly: {OUR_OWN}"


def agreement_by_hand(pair: PairAgreement) -> tuple[Worked, ...]:
    """Return the calculation behind bias, limits and shares of each end that can be told."""
    return tuple(Worked(f"Agreement, {end}", tuple(_differences(found)), _LIMITS) for end, found in pair.ends())


def _differences(found: Differences) -> list[str]:
    n, total = found.n, math.fsum(found.differences_mmhg)
    added = sum_words(found.differences_mmhg) if n <= MOST_LISTED else f"the sum of {n} differences"
    steps = [f"differences, observer minus reference: {added} = {figure_words(total)}"]
    steps.append(f"bias, their mean: {figure_words(total)} / {n} = {decimal_words(found.bias_mmhg, 2)}")
    if found.sd_mmhg is not None and found.limits_mmhg is not None and found.limits_ci_mmhg is not None:
        bias, sd, (low, high) = found.bias_mmhg, found.sd_mmhg, found.limits_mmhg
        squares = math.fsum((one - bias) ** 2 for one in found.differences_mmhg)
        t, half = student_t_975(n - 1), (found.limits_ci_mmhg[0][1] - found.limits_ci_mmhg[0][0]) / 2
        steps += [
            f"spread: √(sum of (difference \N{MINUS SIGN} bias)² / (n \N{MINUS SIGN} 1)) = "
            f"√({squares:.3f} / {n - 1}) = {decimal_words(sd, 2)}",
            f"limits of agreement: {decimal_words(bias, 2)} ± {Z_LIMITS:g} × {decimal_words(sd, 2)} = "
            f"{decimal_words(low)} to {decimal_words(high)}",
            f"interval of each limit: ± {t:.3f} × {decimal_words(sd, 2)} × √(1 / {n} + {Z_LIMITS:g}² / (2 × {n - 1})) "
            f"= ± {decimal_words(half)}",
        ]
    for limit, share in zip(WITHIN_MMHG, found.within_percent, strict=True):
        inside = sum(abs(one) <= limit for one in found.differences_mmhg)
        steps.append(f"within {limit} mmHg: {inside} of {n}, 100 × {inside} / {n} = {share:.1f} %")
    return steps


def kappa_by_hand(found: Kappa, who: str) -> Worked | None:
    """Return the calculation behind a kappa of two assessors (`who`); None where there is none."""
    if found.kappa is None:
        return None
    alike = round(found.agreement * found.n)
    steps = (
        f"marked alike: {alike} of {found.n} = {found.agreement:.4f}",
        f"alike by chance, from how often each gave each mark: {found.by_chance:.4f}",
        f"agreement beyond chance: ({found.agreement:.4f} \N{MINUS SIGN} {found.by_chance:.4f}) / (1 \N{MINUS SIGN} "
        f"{found.by_chance:.4f}) = {decimal_words(found.kappa, 2)}",
    )
    return Worked(who, steps, "Cohen 1960; interval for large numbers, Fleiss, Cohen and Everitt 1969; FROM MEMORY")


def errors_by_hand(found: EndErrors) -> Worked:
    """Return what the figures of whose error it is are made from: a fit, which no pencil does again."""
    steps = (
        "each reading = the pressure measured + the observer's bias + the gauge's bias + an error",
        f"from {found.readings} readings of {found.measurements} measurements: {found.shared_measurements} were read "
        "by two or more, and these alone tell a bias",
        f"one error for all: {decimal_words(found.error_sd_mmhg)} mmHg by restricted maximum likelihood; every own "
        "spread by moments",
        "bias that an interval of 95 % parts from 0 is more than chance gives; by hand only its mean difference with "
        "one other can be checked, on the page of their pairs",
    )
    return Worked(
        f"Whose error, {found.end}", steps, f"mixed model with crossed effects; spreads calibrated: {OUR_OWN}"
    )


def digits_by_hand(found: ObserverDigits) -> tuple[Worked, ...]:
    """Return the calculation behind one observer's last digits and repeated pairs."""
    ends = ((end, one) for end, one in (("systolic", found.systolic), ("diastolic", found.diastolic)) if one.n)
    told = [Worked(f"Last digits, {end}", tuple(_digits(one)), _DIGITS) for end, one in ends]
    if found.pairs.n and found.pairs.p is not None:
        pairs = found.pairs
        step = (
            f"pairs as the one before: {pairs.same} of {pairs.n}, {SAME_PAIR:.1%} is usual; "
            f"{_tail(pairs.same, pairs.n, SAME_PAIR, pairs.p)}"
        )
        told.append(Worked("Repeated pairs", (step,), "NHANES 2009-2012, 10 486 adults, two readings in a row"))
    return tuple(told)


def _digits(found: Digits) -> list[str]:
    """Of at least one reading."""
    judged, expected = zeros_judged(found.counts)
    zeros, odd = found.counts[0], sum(found.counts[1::2])
    kind = "even readings" if expected == OF_EVEN else "readings"
    steps = [f"zeros: {zeros} of {judged} {kind}, {expected:g} × {judged} = {figure_words(expected * judged)} expected"]
    if found.p_zeros is not None:
        steps.append(f"chance of so many zeros: {_tail(zeros, judged, expected, found.p_zeros)}")
    if judged < FEWEST:
        steps.append(f"fewer than {FEWEST} tell nothing of a habit")
    if found.p_fives is not None and odd < EVERY_NUMBER * found.n:
        fives = found.counts[5]
        steps.append(f"fives: {fives} of {odd} odd readings; {_tail(fives, odd, OF_EVEN, found.p_fives)}")
    steps += [
        f"just under {one.limit_mmhg}: {one.under} of the {one.near} readings near it, chance {one.p:.4f}"
        for one in found.under_limits
    ]
    return steps


def _tail(at_least: int, n: int, share: float, p: float | None) -> str:
    """The exact chance of `at_least` or more of `n`, as the sum that it is."""
    shown = "not told" if p is None else "below 0.0001" if p < 0.0001 else f"{p:.4f}"
    return (
        f"sum over k from {at_least} to {n} of ({n} choose k) × {share:g} to the k × {1 - share:g} to the "
        f"({n} \N{MINUS SIGN} k) = {shown}"
    )
