"""The model of crossed.py fitted to one end of readings, outlying ones named and left out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
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
from hushpoint.agreement.last_digits import binomial_upper_tail

End = Literal["systolic", "diastolic"]

OUTLYING_P = 0.05
"""A reading is named as outlying where one so far off comes by chance in fewer than this share of whole data sets
(Bonferroni over the readings; our choice)."""

MOST_ROUNDS = 6
"""Outlying readings are looked for again after the worst have been left out, at most so often (our choice)."""

SLIP_EACH_WAY = 0.005
"""A slip too high, or one too low, stands in about this share of an observer's readings (our choice: 1 slip in 100)."""

FEWEST_REPEATED = 3
HABIT_P = 0.01
"""At least so many outlying readings of one observer on one side are no slips any more where slips alone would give as
many with at most this chance (exact binomial; our choice)."""


@dataclass(frozen=True, slots=True)
class Outlying:
    """A reading far from what the others of its measurement and all biases lead one to expect [mmHg].

    `observer` is None where some are so far apart that one must have slipped, but the measurement alone cannot tell
    who. `off_mmhg` is how far; `p` the chance of one so far off in the whole data. It is left out of the estimates,
    unless `repeated`: the same observer errs the same way on the same client again, or too often for slips. Such an
    error is their own and counts.
    """

    measurement: str
    observer: str | None
    written: tuple[tuple[str, float], ...]
    off_mmhg: float
    p: float
    repeated: bool = False


@dataclass(frozen=True)
class _Far:
    """An outlying measurement: what is told of it, the readings to be left out, and on which side each of them lies."""

    told: Outlying
    rows: tuple[PairedReading, ...]
    above: tuple[bool, ...]


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
    found = _fit(use, end)
    if found is None:
        raise AgreementError(_too_few(use, end))
    far: list[_Far] = []
    left_out: set[PairedReading] = set()
    for _ in range(MOST_ROUNDS):
        told = {one.told.measurement for one in far}
        fresh = [one for one in _outlying(found, end) if one.told.measurement not in told]
        if not fresh:
            break
        far, gone = _sorted_out([*far, *fresh], Counter(row.observer for row in use))
        again = _fit(tuple(row for row in use if row not in gone), end) if gone != left_out else found
        if again is None:
            break
        found, left_out = replace(again, outlying=tuple(one.told for one in far)), gone
    return found


def _too_few(use: Sequence[PairedReading], end: End) -> str:
    if len({row.observer for row in use}) == 1:
        return "one observer alone cannot be compared: measurements that two observers read are needed"
    return (
        f"{len(use)} {end} readings are too few to tell whose error it is: measurements read by two observers are "
        "needed, and more readings than observers and gauges together"
    )


def _sorted_out(far: list[_Far], n: Counter[str]) -> tuple[list[_Far], set[PairedReading]]:
    """Tell repeated errors from slips: all that is outlying, and the readings to be left out.

    An error is repeated where its observer errs on the same side on the same client twice, clients being told, or more
    often than slips do among the `n` readings of theirs.
    """
    sides = Counter((row.observer, above) for one in far for row, above in zip(one.rows, one.above, strict=True))
    on_client = Counter(
        (row.observer, row.client, above)
        for one in far
        for row, above in zip(one.rows, one.above, strict=True)
        if row.client
    )

    def repeated(row: PairedReading, above: bool) -> bool:
        times = sides[row.observer, above]
        return on_client[row.observer, row.client, above] > 1 or (
            times >= FEWEST_REPEATED and binomial_upper_tail(times, n[row.observer], SLIP_EACH_WAY) <= HABIT_P
        )

    told, gone = [], set[PairedReading]()
    for one in far:
        again = [row for row, above in zip(one.rows, one.above, strict=True) if repeated(row, above)]
        told.append(replace(one, told=replace(one.told, repeated=bool(again))))
        # Of a pair one is wrong, the other right: where one of them errs like that again, both count.
        gone |= set() if again and len(one.told.written) == 2 else set(one.rows) - set(again)
    return told, gone


def _fit(rows: tuple[PairedReading, ...], end: End) -> FittedEnd | None:
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
    return FittedEnd(tuple(rows[place] for place in order), layout, one, own, observers, gauges, ())


def value_of(row: PairedReading, end: End) -> float | None:
    return row.systolic_mmhg if end == "systolic" else row.diastolic_mmhg


def _outlying(found: FittedEnd, end: End) -> list[_Far]:
    """Outlying readings with all that is to be left out with each.

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
    told: list[_Far] = []
    for measurement in np.unique(layout.measurement[(p < OUTLYING_P) & (layout.sizes[layout.measurement] > 1)]):
        first = int(layout.starts[measurement])
        places = list(range(first, first + int(layout.sizes[measurement])))
        worst = min(places, key=lambda place: float(p[place]))
        far = [place for place in places if p[place] < OUTLYING_P] if len(places) > 2 else places
        rows = [found.rows[place] for place in places]
        told.append(
            _Far(
                Outlying(
                    rows[0].measurement,
                    found.rows[worst].observer if len(far) == 1 else None,
                    tuple((row.observer, float(value_of(row, end) or 0.0)) for row in rows),
                    _off(found, worst),
                    float(p[worst]),
                ),
                tuple(found.rows[place] for place in far),
                tuple(bool(own.left_over[place] > 0) for place in far),
            )
        )
    return told


def _off(found: FittedEnd, place: int) -> float:
    """How far a reading lies from what the others of its measurement and all biases foretell [mmHg]."""
    own = found.own
    return float(own.left_over[place] / max(1e-9, float(own.degrees[place])))
