"""The model of crossed.py fitted to one end of readings, outlying ones named and left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from hushpoint.agreement.crossed import (
    SPREAD_PRIOR_DEGREES,
    Layout,
    OneVariance,
    OwnSpreads,
    fit_one_variance,
    fit_own_spreads,
    layout_of,
)
from hushpoint.agreement.differences import AgreementError, PairedReading

End = Literal["systolic", "diastolic"]

OUTLYING_P = 0.05
"""A reading is named as outlying where one so far off comes by chance in fewer than this share of whole data sets
(Bonferroni over the readings; our choice)."""

MOST_ROUNDS = 6
"""Outlying readings are looked for again after the worst have been left out, at most so often (our choice)."""


@dataclass(frozen=True, slots=True)
class Outlying:
    """A reading far from what the others of its measurement and all biases lead one to expect [mmHg].

    `observer` is None where some are so far apart that one must have slipped, but the measurement alone cannot tell
    who. `off_mmhg` is how far; `p` the chance of one so far off in the whole data. It is left out of the estimates.
    """

    measurement: str
    observer: str | None
    written: tuple[tuple[str, float], ...]
    off_mmhg: float
    p: float


@dataclass(frozen=True)
class FittedEnd:
    """The fit behind one end, for what is asked of it further: rows in the order of `rows`, names by column."""

    rows: tuple[PairedReading, ...]
    """The readings kept, in the order of the layout."""
    layout: Layout
    one: OneVariance
    own: OwnSpreads
    observers: tuple[str, ...]
    gauges: tuple[str, ...]
    outlying: tuple[Outlying, ...]


def fit_end(rows: Sequence[PairedReading], end: End) -> FittedEnd:
    """Fit one end, leaving out and naming outlying readings. Raises AgreementError as `end_errors` does."""
    use = tuple(row for row in rows if value_of(row, end) is not None)
    found = _fit(use, end, ())
    if found is None:
        raise AgreementError(
            f"{len(use)} {end} readings are too few to tell whose error it is: measurements read by two observers are "
            "needed, and more readings than observers and gauges together"
        )
    for _ in range(MOST_ROUNDS):
        far = _outlying(found, end)
        gone = {place for _, places in far for place in places}
        left = tuple(row for place, row in enumerate(found.rows) if place not in gone)
        again = _fit(left, end, (*found.outlying, *(one for one, _ in far))) if far else None
        if again is None:
            break
        found = again
    return found


def _fit(rows: tuple[PairedReading, ...], end: End, outlying: tuple[Outlying, ...]) -> FittedEnd | None:
    """The fit of these rows; None where no measurement was read by two or too few are left for two variances."""
    if len({row.measurement for row in rows}) == len(rows):
        return None
    values = np.array([value_of(row, end) for row in rows], dtype=float)
    layout, observers, gauges, order = layout_of(
        [row.measurement for row in rows], [row.observer for row in rows], [row.gauge for row in rows], values
    )
    if layout.n < layout.kept.size + 2:
        return None
    one = fit_one_variance(layout)
    own = fit_own_spreads(layout, one)
    return FittedEnd(tuple(rows[place] for place in order), layout, one, own, observers, gauges, outlying)


def value_of(row: PairedReading, end: End) -> float | None:
    return row.systolic_mmhg if end == "systolic" else row.diastolic_mmhg


def _outlying(found: FittedEnd, end: End) -> list[tuple[Outlying, list[int]]]:
    """Outlying readings with the places of all that is to be left out with each.

    Each is judged by its deletion residual against its observer's spread without it (Student's t; Cook & Weisberg
    1982, Residuals and Influence in Regression, section 2.2, from memory).
    """
    from scipy.special import stdtr

    layout, own = found.layout, found.own
    inside, two = layout.measurement, layout.sizes[layout.measurement] == 2
    share = np.maximum(own.degrees, 1e-9)
    degrees = layout.by_observer(own.degrees)[layout.observer] + SPREAD_PRIOR_DEGREES
    others, others_share = (layout.by_measurement(each)[inside] - each for each in (degrees, share))
    # A deletion residual's variance is the observer's own plus that of the foretold value. A pair has one difference,
    # which has swollen both spreads; of more readings, the others' spreads hardly know of one far off.
    mine = 1 / own.weight
    rest = np.maximum(mine / share - mine, 1e-9)
    square = own.scaled**2
    mine_without = mine * np.maximum(1 - (square - 1) * share / (degrees - share), 1e-3)
    rest_without = np.where(
        two, rest * np.maximum(1 - (square - 1) * others_share / np.maximum(others - others_share, 1.0), 1e-3), rest
    )
    t = np.sqrt(square * (mine + rest) / (mine_without + rest_without))
    certain = mine_without**2 / (degrees - share) + rest_without**2 / np.maximum(others - others_share, 1.0)
    p = 2 * stdtr((mine_without + rest_without) ** 2 / certain, -t) * layout.n
    told: list[tuple[Outlying, list[int]]] = []
    for measurement in np.unique(layout.measurement[(p < OUTLYING_P) & (layout.sizes[layout.measurement] > 1)]):
        first = int(layout.starts[measurement])
        places = list(range(first, first + int(layout.sizes[measurement])))
        worst = min(places, key=lambda place: float(p[place]))
        far = [place for place in places if p[place] < OUTLYING_P] if len(places) > 2 else places
        rows = [found.rows[place] for place in places]
        told.append(
            (
                Outlying(
                    rows[0].measurement,
                    found.rows[worst].observer if len(far) == 1 else None,
                    tuple((row.observer, float(value_of(row, end) or 0.0)) for row in rows),
                    _off(found, worst),
                    float(p[worst]),
                ),
                far,
            )
        )
    return told


def _off(found: FittedEnd, place: int) -> float:
    """How far a reading lies from what the others of its measurement and all biases foretell [mmHg]."""
    own = found.own
    return float(own.left_over[place] / max(1e-9, float(own.degrees[place])))
