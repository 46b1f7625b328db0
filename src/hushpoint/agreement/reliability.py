"""Reliability: intraclass correlations with intervals, Lin's concordance, kappa, exact shares.

Sources: Shrout PE, Fleiss JL 1979, Psychol Bull 86:420-428 (six forms; intervals as in McGraw & Wong 1996, Psychol
Methods 1:30-46, from memory); Lin LI 1989, Biometrics 45:255-268 (population variances; Fisher's z, from memory);
Cohen 1960, Educ Psychol Meas 20:37-46, with the variance of Fleiss, Cohen & Everitt 1969 (from memory);
Clopper & Pearson 1934, Biometrika 26:404-413.
A correlation grows with the spread of the people measured: it never replaces bias and limits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from hushpoint.agreement.differences import AgreementError

KAPPA_EXACT_UP_TO = 60
"""Up to this many judgements the p of a two-by-two kappa is exact (permutations, the margins held)."""


@dataclass(frozen=True, slots=True)
class Correlation:
    """An estimate with its 95 % interval, low end first."""

    value: float
    ci: tuple[float, float]


@dataclass(frozen=True, slots=True)
class IntraclassCorrelations:
    """The six forms over `people` rated by `raters`, with the mean squares they come from.

    Form (1, .) has other raters for each person, (2, .) raters drawn from many, (3, .) these raters only; (., 1) is for
    one rating, (., k) for the mean of all raters. For sign-off of one learner beside one reference: `two_one`.
    """

    people: int
    raters: int
    between_people: float
    within_people: float
    between_raters: float
    residual: float
    one_one: Correlation
    two_one: Correlation
    three_one: Correlation
    one_k: Correlation
    two_k: Correlation
    three_k: Correlation


@dataclass(frozen=True, slots=True)
class Kappa:
    """Agreement of two assessors beyond chance; `n` judgements. `kappa` is None where chance alone would agree always.

    `ci` is a 95 % interval for large n, None with kappa. `p` is one-sided for no more agreement than by chance,
    exact for two categories and n up to KAPPA_EXACT_UP_TO, else None.
    """

    n: int
    agreement: float
    by_chance: float
    kappa: float | None
    ci: tuple[float, float] | None
    p: float | None


def intraclass(ratings: Sequence[Sequence[float]]) -> IntraclassCorrelations:
    """Return the six forms for a full table: one row a person, one column a rater.

    Raises AgreementError for fewer than two people or raters, ragged rows, or ratings all of one value.
    """
    n, k = len(ratings), len(ratings[0]) if ratings else 0
    if n < 2 or k < 2 or any(len(row) != k for row in ratings):
        raise AgreementError(f"a table of {n} people and {k} raters: at least 2 of each and no gaps are needed")
    grand = math.fsum(math.fsum(row) for row in ratings) / (n * k)
    rows = [math.fsum(row) / k for row in ratings]
    columns = [math.fsum(row[j] for row in ratings) / n for j in range(k)]
    people_square = k * math.fsum((value - grand) ** 2 for value in rows)
    rater_square = n * math.fsum((value - grand) ** 2 for value in columns)
    within_square = math.fsum((x - rows[i]) ** 2 for i, row in enumerate(ratings) for x in row)
    residual_square = math.fsum(
        (x - rows[i] - columns[j] + grand) ** 2 for i, row in enumerate(ratings) for j, x in enumerate(row)
    )
    if people_square + within_square <= 1e-12:
        raise AgreementError("every rating is the same value: ratings of different people are needed")
    bms, wms = people_square / (n - 1), within_square / (n * (k - 1))
    jms, ems = rater_square / (k - 1), residual_square / ((n - 1) * (k - 1))
    one, two = _one_way(bms, wms, n, k), _two_way_random(bms, jms, ems, n, k)
    three = _two_way_fixed(bms, ems, n, k)
    return IntraclassCorrelations(
        n, k, bms, wms, jms, ems, one, two, three,
        Correlation(_ratio(bms - wms, bms), _stepped(one.ci, k)),
        Correlation(_ratio(bms - ems, bms + (jms - ems) / n), _stepped(two.ci, k)),
        Correlation(_ratio(bms - ems, bms), _stepped(three.ci, k)),
    )  # fmt: skip


def _ratio(top: float, bottom: float) -> float:
    """A correlation of mean squares; with no variance between people at all it is minus infinity, told as such."""
    if abs(bottom) > 1e-12:
        return top / bottom
    return 1.0 if top >= 0 else -math.inf


def _one_way(bms: float, wms: float, n: int, k: int) -> Correlation:
    value = _ratio(bms - wms, bms + (k - 1) * wms)
    return Correlation(value, _interval_of_f(bms, wms, n - 1, n * (k - 1), k))


def _two_way_fixed(bms: float, ems: float, n: int, k: int) -> Correlation:
    value = _ratio(bms - ems, bms + (k - 1) * ems)
    return Correlation(value, _interval_of_f(bms, ems, n - 1, (n - 1) * (k - 1), k))


def _interval_of_f(bms: float, error: float, above: int, below: int, k: int) -> tuple[float, float]:
    if error <= 1e-12:
        return 1.0, 1.0
    f = bms / error
    low, high = f / _f_975(above, below), f * _f_975(below, above)
    return (low - 1) / (low + k - 1), (high - 1) / (high + k - 1)


def _two_way_random(bms: float, jms: float, ems: float, n: int, k: int) -> Correlation:
    """Form (2, 1); the interval by Satterthwaite's degrees, from Fleiss & Shrout 1978, Psychometrika 43:259-262."""
    value = _ratio(bms - ems, bms + (k - 1) * ems + k * (jms - ems) / n)
    if ems <= 1e-12 and jms <= 1e-12:
        return Correlation(value, (1.0, 1.0))
    if ems <= 1e-12:
        # Only the raters' levels differ: their mean square has k - 1 degrees.
        degrees = float(k - 1)
    else:
        f, rho = jms / ems, value
        top = (k - 1) * (n - 1) * (k * rho * f + n * (1 + (k - 1) * rho) - k * rho) ** 2
        bottom = (n - 1) * k**2 * rho**2 * f**2 + (n * (1 + (k - 1) * rho) - k * rho) ** 2
        degrees = top / bottom
    both = k * jms + (k * n - k - n) * ems
    upper_f, lower_f = _f_975(n - 1, degrees), _f_975(degrees, n - 1)
    low = n * (bms - upper_f * ems) / (upper_f * both + n * bms)
    high = n * (lower_f * bms - ems) / (both + n * lower_f * bms)
    return Correlation(value, (low, high))


