"""Two observers' agreement in full at one end: what bias and limits alone do not say.

Pressures covered, exact intervals of the limits where pairs are few, the trend of the difference on the MEAN, the six
intraclass correlations, concordance, and, where people were measured more than once, repeatability and limits for
single readings (replicates.py, reliability.py). What the pairs cannot tell is None.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from hushpoint.agreement.differences import DECIMALS, AgreementError, PairedReading
from hushpoint.agreement.fitted import End, value_of
from hushpoint.agreement.reliability import Correlation, IntraclassCorrelations, concordance, intraclass
from hushpoint.agreement.replicates import (
    Repeatability,
    ReplicateLimits,
    Trend,
    exact_limits_ci,
    repeatability,
    replicate_limits,
    trend,
)
from hushpoint.measure import stated_chance

_T = TypeVar("_T")
FORMS = ("one_one", "two_one", "three_one", "one_k", "two_k", "three_k")
"""The six forms of Shrout & Fleiss, for one reading and for the mean of both."""


@dataclass(frozen=True, slots=True)
class InFull:
    """One end of an observer beside a reference, over `n` pairs; `pressures_mmhg` is the range of the pairs' means.

    `replicates` and the repeatabilities need people measured more than once, told by their codes.
    """

    n: int
    pressures_mmhg: tuple[float, float]
    limits_exact_ci_mmhg: tuple[tuple[float, float], tuple[float, float]] | None
    trend: Trend | None
    icc: IntraclassCorrelations | None
    concordance: Correlation | None
    replicates: ReplicateLimits | None
    observer_repeatability: Repeatability | None
    reference_repeatability: Repeatability | None

    def correlation(self, form: str) -> dict[str, Any] | None:
        """One of FORMS or "concordance" as JSON, None where it is not told."""
        found: Correlation | None = self.concordance
        if form != "concordance":
            found = None if self.icc is None else getattr(self.icc, form)
        if found is None or not all(map(math.isfinite, (found.value, *found.ci))):
            return None
        return {"value": round(found.value, DECIMALS), "ci": _rounded(found.ci)}

    def trend_json(self) -> dict[str, Any] | None:
        """The trend as JSON, None where it is not told."""
        if self.trend is None:
            return None
        slope, ends, p = self.trend.slope, self.trend.slope_ci, self.trend.p
        return {"slope": round(slope, DECIMALS), "slope_ci": _rounded(ends), "p": stated_chance(p)}

    def exact_json(self) -> list[list[float]] | None:
        """The exact intervals of both limits as JSON, None where there are many pairs or one."""
        return self.limits_exact_ci_mmhg and [_rounded(ends) for ends in self.limits_exact_ci_mmhg]

    def as_json(self) -> dict[str, Any]:
        """The object of docs/agreement.md."""
        return {
            "pressures_mmhg": list(self.pressures_mmhg),
            "limits_exact_ci_mmhg": self.exact_json(),
            "trend": self.trend_json(),
            "icc": {form: self.correlation(form) for form in FORMS} if self.icc else None,
            "concordance": self.correlation("concordance"),
            "single_readings": self._replicates_json(),
        }

    def _replicates_json(self) -> dict[str, Any] | None:
        limits, own, other = self.replicates, self.observer_repeatability, self.reference_repeatability
        if limits is None or own is None or other is None:
            return None
        return {
            "people": limits.people,
            "bias_mmhg": round(limits.bias_mmhg, DECIMALS),
            "bias_ci_mmhg": _rounded(limits.bias_ci_mmhg),
            "sd_mmhg": round(limits.sd_mmhg, DECIMALS),
            "limits_mmhg": _rounded(limits.limits_mmhg),
            "limits_ci_mmhg": [_rounded(ends) for ends in limits.limits_ci_mmhg],
            "observer_repeatability_mmhg": round(own.coefficient_mmhg, DECIMALS),
            "observer_repeatability_ci_mmhg": _rounded(own.coefficient_ci_mmhg),
            "reference_repeatability_mmhg": round(other.coefficient_mmhg, DECIMALS),
            "reference_repeatability_ci_mmhg": _rounded(other.coefficient_ci_mmhg),
        }


def in_full(both: Sequence[tuple[PairedReading, PairedReading]], end: End) -> InFull | None:
    """Return the agreement of (observer's, reference's) readings at one end; None where no pair has both values."""
    values = [
        (theirs.client, one, other)
        for mine, theirs in both
        if (one := value_of(mine, end)) is not None and (other := value_of(theirs, end)) is not None
    ]
    if not values:
        return None
    mine, theirs = [one for _, one, _ in values], [other for _, _, other in values]
    differences = [round(one - other, DECIMALS) for _, one, other in values]
    means = [round((one + other) / 2, DECIMALS) for _, one, other in values]
    own: dict[str, list[float]] = {}
    others: dict[str, list[float]] = {}
    for client, one, other in values:
        if client:
            own.setdefault(client, []).append(one)
            others.setdefault(client, []).append(other)
    people, beside = list(own.values()), list(others.values())
    return InFull(
        len(values),
        (min(means), max(means)),
        _told(lambda: exact_limits_ci(differences)),
        _told(lambda: trend(means, differences)),
        _told(lambda: intraclass(list(zip(mine, theirs, strict=True)))),
        _told(lambda: concordance(mine, theirs)),
        _told(lambda: replicate_limits(people, beside)),
        _told(lambda: repeatability(people)),
        _told(lambda: repeatability(beside)),
    )


def _told(find: Callable[[], _T]) -> _T | None:
    try:
        return find()
    except AgreementError:
        return None  # too few pairs, or all at one pressure


def _rounded(ends: Sequence[float]) -> list[float]:
    return [round(end, DECIMALS) for end in ends]
