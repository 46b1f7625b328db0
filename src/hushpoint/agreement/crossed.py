"""One mixed model over readings that cross observers, gauges and measurements: the numbers behind `whose`.

reading = measurement (random) + bias of its observer + bias of its gauge + error of the observer's own spread.

The measurements, by far the largest factor, are absorbed: what is left is one dense matrix of observers and gauges.
Restricted likelihood: Patterson & Thompson 1971, Biometrika 58:545-554; mixed-model equations: Henderson 1975,
Biometrics 31:423-447; absorbed form and Fisher scoring: Searle, Casella & McCulloch 1992, Variance Components, ch. 6
and 8 (all from memory; held to an independent library in the tests). Satterthwaite 1946, Biometrics Bull 2:110-114.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SPREAD_PRIOR_DEGREES = 4.0
"""An observer's variance leans to the typical observer's as if on this many further readings (our choice: spreads
that differ between observers as 1.5 to 4 mmHg do have about this many; held by simulation)."""

LEAST_VARIANCE = 1e-3
"""No variance falls under this [mmHg^2]: readings that are equal throughout would weigh infinitely."""

ITERATIONS = 60
LEAST_DEGREES = 0.05
"""Observers with fewer degrees of freedom say nothing of the middle one."""

SETTLED = 1e-4
"""The logarithms of the variances move less than this from one step to the next."""


@dataclass(frozen=True)
class Layout:
    """Readings in order of measurement, as whole numbers: `column` holds observer and gauge of each reading.

    `observer` runs from 0 to `observers` - 1; `gauge` from `observers` to `columns` - 1, or is `columns` where the
    gauge cannot matter. `starts` are the places where a measurement begins. All of length n, but `starts`.
    """

    values: Floats
    measurement: Ints
    observer: Ints
    gauge: Ints
    starts: Ints
    observers: int
    columns: int

    @property
    def n(self) -> int:
        """How many readings there are."""
        return int(self.values.size)

    @cached_property
    def sizes(self) -> Ints:
        """How many readings each measurement has."""
        return np.diff(np.append(self.starts, self.n))

    @cached_property
    def pairs(self) -> tuple[Ints, Ints]:
        """Places (left, right) of every ordered pair of readings of one measurement, each with itself included."""
        reach = self.sizes[self.measurement]
        left = np.repeat(np.arange(self.n), reach)
        first = np.cumsum(reach) - reach
        right = np.arange(left.size) - np.repeat(first - self.starts[self.measurement], reach)
        return left, right

    def by_measurement(self, values: Floats) -> Floats:
        """Sum by measurement."""
        return np.add.reduceat(values, self.starts)

    def by_observer(self, values: Floats) -> Floats:
        """Sum by observer."""
        return np.asarray(np.bincount(self.observer, values, self.observers), dtype=float)

    def by_column(self, values: Floats) -> Floats:
        """Sum by column, observers first."""
        both = np.bincount(self.observer, values, self.columns + 1) + np.bincount(self.gauge, values, self.columns + 1)
        return np.asarray(both[:-1], dtype=float)

    def crossed(self, weights: Floats, left: Ints, right: Ints) -> Floats:
        """The matrix sum of weight x x', x being the 0/1 row of each reading, over (left, right) places."""
        size = self.columns + 1
        total = np.zeros(size * size)
        for one in (self.observer, self.gauge):
            for other in (self.observer, self.gauge):
                total += np.bincount(one[left] * size + other[right], weights, size * size)
        return total.reshape(size, size)[:-1, :-1]

    def quadratic(self, matrix: Floats, left: Ints, right: Ints) -> Floats:
        """x' matrix x of each (left, right) pair of places."""
        padded = np.zeros((self.columns + 1, self.columns + 1))
        padded[:-1, :-1] = matrix
        return sum(
            padded[one[left], other[right]]
            for one in (self.observer, self.gauge)
            for other in (self.observer, self.gauge)
        )  # type: ignore[return-value]

    @cached_property
    def kept(self) -> Ints:
        """Columns that are no sum of others: the rest are 0 by choice of origin."""
        from scipy.linalg.lapack import dpstrf

        every = np.arange(self.n)
        _, pivots, rank, _ = dpstrf(self.crossed(np.ones(self.n), every, every), tol=1e-7)
        return np.sort(np.asarray(pivots[:rank], dtype=np.int64) - 1)

    @cached_property
    def blind(self) -> Floats:
        """Directions (columns x directions) that differences within measurements do not show at all."""
        every, (left, right) = np.arange(self.n), self.pairs
        within = self.crossed(np.ones(self.n), every, every) - self.crossed(
            1.0 / self.sizes[self.measurement[left]], left, right
        )
        size, directions = np.linalg.eigh(within)
        return np.asarray(directions[:, size < 1e-9 * max(1.0, float(size[-1]))])


