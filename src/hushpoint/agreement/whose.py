"""Whose error is it: every observer's own bias and spread, and every gauge's bias, from all readings at once.

The model is in crossed.py. Observers who never met are compared through chains of shared measurements; only what
differences within measurements can show is told, everything else is named as untold, with the cause.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from hushpoint.agreement.crossed import Floats, Ints, Layout
from hushpoint.agreement.differences import AgreementError, PairedReading, shown
from hushpoint.agreement.fitted import End, FittedEnd, Outlying, fit_end, value_of
from hushpoint.agreement.gauge_watch import GaugeWatch, gauge_watch

Cause = Literal["alone", "apart", "same gauge", "gauges apart", "spreads"]

MANY_ON_A_GAUGE = 400
"""From so many readings on a gauge its interval needs no degrees of freedom."""

TIED_LOG_VARIANCE = 0.1
"""Added to the variance of the logarithm of a variance where two sides are tied (`spreads`): what lies on which side is
then the lean's alone (calibrated by simulation)."""

Z_95 = 1.959963984540054
"""95 % of a normal distribution lie within so many standard deviations."""

MANY_DEGREES = 60.0
"""From so many degrees of freedom on, an interval by Student's t is told from a normal one by under 2 %."""


@dataclass(frozen=True, slots=True)
class ObserverError:
    """One observer's bias and spread [mmHg] with 95 % intervals; None where the readings cannot tell.

    `against` is the observer whose bias is called 0; "" means the mean of the observer's `group`. Only members of one
    group can be compared. `shared` of the `n` readings are on measurements that one of `partners` other observers read
    too. `steps` is the length of the shortest chain of shared measurements to the reference: 1 where they met; None
    where there is none.
    """

    observer: str
    n: int
    shared: int
    partners: int
    steps: int | None
    group: int
    against: str
    bias_mmhg: float | None
    bias_ci_mmhg: tuple[float, float] | None
    spread_mmhg: float | None
    spread_ci_mmhg: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class GaugeError:
    """One gauge against the mean of the others it can be compared with [mmHg], over `n` readings; 95 % interval."""

    gauge: str
    n: int
    compared_with: tuple[str, ...]
    bias_mmhg: float | None
    bias_ci_mmhg: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Untold:
    """What these readings cannot tell apart, and why.

    alone: `groups` holds one group of observers who share no measurement with anybody. apart: groups of observers
    between whom no chain of shared measurements leads. same gauge: groups between whom a difference may be that of
    their gauges. gauges apart: groups of gauges not compared with one another. spreads: two sides of
    which every pair has one each, so that only the sum of two spreads shows.
    """

    cause: Cause
    groups: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class EndErrors:
    """Whose error it is at one end. `error_sd_mmhg` is the one error SD of all by restricted maximum likelihood.

    `measurement_sd_mmhg` is the spread of the pressures measured. `reference` is the observer whose bias is called 0,
    or None. `watch` says which gauge seems off, with its odds.
    """

    end: End
    reference: str | None
    readings: int
    measurements: int
    shared_measurements: int
    measurement_sd_mmhg: float
    error_sd_mmhg: float
    observers: tuple[ObserverError, ...]
    gauges: tuple[GaugeError, ...]
    outlying: tuple[Outlying, ...]
    untold: tuple[Untold, ...]
    watch: GaugeWatch


@dataclass(frozen=True, slots=True)
class ErrorSources:
    """Both ends; `diastolic` is None where no measurement has two diastolic readings."""

    systolic: EndErrors
    diastolic: EndErrors | None

    def ends(self) -> tuple[EndErrors, ...]:
        """The ends that can be told, systolic first."""
        return (self.systolic,) if self.diastolic is None else (self.systolic, self.diastolic)


Papers = Mapping[End, Mapping[str, Sequence[float]]]
"""Observers' errors on listening papers, written minus truth [mmHg], by end."""


def whose(
    readings: Iterable[PairedReading], reference: str | None = None, papers: Papers | None = None
) -> ErrorSources:
    """Say whose error it is at both ends; `reference` is the observer whose bias is called 0.

    `papers` helps to tell gauges from observers and changes nothing else.

    Raises AgreementError for a repeated (measurement, observer), an unknown reference, or too few
    measurements read by two observers.
    """
    rows = tuple(readings)
    if len({(row.measurement, row.observer) for row in rows}) < len(rows):
        raise AgreementError("a measurement and observer stand twice: one reading an observer for each measurement")
    if reference is not None and all(row.observer != reference for row in rows):
        raise AgreementError(f"the reference {shown(reference)} has no readings")
    systolic = end_errors(rows, "systolic", reference, papers)
    try:
        diastolic = end_errors(rows, "diastolic", reference, papers)
    except AgreementError:
        diastolic = None
    return ErrorSources(systolic, diastolic)


