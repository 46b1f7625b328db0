"""Agreement of observers in full: the figures beside bias and limits, and their words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from hushpoint.agreement import Agreement, Correlation, InFull, PairedReading, in_full
from hushpoint.measure import decimal_words

CLEAR_TREND_P = 0.01
"""A trend with a larger p is told as not clear (our choice)."""


def agreement_in_full(found: Agreement, readings: Sequence[PairedReading]) -> list[dict[str, InFull]]:
    """Return for each pair of an agreement its ends in full, by name."""
    by_observer: dict[str, dict[str, PairedReading]] = {}
    for row in readings:
        by_observer.setdefault(row.observer, {})[row.measurement] = row
    whole = []
    for pair in found.pairs:
        theirs = by_observer[pair.reference]
        both = [(row, theirs[name]) for name, row in by_observer[pair.observer].items() if name in theirs]
        ends = {"systolic": in_full(both, "systolic"), "diastolic": in_full(both, "diastolic")}
        whole.append({end: one for end, one in ends.items() if one is not None})
    return whole


def json_in_full(found: Agreement, full: Sequence[dict[str, InFull]]) -> dict[str, Any]:
    """The object that `hushpoint agree --json` prints: the agreement, each end with its `in_full`."""
    whole = found.as_json()
    for pair, ends in zip(whole["pairs"], full, strict=True):
        for end, one in ends.items():
            pair[end]["in_full"] = one.as_json()
    return whole


def in_full_lines(found: InFull) -> list[str]:
    """One end in full, in plain words."""
    low, high = found.pressures_mmhg
    lines = [f"pressures covered: {low:g} to {high:g} mmHg, n {found.n}"]
    if found.limits_exact_ci_mmhg:
        lower, upper = found.limits_exact_ci_mmhg
        lines.append(f"exact 95 % intervals of the limits: {_span(lower)} and {_span(upper)} mmHg")
    if found.trend is None:
        lines.append("trend with pressure: too few pairs, or all at one pressure")
    else:
        seen = "clear" if found.trend.p < CLEAR_TREND_P else "not clear"
        low, high = (10 * end for end in found.trend.slope_ci)
        lines.append(
            f"trend with the mean of the two: {_signed(10 * found.trend.slope)} for every 10 mmHg "
            f"({_span((low, high), 2)}; {seen}, {p_words(found.trend.p)})"
        )
    if found.icc is None:
        lines.append("intraclass correlation: too few pairs, or all of one value")
    else:
        forms = (("1,1", found.icc.one_one), ("2,1", found.icc.two_one), ("3,1", found.icc.three_one))
        lines.append("intraclass correlation " + ", ".join(f"({form}) {_told(one)}" for form, one in forms))
        means = (("1,2", found.icc.one_k), ("2,2", found.icc.two_k), ("3,2", found.icc.three_k))
        lines.append("of the mean of both " + ", ".join(f"({form}) {_told(one)}" for form, one in means))
    if found.concordance is not None:
        lines.append(f"concordance {_told(found.concordance)}")
    limits, own, other = found.replicates, found.observer_repeatability, found.reference_repeatability
    if limits is None or own is None or other is None:
        lines.append(
            "repeatability and limits for single readings: people measured more than once, with codes, are needed"
        )
    else:
        lines.append(
            f"repeatability on {own.people} people: observer {own.coefficient_mmhg:.2f}, "
            f"reference {other.coefficient_mmhg:.2f} mmHg"
        )
        lines.append(
            f"limits for single readings on separate occasions: {_span(limits.limits_mmhg)} mmHg "
            f"(SD {limits.sd_mmhg:.2f}; the person's own changes included)"
        )
    return lines


def p_words(p: float) -> str:
    """Write a chance as p, never as 0."""
    return "p < 0.001" if p < 0.001 else f"p = {p:.3f}"


def _told(found: Correlation) -> str:
    return f"{decimal_words(found.value, 3)} ({_span(found.ci, 3)})"


def _signed(value: float) -> str:
    return decimal_words(value, 2, sign=True)


def _span(ends: tuple[float, float], places: int = 1) -> str:
    return f"{decimal_words(ends[0], places)} to {decimal_words(ends[1], places)}"