@dataclass(frozen=True)
class OneVariance:
    """Restricted maximum likelihood with one error variance for all observers [mmHg^2]."""

    measurement_variance: float
    error_variance: float
    minus_two_log_likelihood: float
    effects: Floats
    """Biases by column [mmHg], with columns that are not `kept` at 0."""


def fit_one_variance(layout: Layout) -> OneVariance:
    """Maximise the restricted likelihood over the ratio of the two variances."""
    from scipy.linalg import cho_solve
    from scipy.optimize import minimize_scalar

    kept, n = layout.kept, layout.n
    rank = kept.size
    middle = float(layout.values.mean())
    y = layout.values - middle
    every, (left, right) = np.arange(n), layout.pairs
    sizes = np.unique(layout.sizes)
    counts = [int((layout.sizes == size).sum()) for size in sizes]
    sums = layout.by_measurement(y)

    def bordered(matrix: Floats, side: Floats, corner: float) -> Floats:
        whole = np.empty((rank + 1, rank + 1))
        whole[:-1, :-1], whole[-1, :-1], whole[:-1, -1], whole[-1, -1] = matrix[np.ix_(kept, kept)], side, side, corner
        return whole

    plain = bordered(layout.crossed(np.ones(n), every, every), layout.by_column(y)[kept], float(y @ y))
    blocks = []
    for size in sizes:
        mine = layout.sizes[layout.measurement] == size
        both = mine[left]
        total = np.where(mine, sums[layout.measurement], 0.0)
        blocks.append(
            bordered(
                layout.crossed(np.ones(int(both.sum())), left[both], right[both]),
                layout.by_column(total)[kept],
                float((sums[layout.sizes == size] ** 2).sum()),
            )
        )

    def at(ratio: float) -> tuple[float, float, Floats]:
        """-2 log likelihood, error variance and the Cholesky factor at a ratio of measurement to error variance."""
        matrix = plain - sum(block * (ratio / (1 + size * ratio)) for size, block in zip(sizes, blocks, strict=True))
        matrix[-1, -1] += LEAST_VARIANCE  # readings equal throughout leave nothing over
        factor = np.linalg.cholesky(matrix)
        error = max(LEAST_VARIANCE, float(factor[-1, -1] ** 2) / (n - rank))
        level = sum(count * math.log1p(size * ratio) for size, count in zip(sizes, counts, strict=True))
        level += 2 * float(np.log(np.diag(factor)[:-1]).sum())
        return level + (n - rank) * (math.log(error) + 1 + math.log(2 * math.pi)), error, factor

    best = minimize_scalar(
        lambda log_ratio: at(math.exp(log_ratio))[0], bounds=(-12.0, 14.0), method="bounded", options={"xatol": 1e-7}
    )
    ratio = math.exp(float(best.x))
    level, error, factor = at(ratio)
    effects = np.zeros(layout.columns)
    effects[kept] = cho_solve((factor[:-1, :-1], True), _side(factor))
    effects[: layout.observers] += middle
    return OneVariance(ratio * error, error, level, effects)


def _side(factor: Floats) -> Floats:
    """The right-hand side that a bordered Cholesky factor holds in its last row."""
    return np.asarray(factor[:-1, :-1] @ factor[-1, :-1])


