"""A gauge that seems off in ordinary class data, with its odds, so that it is checked today.

Measurements read on two gauges at once set the gauges against one another, observers' own biases taken out by the model
of crossed.py. For each gauge and each week the odds weigh "fine" (errors of good gauges, SD FINE_SD_MMHG) against "off
since that week" (SD OFF_SD_MMHG). Looking again every week does not spoil them: the weight of all "off since" together
is fixed beforehand, so under "fine" the odds are a nonnegative martingale and exceed any limit with a chance of at most
prior odds / limit, however often one looks (Ville 1939; Robbins 1970, Ann Math Stat 41:1397-1409, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from hushpoint.agreement.crossed import Floats, Ints
from hushpoint.agreement.fitted import FittedEnd

FINE_SD_MMHG = 1.0
"""Good gauges lie within 3 mmHg (ISO 81060-1, from memory); an SD of a third of that is our choice."""

OFF_SD_MMHG = 5.0
"""A gauge that is off is off by so much (our choice; of 310 aneroids 13 % were beyond 7)."""

OFF_FROM_THE_START = 0.08
OFF_LATER_EACH_WEEK = 0.005
"""Chances beforehand that a gauge is off when a term begins, and that it goes off in a week (our choice; published
surveys found more, but gauges checked before the term are fewer)."""

NAMED_FROM = 0.9
"""A gauge is named when it is off with at least this chance: odds of 9 to 1 (our choice; with the chances above a fine
gauge is then named in at most 1.8 % of terms of 12 weeks)."""

OBSERVER_SD_MMHG = 4.0
"""Observers' biases beforehand, so that an observer always on one gauge is not taken for the gauge (our choice)."""


@dataclass(frozen=True, slots=True)
class GaugeOdds:
    """How likely a gauge is off, over `n` readings beside another gauge.

    `off_mmhg` is how far it is off the fine ones if it is off, with a 95 % interval; `since` the Monday of the week
    from which on, "" where no times are told or it was so from the start.
    """

    gauge: str
    n: int
    chance_off: float
    off_mmhg: float
    off_ci_mmhg: tuple[float, float]
    since: str
    named: bool


@dataclass(frozen=True, slots=True)
class GaugeWatch:
    """All gauges read beside others; `undecided` are those of which one is off, though it is not clear which."""

    gauges: tuple[GaugeOdds, ...]
    undecided: tuple[str, ...]


def gauge_watch(found: FittedEnd) -> GaugeWatch:
    """Weigh for every gauge of a fit whether it is off. Weeks come from the readings' `at`; without it they are one."""
    if len(found.gauges) < 2:
        return GaugeWatch((), ())
    weeks, mondays = _weeks(found)
    evidence = _evidence(found, weeks, len(mondays))
    layout = found.layout
    mixed = np.minimum.reduceat(layout.gauge, layout.starts) != np.maximum.reduceat(layout.gauge, layout.starts)
    n = np.bincount(layout.gauge[mixed[layout.measurement]], minlength=layout.columns + 1)[layout.observers : -1]
    told: dict[int, GaugeOdds] = {}
    known: list[int] = []  # columns (gauge and week) held to be off by now
    while True:
        now = _weigh(evidence, known, len(mondays))
        fresh = []
        for gauge, name in enumerate(found.gauges):
            if gauge in told and told[gauge].named:
                continue
            column = int(now.likeliest[gauge])
            off, half = float(now.size_mmhg[column]), 1.96 * float(now.error_mmhg[column])
            week = column % len(mondays)
            named = bool(now.chances[gauge] >= NAMED_FROM)
            told[gauge] = GaugeOdds(
                name, int(n[gauge]), float(now.chances[gauge]), off, (off - half, off + half),
                mondays[week] if week else "", named,
            )  # fmt: skip
            if named:
                fresh.append(column)
        if not fresh:
            break
        known += fresh
    undecided: tuple[str, ...] = ()
    if now.some_off >= NAMED_FROM:
        suspects = sorted((gauge for gauge in told if not told[gauge].named), key=lambda gauge: -told[gauge].chance_off)
        total, most = 0.0, list[int]()
        for gauge in suspects:
            most.append(gauge)
            total += told[gauge].chance_off
            if total >= NAMED_FROM:
                break
        undecided = tuple(found.gauges[gauge] for gauge in sorted(most))
    return GaugeWatch(tuple(told[gauge] for gauge in range(len(found.gauges))), undecided)


def _weeks(found: FittedEnd) -> tuple[Ints, tuple[str, ...]]:
    """The week of each reading, from 0 on, and the weeks' Mondays; readings without a time count to the first."""
    mondays = {at: _monday(at) for at in {row.at for row in found.rows}}
    told = sorted({monday for monday in mondays.values() if monday is not None})
    places = {monday: place for place, monday in enumerate(told)}
    week_of = {at: 0 if monday is None else places[monday] for at, monday in mondays.items()}
    weeks = np.array([week_of[row.at] for row in found.rows], dtype=np.int64)
    return weeks, tuple(monday.isoformat() for monday in told) or ("",)


