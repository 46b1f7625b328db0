"""Whose error beside an independent library, and by itself where that one takes too long: printed, never asserted."""

from __future__ import annotations

import time
import warnings

import numpy as np
import pytest

from drawn_class import drawn_class
from hushpoint.agreement import PairedReading, agree, whose
from hushpoint.agreement.crossed import fit_one_variance, layout_of
from timing import median_s

pytestmark = pytest.mark.speed


def columns(rows: tuple[PairedReading, ...]) -> tuple[list[str], list[str], list[str], np.ndarray]:
    """Measurements, observers, gauges and values."""
    return (
        [row.measurement for row in rows],
        [row.observer for row in rows],
        [row.gauge for row in rows],
        np.array([row.systolic_mmhg for row in rows]),
    )


@pytest.mark.parametrize("readings", [500, 5000])
def test_one_variance_beside_an_independent_library(readings: int) -> None:
    """Restricted maximum likelihood of one table, ours and statsmodels' MixedLM, the layout included."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    rows = drawn_class(np.random.default_rng(1), measurements=readings // 2, one_spread=2.5).readings
    layout, observers, gauges, order = layout_of(*columns(rows))
    names = (*observers, *gauges)
    design = np.array([[float(name in (rows[p].observer, rows[p].gauge)) for name in names] for p in order])

    def theirs() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return MixedLM(layout.values, design[:, layout.kept], groups=layout.measurement).fit(reml=True)

    ours, peer = median_s(lambda: fit_one_variance(layout_of(*columns(rows))[0]), 5), median_s(theirs, 1)
    print(f"{readings} readings: {ours * 1000:.0f} ms, statsmodels {peer * 1000:.0f} ms, ratio 1/{peer / ours:.0f}")


@pytest.mark.parametrize(("readings", "learners", "gauges"), [(50_000, 300, 40), (100_000, 300, 40)])
def test_many_readings_alone(readings: int, learners: int, gauges: int) -> None:
    """One variance alone, then everything behind a page: both ends, own spreads, intervals, slips, gauges."""
    rows = drawn_class(np.random.default_rng(2), readings // 2, learners, gauges).readings
    start = time.perf_counter()
    fit_one_variance(layout_of(*columns(rows))[0])
    one = time.perf_counter() - start
    both = [
        PairedReading(r.measurement, r.observer, r.systolic_mmhg, r.systolic_mmhg - 40, gauge=r.gauge) for r in rows
    ]
    whose(both, "lecturer")
    start = time.process_time()
    whose(both, "lecturer")
    whole = time.process_time() - start
    beside = median_s(lambda: agree(both, "lecturer"), 1)
    print(
        f"\n{readings} readings: one variance {one:.2f} s, whose at both ends {whole:.2f} s of one core, "
        f"agree {beside:.2f} s"
    )