def _stepped(ci: tuple[float, float], k: int) -> tuple[float, float]:
    """The interval of a mean of k ratings from that of one (Spearman-Brown)."""
    low, high = (k * end / (1 + (k - 1) * end) if 1 + (k - 1) * end > 1e-12 else -math.inf for end in ci)
    return low, high


def _f_975(above: float, below: float) -> float:
    from scipy.special import fdtri

    return float(fdtri(above, below, 0.975))


def concordance(mine: Sequence[float], theirs: Sequence[float]) -> Correlation:
    """Return Lin's concordance of two columns: 1 only where every pair is equal.

    Raises AgreementError for fewer than four pairs or a column without spread.
    """
    n = len(mine)
    if n != len(theirs) or n < 4:
        raise AgreementError(f"{n} pairs: at least 4 are needed for concordance")
    x, y = math.fsum(mine) / n, math.fsum(theirs) / n
    xx = math.fsum((value - x) ** 2 for value in mine) / n
    yy = math.fsum((value - y) ** 2 for value in theirs) / n
    xy = math.fsum((a - x) * (b - y) for a, b in zip(mine, theirs, strict=True)) / n
    if min(xx, yy) <= 1e-12:
        raise AgreementError("one observer wrote one value every time: readings that differ are needed")
    value = 2 * xy / (xx + yy + (x - y) ** 2)
    rho = xy / math.sqrt(xx * yy)
    if 1 - abs(value) < 1e-12:
        return Correlation(value, (value, value))
    if abs(rho) < 1e-12:
        return Correlation(value, (-1.0, 1.0))
    shift = (x - y) ** 2 / math.sqrt(xx * yy)
    # Asymptotic variance of Fisher's z of the concordance, with Lin's correction of 2000.
    variance = (
        (1 - rho**2) * value**2 / ((1 - value**2) * rho**2)
        + 2 * value**3 * (1 - value) * shift / (rho * (1 - value**2) ** 2)
        - value**4 * shift**2 / (2 * rho**2 * (1 - value**2) ** 2)
    ) / (n - 2)
    half = 1.959963984540054 * math.sqrt(max(0.0, variance))
    z = math.atanh(value)
    return Correlation(value, (math.tanh(z - half), math.tanh(z + half)))


