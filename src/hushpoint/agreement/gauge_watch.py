"""A gauge that seems off in ordinary class data, with its odds, so that it is checked today.

Measurements read on two gauges at once set the gauges against one another, and, less sharply, measurements of one
client on one day on different gauges: between two inflations the pressure itself moves. Observers' own biases are
taken out by the model of crossed.py; how a learner errs on listening papers, whose truth is known, says beforehand
where it lies, so that a gauge low under learners who hear well is told from learners who read low. For each gauge and
each week the odds weigh "fine" (errors of good gauges, SD FINE_SD_MMHG) against "off since that week" (SD
OFF_SD_MMHG). Looking again every week does not spoil them: the weight of all "off since" together is fixed
beforehand, so under "fine" the odds are a nonnegative martingale and exceed any limit with a chance of at most prior
odds / limit, however often one looks (Ville 1939; Robbins 1970, Ann Math Stat 41:1397-1409, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

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

PAPER_SD_MMHG = 2.0
"""An observer's bias on real arms lies about that on listening papers with this SD (our choice: no gauge, hand or
parallax is in a paper)."""

FEWEST_ON_PAPER = 5
WIDEST_ON_PAPER_MMHG = 20.0
"""A bias on papers takes so many answers; those further off are a silent gap or a slip, no bias (our choices)."""

INFLATIONS_SD_MMHG = 6.1
"""At least so far a client's systolic pressure moves from one inflation to the next (Bland & Altman 1999: variance
within a person 37.4 by observer J); more where the readings show more."""


@dataclass(frozen=True, slots=True)
class GaugeOdds:
    """How likely a gauge is off, over `n` readings of measurements or of clients' days with another gauge.

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


def gauge_watch(found: FittedEnd, papers: Mapping[str, Sequence[float]] | None = None) -> GaugeWatch:
    """Weigh for every gauge of a fit whether it is off. Weeks come from the readings' `at`; without it they are one.

    `papers` holds observers' errors on listening papers [mmHg], written minus truth.
    """
    sitting = _sittings(found)
    names = tuple(dict.fromkeys(row.gauge for row in found.rows))
    number = {name: place for place, name in enumerate(names)}
    gauge = np.array([number[row.gauge] for row in found.rows], dtype=np.int64)
    compared = _mixed(gauge, sitting)[sitting]
    gauges = tuple(name for place, name in enumerate(names) if compared[gauge == place].any())
    if len(gauges) < 2:
        return GaugeWatch((), ())
    weeks, mondays = _weeks(found)
    place_of = np.array([gauges.index(name) if name in gauges else len(gauges) for name in names], dtype=np.int64)
    n = np.bincount(place_of[gauge[compared]], minlength=len(gauges))
    evidence = _evidence(found, place_of[gauge], weeks, sitting, (len(gauges), len(mondays)), papers or {})
    told: dict[int, GaugeOdds] = {}
    known: list[int] = []  # columns (gauge and week) held to be off by now
    while True:
        now = _weigh(evidence, known, len(mondays))
        fresh = []
        for place, name in enumerate(gauges):
            if place in told and told[place].named:
                continue
            column = int(now.likeliest[place])
            off, half = float(now.size_mmhg[column]), 1.96 * float(now.error_mmhg[column])
            week = column % len(mondays)
            named = bool(now.chances[place] >= NAMED_FROM)
            told[place] = GaugeOdds(
                name, int(n[place]), float(now.chances[place]), off, (off - half, off + half),
                mondays[week] if week else "", named,
            )  # fmt: skip
            if named:
                fresh.append(column)
        if not fresh:
            break
        known += fresh
    undecided: tuple[str, ...] = ()
    if now.some_off >= NAMED_FROM:
        suspects = sorted((place for place in told if not told[place].named), key=lambda place: -told[place].chance_off)
        total, most = 0.0, list[int]()
        for place in suspects:
            most.append(place)
            total += told[place].chance_off
            if total >= NAMED_FROM:
                break
        undecided = tuple(gauges[place] for place in sorted(most))
    return GaugeWatch(tuple(told[place] for place in range(len(gauges))), undecided)


def _sittings(found: FittedEnd) -> Ints:
    """Number what is compared within: one client's day where client and day are told, else the measurement alone."""
    numbers: dict[tuple[str, str], int] = {}
    keys = [
        (row.client, row.at[:10]) if row.client and _monday(row.at) is not None else ("", row.measurement)
        for row in found.rows
    ]
    return np.array([numbers.setdefault(key, len(numbers)) for key in keys], dtype=np.int64)