def _monday(at: str) -> date | None:
    try:
        day = date.fromisoformat(at[:10])
    except ValueError:
        return None
    return day - timedelta(days=day.weekday())


def _evidence(found: FittedEnd, weeks: Ints, count: int) -> tuple[Floats, Floats]:
    """Information matrix and score of "gauge j reads higher by 1 from week s on", observers taken out.

    Column j x weeks + s. Measurements are fixed here: only differences within them speak.
    """
    layout, weight = found.layout, found.own.weight
    cell = np.where(
        layout.gauge < layout.columns,
        layout.observers + (layout.gauge - layout.observers) * count + weeks,
        layout.observers + len(found.gauges) * count,
    )
    split = replace(layout, gauge=cell, columns=layout.observers + len(found.gauges) * count)
    every, (left, right) = np.arange(layout.n), layout.pairs
    total = layout.by_measurement(weight)
    shares = weight / total[layout.measurement]
    matrix = split.crossed(weight, every, every) - split.crossed(weight[left] * shares[right], left, right)
    level = layout.by_measurement(weight * layout.values) / total
    score = split.by_column(weight * (layout.values - level[layout.measurement]))
    o = layout.observers
    own = np.linalg.inv(matrix[:o, :o] + np.eye(o) / OBSERVER_SD_MMHG**2)
    information = matrix[o:, o:] - matrix[o:, :o] @ own @ matrix[:o, o:]
    score = score[o:] - matrix[o:, :o] @ own @ score[:o]
    shape = (len(found.gauges), count)
    blocks = _from_each_week_on(_from_each_week_on(information.reshape(*shape, *shape), 1), 3)
    return blocks.reshape(information.shape), _from_each_week_on(score.reshape(shape), 1).ravel()


def _from_each_week_on(values: Floats, axis: int) -> Floats:
    return np.asarray(np.flip(np.cumsum(np.flip(values, axis), axis=axis), axis), dtype=float)


@dataclass(frozen=True)
class _Weighed:
    """By gauge: the chance that it is off and its likeliest column; by column: size [mmHg] and its SD."""

    chances: Floats
    likeliest: Ints
    size_mmhg: Floats
    error_mmhg: Floats
    some_off: float


def _weigh(evidence: tuple[Floats, Floats], known: list[int], count: int) -> _Weighed:
    """Weigh "all fine", each gauge and week alone, and each two of different gauges, given what is `known` to be off.

    The marginal likelihood of a linear Gaussian model against that without its columns: 1/2 b' (J + 1/t^2)^-1 b -
    1/2 log det(1 + t^2 J), b and J being score and information after the fine errors of all gauges are taken out.
    """
    information, score = evidence
    columns = score.size
    base = [*range(0, columns, count), *known]
    precision = np.array([FINE_SD_MMHG**-2] * (columns // count) + [OFF_SD_MMHG**-2] * len(known))
    taken = np.linalg.solve(information[np.ix_(base, base)] + np.diag(precision), information[base])
    j = information - information[:, base] @ taken
    b = score - taken.T @ score[base]
    prior = OFF_SD_MMHG**-2
    diagonal = np.maximum(np.diag(j), 0.0) + prior
    gauge = np.arange(columns) // count
    open_ = ~np.isin(gauge, [column // count for column in known])
    off = OFF_FROM_THE_START + OFF_LATER_EACH_WEEK * (count - 1)
    first = np.arange(columns) % count == 0
    log_prior = np.log(np.where(first, OFF_FROM_THE_START, OFF_LATER_EACH_WEEK) / (1 - off))
    single = log_prior + b**2 / (2 * diagonal) - np.log(diagonal / prior) / 2
    determinant = np.maximum(np.outer(diagonal, diagonal) - j**2, 1e-12)
    square = (
        np.add.outer(b**2, np.zeros(columns)) * diagonal + np.add.outer(np.zeros(columns), b**2) * diagonal[:, None]
    )
    both = (square - 2 * j * np.outer(b, b)) / determinant / 2 - np.log(determinant / prior**2) / 2
    both += np.add.outer(log_prior, log_prior)
    apart = (gauge[:, None] < gauge) & open_[:, None] & open_
    top = max(0.0, float(single[open_].max(initial=-math.inf)), float(both[apart].max(initial=-math.inf)))
    alone = np.where(open_, np.exp(np.minimum(single - top, 0.0)), 0.0)
    paired = np.where(apart, np.exp(np.minimum(both - top, 0.0)), 0.0)
    fine = math.exp(-top)
    whole = fine + float(alone.sum()) + float(paired.sum())
    by_column = (alone + paired.sum(axis=0) + paired.sum(axis=1)) / whole
    by_gauge = by_column.reshape(-1, count)
    return _Weighed(
        by_gauge.sum(axis=1),
        by_gauge.argmax(axis=1) + count * np.arange(columns // count),
        b / diagonal,
        1 / np.sqrt(diagonal),
        1 - fine / whole,
    )
