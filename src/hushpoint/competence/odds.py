"""How often a rule passes an observer of a known bias and spread: computed exactly, not simulated.

An answer's error is the observer's own, normal with a bias and an SD. The truth lies anywhere between two marks; key
and answer are both written to the nearest mark, so the written error is a whole number of marks. Answers are taken as
independent and the two ends as alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hushpoint.errors import BadInputError
from hushpoint.guideline.competence_rules import PassRule

MARK_MMHG = 2.0
"""Marks on a gauge stand 2 mmHg apart."""

TWO_OBSERVERS_SD_MMHG = 2.12
"""Two practised observers on the same inflation: SD of their differences (Bland & Altman 1999, J and R, 85 pairs)."""


@dataclass(frozen=True, slots=True)
class PassOdds:
    """The chance, 0 to 1, that an observer of this bias and error SD [mmHg] meets the rule on `n` answers an end."""

    bias_mmhg: float
    sd_mmhg: float
    n: int
    passes: float
    answers: int
    """Answers that one count of the rule is about."""
    groups: int
    """How often the rule counts: once where ends are pooled, else for each end."""
    chance: float
    """The chance to meet one count; `passes` is this to the power of `groups`."""


def within_chance(distance_mmhg: float, bias_mmhg: float, sd_mmhg: float) -> float:
    """Return the chance that a written error lies within the distance, ends included.

    With the truth uniform between marks, the written error is within 2k when the sum of own error and place between
    marks lies within 2k + 1: the mean of the normal distribution function over the place has a closed form.
    """
    edge = MARK_MMHG * math.floor(distance_mmhg / MARK_MMHG) + MARK_MMHG / 2
    half = MARK_MMHG / 2
    if sd_mmhg == 0:
        # The place between marks alone decides: it is uniform from -half to half.
        high, low = min(half, edge - bias_mmhg), max(-half, -edge - bias_mmhg)
        return max(0.0, high - low) / MARK_MMHG

    def below(limit: float) -> float:
        upper, lower = (limit - bias_mmhg + half) / sd_mmhg, (limit - bias_mmhg - half) / sd_mmhg
        return sd_mmhg * (_integral(upper) - _integral(lower)) / MARK_MMHG

    return min(1.0, max(0.0, below(edge) - below(-edge)))


def _integral(z: float) -> float:
    """The integral of the standard normal distribution function up to z: z Phi(z) + phi(z)."""
    return z * 0.5 * math.erfc(-z / math.sqrt(2)) + math.exp(-z * z / 2) / math.sqrt(2 * math.pi)


def pass_odds(rule: PassRule, bias_mmhg: float, sd_mmhg: float, n: int | None = None, ends: int = 2) -> PassOdds:
    """Return how often an observer passes: the exact multinomial sum over answers beyond each distance.

    `n` answers of each end (the rule's own set where None), `ends` 1 or 2. Raises BadInputError for a bias outside
    -60 to 60, an SD outside 0 to 60 or n outside 1 to 2000.
    """
    if not (-60 <= bias_mmhg <= 60 and 0 <= sd_mmhg <= 60):
        raise BadInputError(f"bias {bias_mmhg:g}, SD {sd_mmhg:g}: -60 to 60 and 0 to 60 mmHg are allowed")
    if n is None:
        n = rule.set_size // ends if rule.ends == "pooled" else rule.set_size
    if not 1 <= n <= 2000 or ends not in (1, 2):
        raise BadInputError(f"{n} answers of {ends} ends: 1 to 2000 answers of 1 or 2 ends are allowed")
    answers = n * ends if rule.ends == "pooled" else n
    chance = _meets(rule, answers, bias_mmhg, sd_mmhg)
    groups = 1 if rule.ends == "pooled" else ends
    return PassOdds(bias_mmhg, sd_mmhg, n, chance**groups, answers, groups, chance)


def _meets(rule: PassRule, n: int, bias_mmhg: float, sd_mmhg: float) -> float:
    near, far = rule.criteria[0], rule.criteria[-1]
    p_near = within_chance(near.within_mmhg, bias_mmhg, sd_mmhg)
    p_far = max(p_near, within_chance(far.within_mmhg, bias_mmhg, sd_mmhg))
    beyond_far, beyond_near = n - far.needed(n), n - near.needed(n)
    return min(
        1.0,
        math.fsum(
            _multinomial(n, between, out, p_near, p_far - p_near, 1 - p_far)
            for out in range(beyond_far + 1)
            for between in range(beyond_near - out + 1)
        ),
    )


def _multinomial(n: int, between: int, out: int, p_in: float, p_between: float, p_out: float) -> float:
    inside = n - between - out
    total = math.lgamma(n + 1)
    for count, chance in ((inside, p_in), (between, p_between), (out, p_out)):
        if count == 0:
            continue
        if chance <= 0:
            return 0.0
        total += count * math.log(chance) - math.lgamma(count + 1)
    return math.exp(total)