@dataclass(frozen=True)
class OwnSpreads:
    """The fit with a variance for each observer [mmHg^2].

    `covariance` is that of the biases (columns x columns, 0 where not kept); `log_covariance` that of the logarithms of
    the observers' variances. By reading: `weight` is 1 / variance, `left_over` what the fit does not explain [mmHg],
    `scaled` that in its own standard deviations, `degrees` what the reading adds to its observer's degrees of freedom.
    """

    layout: Layout
    measurement_variance: float
    variances: Floats
    effects: Floats
    covariance: Floats
    log_covariance: Floats
    weight: Floats
    left_over: Floats
    scaled: Floats
    degrees: Floats

    def contrasts(self, rows: Floats, many: NDArray[np.bool_] | None = None) -> tuple[Floats, Floats, Floats]:
        """Estimate, standard error [mmHg] and Satterthwaite's degrees of freedom of each row of contrasts.

        Where `many` says that a row rests on so many readings that they do not matter, its degrees are infinite.
        """
        spread = rows @ self.covariance
        variance = np.maximum(1e-12, (spread * rows).sum(axis=1))
        degrees = np.full(rows.shape[0], np.inf)
        few = np.ones(rows.shape[0], dtype=bool) if many is None else ~many
        if few.any():
            slopes = self._slopes(spread[few]) * self.variances
            doubt = ((slopes @ self.log_covariance) * slopes).sum(axis=1)
            degrees[few] = np.maximum(1.0, 2 * variance[few] ** 2 / np.maximum(doubt, 1e-12))
        return rows @ self.effects, np.sqrt(variance), degrees

    def _slopes(self, spread: Floats, at_once: int = 64) -> Floats:
        """How each contrast's variance grows with each observer's variance: sums of squared coefficients."""
        layout, found = self.layout, np.empty((spread.shape[0], self.layout.observers))
        precision = layout.by_measurement(self.weight) + 1 / self.measurement_variance
        order = np.argsort(layout.observer, kind="stable")
        seen, begin = np.unique(layout.observer[order], return_index=True)
        for first in range(0, spread.shape[0], at_once):
            part = np.zeros((layout.columns + 1, min(at_once, spread.shape[0] - first)))
            part[:-1] = spread[first : first + at_once].T
            own = part[layout.observer] + part[layout.gauge]
            own *= self.weight[:, None]
            shared = np.add.reduceat(own, layout.starts, axis=0) / precision[:, None]
            own -= self.weight[:, None] * shared[layout.measurement]
            own *= own
            found[first : first + at_once] = 0.0
            found[first : first + at_once, seen] = np.add.reduceat(own[order], begin, axis=0).T
        return found


def fit_own_spreads(layout: Layout, start: OneVariance) -> OwnSpreads:
    """Give every observer a variance of their own, by Fisher scoring of the restricted likelihood.

    Each variance has a scaled inverse chi-square prior of SPREAD_PRIOR_DEGREES about the middle observer's. Terms of
    the information that run between measurements are replaced by a scaling for the degrees that the biases use up.
    """
    logs = np.full(layout.observers + 1, math.log(start.error_variance))
    logs[-1] = math.log(max(LEAST_VARIANCE, start.measurement_variance))
    for _ in range(ITERATIONS):
        now = _equations(layout, np.exp(logs))
        typical = _typical_variance(now, layout)
        lean = SPREAD_PRIOR_DEGREES / 2 * (typical / now.variances)
        score = now.score.copy()
        score[:-1] += lean - SPREAD_PRIOR_DEGREES / 2
        # The smaller of what the prior weighs here and at its middle would be too little far out, so the larger holds.
        information = now.information.copy()
        information[np.arange(layout.observers), np.arange(layout.observers)] += np.maximum(
            lean, SPREAD_PRIOR_DEGREES / 2
        )
        step = np.clip(np.linalg.solve(information, score), -1.0, 1.0)
        logs = np.clip(logs + step, math.log(LEAST_VARIANCE), 20.0)
        if float(np.abs(step).max()) < SETTLED:
            break
    now = _equations(layout, np.exp(logs))
    # The middle that they lean to is not known beforehand: only how far they lie from one another is, a priori.
    count = layout.observers
    now.information[:count, :count] += SPREAD_PRIOR_DEGREES / 2 * (np.eye(count) - 1 / count)
    log_covariance = np.asarray(np.linalg.inv(now.information)[:-1, :-1], dtype=float)
    return OwnSpreads(
        layout, float(np.exp(logs[-1])), now.variances, now.effects, now.covariance, log_covariance, now.weight,
        now.left_over, now.scaled, now.degrees,
    )  # fmt: skip


def _typical_variance(now: _Equations, layout: Layout) -> float:
    """The middle that observers' variances lean to: the harmonic mean of their spreads, squared.

    A single large one hardly moves it. The harmonic mean of the variances, the prior's likeliest scale, is a little low
    with few readings, their geometric mean a little high (both by simulation).
    """
    told = layout.by_observer(now.degrees) > LEAST_DEGREES
    return max(LEAST_VARIANCE, float(np.mean(now.variances[told] ** -0.5)) ** -2) if told.any() else LEAST_VARIANCE


@dataclass(frozen=True)
class _Equations:
    variances: Floats
    effects: Floats
    covariance: Floats
    weight: Floats
    left_over: Floats
    scaled: Floats
    degrees: Floats
    score: Floats
    information: Floats


