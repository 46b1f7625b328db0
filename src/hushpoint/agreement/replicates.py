"""Agreement where each person was measured more than once: repeatability, limits with replicates, trend.

Source: Bland JM, Altman DG 1999, Stat Methods Med Res 8:135-160, section 3.2 (trend), 4 (repeatability), 5.1 and 5.2
(replicates, equal and unequal in number). Observers on the same inflation still get wide limits here: the limits are
for single readings on separate occasions, the person's own variation included. Only paired readings judge a learner.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from hushpoint.agreement.differences import Z_LIMITS, AgreementError

EXACT_UP_TO = 100
"""Up to this many pairs intervals of limits are exact; beyond, the usual ones differ by under 5 % of the SD."""


@dataclass(frozen=True, slots=True)
class Repeatability:
    """One observer's spread within people [mmHg], over `people` with at least two readings, `degrees` of freedom.

    `coefficient_mmhg` is 1.96 sqrt(2) SD: two readings of one person lie within it in 95 %. Intervals are 95 %,
    exact for normal errors (chi-square).
    """

    people: int
    degrees: int
    variance_mmhg2: float
    sd_mmhg: float
    sd_ci_mmhg: tuple[float, float]
    coefficient_mmhg: float
    coefficient_ci_mmhg: tuple[float, float]


@dataclass(frozen=True, slots=True)
class ReplicateLimits:
    """Observer minus reference for single readings, from people measured several times by each [mmHg].

    `means_variance_mmhg2` is the variance of the differences between means, `variance_mmhg2` the corrected one.
    `limits_ci_mmhg` are 95 % intervals by the delta method, Student's t with people - 1 degrees.
    """

    people: int
    bias_mmhg: float
    bias_ci_mmhg: tuple[float, float]
    means_variance_mmhg2: float
    variance_mmhg2: float
    sd_mmhg: float
    limits_mmhg: tuple[float, float]
    limits_ci_mmhg: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Trend:
    """How the difference changes with the MEAN of the two (never with the reference, which would make a trend).

    `slope` is mmHg of difference per mmHg of mean; `p` is two-sided for no slope; intervals are 95 %, Student's t.
    """

    n: int
    slope: float
    slope_ci: tuple[float, float]
    intercept_mmhg: float
    residual_sd_mmhg: float
    p: float


def repeatability(people: Sequence[Sequence[float]]) -> Repeatability:
    """Return the within-person spread of one observer's readings [mmHg], one inner sequence a person.

    The variance is the within mean square of a one-way analysis; people read once add nothing. Raises AgreementError
    where nobody was read twice.
    """
    repeated = [list(values) for values in people if len(values) > 1]
    if not repeated:
        raise AgreementError("nobody was read twice by one observer: at least 1 person with 2 readings is needed")
    degrees = sum(len(values) - 1 for values in repeated)
    variance = math.fsum(_square_sum(values) for values in repeated) / degrees
    sd = math.sqrt(variance)
    factors = _chi_factors(degrees)
    low, high = sd * factors[0], sd * factors[1]
    times = Z_LIMITS * math.sqrt(2)
    return Repeatability(len(repeated), degrees, variance, sd, (low, high), times * sd, (times * low, times * high))


def replicate_limits(observer: Sequence[Sequence[float]], reference: Sequence[Sequence[float]]) -> ReplicateLimits:
    """Return limits for single readings from replicates [mmHg]; both sequences hold the same people in one order.

    Corrected variance: that of the differences between means, plus for each observer (1 - mean of 1/m) times the
    within-person variance, m being the person's number of readings (sections 5.1, 5.2). Raises AgreementError for
    fewer than two people, a person without readings, or an observer who read nobody twice.
    """
    if len(observer) != len(reference) or len(observer) < 2:
        raise AgreementError(f"{len(observer)} and {len(reference)} people: the same people, at least 2, are needed")
    if any(not values for values in (*observer, *reference)):
        raise AgreementError("a person without readings: at least 1 reading by each observer is needed")
    n = len(observer)
    differences = [_mean(mine) - _mean(theirs) for mine, theirs in zip(observer, reference, strict=True)]
    bias = _mean(differences)
    between = _square_sum(differences) / (n - 1)
    corrected, doubt = between, 2 * between**2 / (n - 1)
    for readings in (observer, reference):
        within = repeatability(readings)
        weight = 1 - math.fsum(1 / len(values) for values in readings) / n
        corrected += weight * within.variance_mmhg2
        doubt += weight**2 * 2 * within.variance_mmhg2**2 / within.degrees
    sd = math.sqrt(corrected)
    t = _student_t(n - 1)
    half = t * math.sqrt(between / n)
    # Variance of the SD from that of the variance, by the delta method; it is none where there is no spread at all.
    sd_doubt = doubt / (4 * corrected) if corrected > 0 else 0.0
    wide = t * math.sqrt(between / n + Z_LIMITS**2 * sd_doubt)
    low, high = bias - Z_LIMITS * sd, bias + Z_LIMITS * sd
    return ReplicateLimits(
        n, bias, (bias - half, bias + half), between, corrected, sd, (low, high),
        ((low - wide, low + wide), (high - wide, high + wide)),
    )  # fmt: skip


def exact_limits_ci(differences_mmhg: Sequence[float]) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Return exact 95 % intervals of the lower and the upper limit of agreement [mmHg], for normal differences.

    (limit - mean) sqrt(n) / SD follows a noncentral t with n - 1 degrees and noncentrality 1.96 sqrt(n) (Carkeet 2015,
    Optom Vis Sci 92:e71-80, from memory). None beyond EXACT_UP_TO pairs, where the usual interval serves as well.
    Raises AgreementError for fewer than two.
    """
    n = len(differences_mmhg)
    if n < 2:
        raise AgreementError(f"{n} pair: at least 2 are needed for intervals of limits")
    if n > EXACT_UP_TO:
        return None
    from scipy.special import nctdtrit

    bias, sd = _mean(differences_mmhg), math.sqrt(_square_sum(differences_mmhg) / (n - 1))
    near, far = (float(nctdtrit(n - 1, Z_LIMITS * math.sqrt(n), p)) * sd / math.sqrt(n) for p in (0.025, 0.975))
    return (bias - far, bias - near), (bias + near, bias + far)