def _mixed(gauge: Ints, sitting: Ints) -> NDArray[np.bool_]:
    """Which sittings hold more than one gauge."""
    least, most = np.full(sitting.max() + 1, np.iinfo(np.int64).max), np.full(sitting.max() + 1, -1)
    np.minimum.at(least, sitting, gauge)
    np.maximum.at(most, sitting, gauge)
    return np.asarray(least != most)


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


def _evidence(
    found: FittedEnd,
    gauge: Ints,
    weeks: Ints,
    sitting: Ints,
    shape: tuple[int, int],
    papers: Mapping[str, Sequence[float]],
) -> tuple[Floats, Floats]:
    """Information matrix and score of "gauge j reads higher by 1 from week s on", observers taken out.

    Column j x weeks + s. Sittings are fixed here, the measurements of one vary about it: only differences within
    sittings speak. With one measurement to a sitting that is a difference within measurements.
    """
    from scipy.sparse import coo_matrix

    layout, weight, o = found.layout, found.own.weight, found.layout.observers
    gauges, count = shape
    size = o + gauges * count
    cell = np.where(gauge < gauges, o + gauge * count + weeks, size)
    split = replace(layout, gauge=cell, columns=size)
    before, precision = _observers_before(found, papers)
    y = layout.values - before[layout.observer]
    total = layout.by_measurement(weight)
    between = _inflations_variance(found, y, sitting)
    every, (left, right) = np.arange(layout.n), layout.pairs
    shrunk = 1 + between * total[layout.measurement]
    alone = weight / shrunk  # inverse variance of what a reading adds to its sitting's mean
    matrix = split.crossed(weight, every, every) - split.crossed(
        weight[left] * between / shrunk[left] * weight[right], left, right
    )
    level = layout.by_measurement(weight * y)[layout.measurement]
    score = split.by_column(weight * y - weight * between / shrunk * level)
    shared = coo_matrix(
        (np.tile(alone, 2), (np.tile(sitting, 2), np.concatenate([layout.observer, cell]))),
        shape=(int(sitting.max()) + 1, size + 1),
    ).tocsr()[:, :size]
    whole = np.bincount(sitting, alone)
    matrix = matrix - (shared.T @ shared.multiply(1 / whole[:, None])).toarray()
    score = score - shared.T @ (np.bincount(sitting, alone * y) / whole)
    own = np.linalg.inv(matrix[:o, :o] + np.diag(precision))
    information = matrix[o:, o:] - matrix[o:, :o] @ own @ matrix[:o, o:]
    score = score[o:] - matrix[o:, :o] @ own @ score[:o]
    blocks = _from_each_week_on(_from_each_week_on(information.reshape(*shape, *shape), 1), 3)
    return blocks.reshape(information.shape), _from_each_week_on(score.reshape(shape), 1).ravel()


def _observers_before(found: FittedEnd, papers: Mapping[str, Sequence[float]]) -> tuple[Floats, Floats]:
    """Where each observer's bias is expected beforehand [mmHg], and with which precision [1/mmHg^2]."""
    mean = np.zeros(len(found.observers))
    variance = np.full(len(found.observers), OBSERVER_SD_MMHG**2)
    for place, name in enumerate(found.observers):
        errors = np.array([one for one in papers.get(name, ()) if abs(one) <= WIDEST_ON_PAPER_MMHG])
        if errors.size >= FEWEST_ON_PAPER:
            mean[place] = errors.mean()
            variance[place] = PAPER_SD_MMHG**2 + max(float(errors.var(ddof=1)), 1.0) / errors.size
    return mean, 1 / variance


def _inflations_variance(found: FittedEnd, y: Floats, sitting: Ints) -> float:
    """How much the measurements of a sitting vary about its mean [mmHg^2], by moments; INFLATIONS_SD_MMHG at least."""
    layout = found.layout
    means = layout.by_measurement(y) / layout.sizes
    error = layout.by_measurement(1 / found.own.weight) / layout.sizes**2
    of = sitting[layout.starts]
    many = np.bincount(of)
    degrees = int((many - 1)[many > 1].sum())
    if not degrees:
        return INFLATIONS_SD_MMHG**2
    off = means - (np.bincount(of, means) / np.maximum(many, 1))[of]
    return max(INFLATIONS_SD_MMHG**2, float(off @ off) / degrees - float(error[many[of] > 1].mean()))


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