def _equations(layout: Layout, variances: Floats) -> _Equations:
    """Solve the mixed-model equations at given variances (observers', then the measurements'); score and information.

    Score and information are of the logarithms. P is V^-1 less the part for the biases, Q = V^-1 by measurement.
    """
    own, between = variances[:-1], float(variances[-1])
    weight = 1 / own[layout.observer]
    total = layout.by_measurement(weight)
    precision = total + 1 / between
    every, (left, right) = np.arange(layout.n), layout.pairs
    inside = layout.measurement
    shares = weight / precision[inside]
    kept = layout.kept
    matrix = layout.crossed(weight, every, every) - layout.crossed(weight[left] * shares[right], left, right)
    covariance = np.zeros_like(matrix)
    covariance[np.ix_(kept, kept)] = np.linalg.inv(matrix[np.ix_(kept, kept)])
    middle = float(layout.values.mean())
    y = layout.values - middle
    level = layout.by_measurement(weight * y) / precision
    effects = covariance @ layout.by_column(weight * (y - level[inside]))
    padded = np.append(effects, 0.0)
    rest = y - padded[layout.observer] - padded[layout.gauge]
    person = layout.by_measurement(weight * rest) / precision
    left_over = rest - person[inside]
    # Variance of what the fit explains: (x - x~)' K (x - x~) + 1 / precision, x~ the weighted mean of the measurement.
    together = layout.quadratic(covariance, left, right)
    mixed = np.bincount(left, together * shares[right], layout.n)
    alone = together[left == right]
    means = layout.by_measurement(shares * mixed)
    explained = alone - 2 * mixed + means[inside] + 1 / precision[inside]
    p_diagonal = np.maximum(weight - weight**2 * explained, 0.0)
    q_diagonal = weight - weight * shares
    shrunk = 1 + between * total
    score = np.empty(own.size + 1)
    score[:-1] = own / 2 * layout.by_observer((weight * left_over) ** 2 - p_diagonal)
    pull = person / between  # Z' P y
    z_variance = total / shrunk - (precision / shrunk) ** 2 * means
    score[-1] = between / 2 * float((pull**2 - z_variance).sum())
    information = np.zeros((own.size + 1, own.size + 1))
    apart = left != right
    information[:-1, :-1] = np.bincount(
        layout.observer[left[apart]] * own.size + layout.observer[right[apart]],
        (weight[left[apart]] * shares[right[apart]]) ** 2,
        own.size**2,
    ).reshape(own.size, own.size)
    information[np.arange(own.size), np.arange(own.size)] += layout.by_observer(q_diagonal**2)
    information[-1, :-1] = information[:-1, -1] = layout.by_observer((weight / shrunk[inside]) ** 2)
    information[-1, -1] = float(((total / shrunk) ** 2).sum())
    used = np.sqrt(
        np.append(
            np.maximum(layout.by_observer(p_diagonal), 1e-12) / np.maximum(layout.by_observer(q_diagonal), 1e-12), 1.0
        )
    )
    scales = variances * used
    information *= np.outer(scales, scales) / 2
    information[np.diag_indices_from(information)] += 1e-9
    effects = effects.copy()
    effects[: layout.observers] += middle
    scaled = np.where(p_diagonal * own[layout.observer] > 1e-6, weight * left_over, 0.0) / np.sqrt(
        np.maximum(p_diagonal, 1e-12)
    )
    return _Equations(
        own, effects, covariance, weight, left_over, scaled, p_diagonal * own[layout.observer], score, information
    )


def layout_of(
    measurements: Sequence[str], observers: Sequence[str], gauges: Sequence[str], values: Floats
) -> tuple[Layout, tuple[str, ...], tuple[str, ...], Ints]:
    """Return the layout, the names of observers and of gauges by column, and the place of each row in the input.

    A gauge has a column only if some measurement was read on it and on another one: elsewhere its bias is part of the
    measurement. Names stand in the order of first appearance.
    """
    m, _ = _numbered(measurements)
    order = np.argsort(m, kind="stable")
    m = m[order]
    o, observer_names = _numbered(observers)
    g, gauge_names = _numbered(gauges)
    o, g = o[order], g[order]
    starts = np.flatnonzero(np.append(True, m[1:] != m[:-1]))
    inside = np.cumsum(np.append(False, m[1:] != m[:-1])).astype(np.int64)
    mixed = np.minimum.reduceat(g, starts) != np.maximum.reduceat(g, starts)
    told = np.unique(g[mixed[inside]])
    column = np.full(len(gauge_names), len(observer_names) + told.size, dtype=np.int64)
    column[told] = len(observer_names) + np.arange(told.size)
    made = Layout(
        np.asarray(values, dtype=float)[order], inside, o, column[g], starts, len(observer_names),
        len(observer_names) + int(told.size),
    )  # fmt: skip
    return made, observer_names, tuple(gauge_names[place] for place in told), order


def _numbered(names: Sequence[str]) -> tuple[Ints, tuple[str, ...]]:
    places = {name: place for place, name in enumerate(dict.fromkeys(names))}
    numbers = np.fromiter(map(places.__getitem__, names), dtype=np.int64, count=len(names))
    return numbers, tuple(places)