def trend(means_mmhg: Sequence[float], differences_mmhg: Sequence[float]) -> Trend:
    """Return the least-squares line of difference on mean.

    Raises AgreementError for fewer than three pairs or means that are all one value.
    """
    n = len(means_mmhg)
    if n != len(differences_mmhg) or n < 3:
        raise AgreementError(f"{n} pairs: at least 3 are needed to tell a trend")
    middle, bias = _mean(means_mmhg), _mean(differences_mmhg)
    spread = _square_sum(means_mmhg)
    if spread <= 1e-9:
        raise AgreementError("every pair has the same mean: readings at different pressures are needed for a trend")
    together = math.fsum((x - middle) * (d - bias) for x, d in zip(means_mmhg, differences_mmhg, strict=True))
    slope = together / spread
    left = math.fsum((d - bias - slope * (x - middle)) ** 2 for x, d in zip(means_mmhg, differences_mmhg, strict=True))
    residual = math.sqrt(left / (n - 2))
    error = residual / math.sqrt(spread)
    half = _student_t(n - 2) * error
    exact_line = 1.0 if abs(slope) <= 1e-12 else 0.0
    p = _student_p(slope / error, n - 2) if error > 1e-12 else exact_line
    return Trend(n, slope, (slope - half, slope + half), bias - slope * middle, residual, p)


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)


def _square_sum(values: Sequence[float]) -> float:
    middle = _mean(values)
    return math.fsum((value - middle) ** 2 for value in values)


def _chi_factors(degrees: int) -> tuple[float, float]:
    """What an SD is multiplied with for the ends of its 95 % interval."""
    from scipy.special import chdtri

    return math.sqrt(degrees / float(chdtri(degrees, 0.025))), math.sqrt(degrees / float(chdtri(degrees, 0.975)))


def _student_t(degrees: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.975))


def _student_p(t: float, degrees: int) -> float:
    from scipy.special import stdtr

    return 2 * float(stdtr(degrees, -abs(t)))