def end_errors(
    rows: Sequence[PairedReading], end: End, reference: str | None = None, papers: Papers | None = None
) -> EndErrors:
    """Say whose error it is at one end. Raises AgreementError where too few measurements were read by two."""
    found = fit_end(rows, end)
    watch = gauge_watch(found, (papers or {}).get(end))
    return _told(found, end, reference, sum(value_of(row, end) is not None for row in rows), watch)


def _told(found: FittedEnd, end: End, reference: str | None, readings: int, watch: GaugeWatch) -> EndErrors:
    """Say in figures what a fit shows of `readings` readings."""
    layout = found.layout
    groups = _alike(layout.blind[: layout.observers])
    met = _met(layout)
    chains = _chains(met)
    sides = _sides(layout, met, chains)
    observers = _observers(found, reference, groups, met, sides)
    gauge_groups = _alike(layout.blind[layout.observers :])
    return EndErrors(
        end,
        reference if reference in found.observers else None,
        readings,
        layout.starts.size,
        int((layout.sizes > 1).sum()),
        float(np.sqrt(found.one.measurement_variance)),
        float(np.sqrt(found.one.error_variance)),
        observers,
        _gauges(found, gauge_groups),
        found.outlying,
        _untold(found, groups, met, chains, gauge_groups, sides),
        watch,
    )


def _alike(rows: Floats) -> Ints:
    """Number the rows so that equal ones have one number: columns whose difference hides in no blind direction."""
    numbers = np.full(rows.shape[0], -1, dtype=np.int64)
    for place in range(rows.shape[0]):
        if numbers[place] < 0:
            same = np.abs(rows - rows[place]).max(axis=1, initial=0.0) < 1e-6
            numbers[same & (numbers < 0)] = numbers.max() + 1
    return numbers


def _met(layout: Layout) -> NDArray[np.bool_]:
    """Who shares a measurement with whom (observers x observers, nobody with themselves)."""
    left, right = layout.pairs
    met = np.zeros((layout.observers, layout.observers), dtype=bool)
    met[layout.observer[left], layout.observer[right]] = True
    np.fill_diagonal(met, val=False)
    return met


def _steps(met: NDArray[np.bool_], start: int) -> Ints:
    """The length of the shortest chain from one observer to each, -1 where there is none."""
    steps = np.full(met.shape[0], -1, dtype=np.int64)
    steps[start] = 0
    edge = np.zeros(met.shape[0], dtype=bool)
    edge[start] = True
    while edge.any():
        edge = met[edge].any(axis=0) & (steps < 0)
        steps[edge] = steps.max() + 1
    return steps


def _chains(met: NDArray[np.bool_]) -> Ints:
    """Number the observers so that those whom a chain of shared measurements joins have one number."""
    numbers = np.full(met.shape[0], -1, dtype=np.int64)
    for place in range(met.shape[0]):
        if numbers[place] < 0:
            numbers[_steps(met, place) >= 0] = numbers.max() + 1
    return numbers


def _sides(layout: Layout, met: NDArray[np.bool_], chains: Ints) -> Ints:
    """1 or 2 for the two sides of those whose pairs always have one of each and never a third; 0 for all others."""
    sides = np.zeros(layout.observers, dtype=np.int64)
    third = np.zeros(layout.observers, dtype=bool)
    third[layout.observer[layout.sizes[layout.measurement] > 2]] = True
    for chain in range(int(chains.max()) + 1):
        members = np.flatnonzero(chains == chain)
        side = _steps(met, int(members[0]))[members] % 2
        if (
            members.size > 1
            and not third[members].any()
            and not met[np.ix_(members, members)][side[:, None] == side].any()
        ):
            sides[members] = 1 + side
    return sides


