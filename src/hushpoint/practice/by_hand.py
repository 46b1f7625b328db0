"""Ear, hand and pen of one measurement worked out in lines that can be done again by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hushpoint.measure import OUR_OWN, Heard, Reading, Withheld, Worked, Written, decimal_words, figure_words, stated
from hushpoint.practice.pen import FEWEST_READINGS, ZERO_SHARE, even_of, zeros_p

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hushpoint.guideline import TeachingPolicy
    from hushpoint.practice.log import BenchLog

Ends = tuple[tuple[str, Written | object, Heard | Withheld, float | None, float | None], ...]
"""Of each end: its name, what was written, the truth, the ear error and the hand loss [mmHg]."""

_TRUTH = (
    "cuff pressure at the first of two or more audible beats in a row, and at the last audible one; "
    f"audible by a rule of level and noise: {OUR_OWN}"
)


def ear_by_hand(ends: Ends) -> Worked | None:
    """Return reading minus truth of each end that has both; None where neither has."""
    steps = [
        f"{end}: written {written.mmhg} minus the truth of this release {figure_words(stated(truth.mmhg))} = "
        f"{figure_words(error)}"
        for end, written, truth, error, _ in ends
        if error is not None and isinstance(written, Written) and isinstance(truth, Heard)
    ]
    return Worked("Ear", tuple(steps), _TRUTH) if steps else None


def key_by_hand(ends: Sequence[tuple[str, Heard, int]]) -> Worked:
    """Return how the key of each end is made of its truth; answers are held against the key."""
    steps = [
        f"{end}: truth {figure_words(stated(truth.mmhg))}, to the nearest 2 mmHg, halves up: {key}"
        for end, truth, key in ends
    ]
    return Worked("Key", (*steps, "each dot: what was written minus the key"), _TRUTH)


def hand_by_hand(ends: Ends, log: BenchLog, policy: TeachingPolicy) -> Worked:
    """Return peak, release rate band by band, and what this release cost beside a very slow one."""
    low, high = policy.release_mmhg_per_s
    peak = f"peak: {log.peak_mmhg:.0f} mmHg"
    if policy.inflation == "palpated" and log.palpated_mmhg is not None:
        above = log.peak_mmhg - log.palpated_mmhg
        peak = (
            f"peak minus palpated value: {log.peak_mmhg:.0f} \N{MINUS SIGN} {log.palpated_mmhg:.0f} = "
            f"{decimal_words(above, 0)}; from {policy.inflation_mmhg:.0f} up is asked"
        )
    steps = [peak]
    for one in log.segments():
        fell = one.from_mmhg - one.to_mmhg
        steps.append(
            f"release from {one.from_mmhg:.0f} to {one.to_mmhg:.0f}: {fell:.1f} mmHg in "
            f"{fell / one.rate_mmhg_per_s:.1f} s = {one.rate_mmhg_per_s:.1f} mmHg/s; {low:g} to {high:g} asked"
        )
    steps += [
        f"{end} in this release {figure_words(stated(truth.mmhg))} minus in a very slow one "
        f"{figure_words(stated(truth.mmhg - loss))} = {decimal_words(loss)}"
        for end, _, truth, _, loss in ends
        if loss is not None and isinstance(truth, Heard)
    ]
    return Worked(
        "Hand", tuple(steps), f"{policy.name}: {policy.source} ({policy.provenance}); slack of a band: {OUR_OWN}"
    )


def pen_by_hand(readings: Sequence[Reading]) -> Worked | None:
    """Return the zeros of each end where there are enough readings to tell a habit; None where there are not."""
    steps = []
    for end in ("systolic", "diastolic"):
        even = even_of(readings, end)
        if len(even) < FEWEST_READINGS:
            continue
        n, zeros = len(even), sum(mmhg % 10 == 0 for mmhg in even)
        steps.append(
            f"{end}: zeros {zeros} of {n} even readings, {ZERO_SHARE:g} × {n} = {figure_words(ZERO_SHARE * n)} "
            f"expected; sum over k from {zeros} to {n} of ({n} choose k) × {ZERO_SHARE:g} to the k × "
            f"{1 - ZERO_SHARE:g} to the ({n} \N{MINUS SIGN} k) = {zeros_p(zeros, n):.4f}"
        )
    return Worked("Pen", tuple(steps), f"exact one-sided binomial; told below 0.01: {OUR_OWN}") if steps else None