def kappa(table: Sequence[Sequence[int]]) -> Kappa:
    """Return Cohen's kappa of a square table of counts: rows one assessor's categories, columns the other's.

    Raises AgreementError for a table that is not square, of fewer than two categories, with a negative count or empty.
    """
    size = len(table)
    if size < 2 or any(len(row) != size for row in table) or any(count < 0 for row in table for count in row):
        raise AgreementError("a square table of counts, 0 or more, with at least 2 categories is needed")
    n = sum(sum(row) for row in table)
    if n == 0:
        raise AgreementError("no judgements: at least 1 is needed")
    rows = [Fraction(sum(row), n) for row in table]
    columns = [Fraction(sum(row[j] for row in table), n) for j in range(size)]
    agreed = Fraction(sum(table[i][i] for i in range(size)), n)
    chance = sum((a * b for a, b in zip(rows, columns, strict=True)), Fraction(0))
    if chance == 1:
        return Kappa(n, float(agreed), 1.0, None, None, None)
    value = (agreed - chance) / (1 - chance)
    share = [[Fraction(count, n) for count in row] for row in table]
    first = sum((share[i][i] * (1 - (rows[i] + columns[i]) * (1 - value)) ** 2 for i in range(size)), Fraction(0))
    second = (1 - value) ** 2 * sum(
        (share[i][j] * (columns[i] + rows[j]) ** 2 for i in range(size) for j in range(size) if i != j), Fraction(0)
    )
    third = (value - chance * (1 - value)) ** 2
    error = math.sqrt(max(0.0, float((first + second - third) / (n * (1 - chance) ** 2))))
    half = 1.959963984540054 * error
    ends = (max(-1.0, float(value) - half), min(1.0, float(value) + half))
    return Kappa(n, float(agreed), float(chance), float(value), ends, _kappa_p(table, n))


def _kappa_p(table: Sequence[Sequence[int]], n: int) -> float | None:
    """The chance of at least this agreement with the margins held: for two categories the hypergeometric tail."""
    if len(table) != 2 or n > KAPPA_EXACT_UP_TO:
        return None
    row, column = sum(table[0]), table[0][0] + table[1][0]
    ways = math.comb(n, column)
    # With the margins held, agreement rises with the first cell.
    tail = sum(
        math.comb(row, both) * math.comb(n - row, column - both)
        for both in range(table[0][0], min(row, column) + 1)
        if column - both <= n - row
    )
    return float(Fraction(tail, ways))


def share_interval(within: int, n: int) -> tuple[float, float]:
    """Return the exact 95 % interval (Clopper-Pearson) of a share `within` of `n`, from 0 to 1.

    Raises AgreementError unless 0 <= within <= n and n >= 1.
    """
    if not 0 <= within <= n or n < 1:
        raise AgreementError(f"{within} of {n}: a count from 0 to n, n at least 1, is needed")
    from scipy.special import betaincinv

    low = 0.0 if within == 0 else float(betaincinv(within, n - within + 1, 0.025))
    high = 1.0 if within == n else float(betaincinv(within + 1, n - within, 0.975))
    return low, high