def _observers(
    found: FittedEnd, reference: str | None, groups: Ints, met: NDArray[np.bool_], sides: Ints
) -> tuple[ObserverError, ...]:
    layout, own = found.layout, found.own
    count, zero = layout.observers, None
    steps = np.full(count, -1, dtype=np.int64)
    if reference in found.observers:
        zero = found.observers.index(reference)
        steps = _steps(met, zero)
    rows = np.zeros((count, layout.columns))
    rows[np.arange(count), np.arange(count)] = 1.0
    sizes = np.bincount(groups)
    for group in range(sizes.size):
        members = np.flatnonzero(groups == group)
        if zero is not None and groups[zero] == group:
            rows[members, zero] -= 1.0
        else:
            rows[np.ix_(members, members)] -= 1.0 / members.size
    degrees = layout.by_observer(own.degrees)
    enough = degrees >= MANY_DEGREES
    estimate, error, contrast_degrees = own.contrasts(rows, enough & (zero is None or bool(enough[zero])))
    half = _student_t(contrast_degrees) * error
    spread = np.sqrt(own.variances)
    # The logarithm is near normal: its estimate leans to the middle, so that a chi-square's tail, long to the right
    # alone, would miss the narrow spreads.
    factor = np.exp(Z_95 / 2 * np.sqrt(np.diag(own.log_covariance) + TIED_LOG_VARIANCE * (sides > 0)))
    n = layout.by_observer(np.ones(layout.n)).astype(int)
    shared = layout.by_observer((layout.sizes[layout.measurement] > 1).astype(float)).astype(int)
    made = []
    for place, name in enumerate(found.observers):
        in_reach = zero is not None and groups[place] == groups[zero]
        bias, wide = (0.0, 0.0) if place == zero else (float(estimate[place]), float(half[place]))
        mine, compared = float(spread[place]), int(sizes[groups[place]]) > 1
        made.append(
            ObserverError(
                observer=name,
                n=int(n[place]),
                shared=int(shared[place]),
                partners=int(met[place].sum()),
                steps=int(steps[place]) if steps[place] >= 0 else None,
                group=int(groups[place]),
                against=(reference or "") if in_reach else "",
                bias_mmhg=bias if compared else None,
                bias_ci_mmhg=(bias - wide, bias + wide) if compared else None,
                spread_mmhg=mine if shared[place] else None,
                spread_ci_mmhg=(mine / float(factor[place]), mine * float(factor[place])) if shared[place] else None,
            )
        )
    return tuple(made)


def _gauges(found: FittedEnd, groups: Ints) -> tuple[GaugeError, ...]:
    layout, own = found.layout, found.own
    if not found.gauges:
        return ()
    same = (groups[:, np.newaxis] == groups) & ~np.eye(groups.size, dtype=bool)
    rows = np.zeros((groups.size, layout.columns))
    rows[:, layout.observers :] = np.eye(groups.size) - same / np.maximum(1, same.sum(axis=1, keepdims=True))
    n = np.bincount(layout.gauge, minlength=layout.columns + 1)[layout.observers : -1]
    estimate, error, degrees = own.contrasts(rows, n >= MANY_ON_A_GAUGE)
    half = _student_t(degrees) * error
    made = []
    for place, name in enumerate(found.gauges):
        others = tuple(found.gauges[other] for other in np.flatnonzero(same[place]))
        bias, wide = float(estimate[place]), float(half[place])
        interval = (bias - wide, bias + wide) if others else None
        made.append(GaugeError(name, int(n[place]), others, bias if others else None, interval))
    return tuple(made)


def _untold(
    found: FittedEnd, groups: Ints, met: NDArray[np.bool_], chains: Ints, gauge_groups: Ints, sides: Ints
) -> tuple[Untold, ...]:
    names, made = found.observers, []
    alone = ~met.any(axis=1)
    if alone.any():
        made.append(Untold("alone", (tuple(names[place] for place in np.flatnonzero(alone)),)))
    joined = _named(names, np.where(alone, -1, chains))
    if len(joined) > 1:
        made.append(Untold("apart", joined))
    for chain in np.unique(chains[~alone]):
        parts = _named(names, np.where(np.equal(chains, chain), groups, -1))
        if len(parts) > 1:
            made.append(Untold("same gauge", parts))
    for chain in np.unique(chains[sides > 0]):
        made.append(Untold("spreads", _named(names, np.where(np.equal(chains, chain), sides, -1))))
    parts = _named(found.gauges, gauge_groups)
    if len(parts) > 1:
        made.append(Untold("gauges apart", parts))
    return tuple(made)


def _named(names: Sequence[str], numbers: Ints) -> tuple[tuple[str, ...], ...]:
    """The names of each number from 0 on, in order."""
    return tuple(
        tuple(name for name, one in zip(names, numbers.tolist(), strict=True) if one == number)
        for number in np.unique(numbers[numbers >= 0])
    )


def _student_t(degrees: Floats) -> Floats:
    from scipy.special import stdtrit

    return np.where(np.isinf(degrees), Z_95, stdtrit(np.minimum(degrees, 1e6), 0.975))
