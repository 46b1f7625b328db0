"""How time grows with size, drawn as curves for the manual: printed, never asserted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from drawn_class import drawn_class
from ear.second_maker import make
from hushpoint.agreement import PairedReading, whose
from hushpoint.ear import listen
from hushpoint.ledger.records import Entry, Kind
from hushpoint.ledger.store import open_sqlite
from hushpoint.sheet.drawing import LIGHT, ONE_AT_A_TIME
from timing import median_s

pytestmark = pytest.mark.speed
Curve = list[tuple[float, float]]


def reading() -> Curve:
    """Seconds of a release against milliseconds of listening."""
    points = []
    for rate in (4.0, 2.0, 1.0, 0.5, 0.25):
        made = make(2, systolic_mmhg=150, diastolic_mmhg=70, release_mmhg_per_s=rate, rate_hz=4000)
        took = median_s(lambda made=made: listen(made.sound, 4000, made.time_s, made.pressure_mmhg), 3)  # type: ignore[misc]
        points.append((len(made.sound) / 4000, 1000 * took))
    return points


def whose_error() -> Curve:
    """Readings of a year against milliseconds of working out whose error it is, at both ends."""
    points = []
    for readings in (1_000, 3_000, 10_000, 30_000, 100_000):
        rows = drawn_class(np.random.default_rng(2), readings // 2, 300, 40).readings
        both = [
            PairedReading(r.measurement, r.observer, r.systolic_mmhg, r.systolic_mmhg - 40, gauge=r.gauge) for r in rows
        ]
        points.append((readings, 1000 * median_s(lambda both=both: whose(both, "lecturer"), 1)))  # type: ignore[misc]
    return points


def checking(folder: Path) -> Curve:
    """Rows of a journal against milliseconds of checking every digest."""
    ledger = open_sqlite(folder / "ledger.sqlite")
    points, held = [], 0
    for rows in (1_000, 3_000, 10_000, 30_000):
        ledger.append(*(Entry(Kind.CLASS_OPENED, {"name": f"C{one}"}) for one in range(held, rows)))
        held = rows
        points.append((rows, 1000 * median_s(ledger.verify, 1)))
    ledger.close()
    return points


def test_curves_of_growth(tmp_path: Path, told_pictures: Path) -> None:
    """Listening, whose error, and checking a ledger, each over five sizes."""
    import matplotlib.pyplot as plt

    curves = {
        "listening to a release [s]": reading(),
        "whose error [readings]": whose_error(),
        "checking a ledger [rows]": checking(tmp_path),
    }
    with ONE_AT_A_TIME, plt.rc_context({"svg.hashsalt": "growth", "font.size": 9}):
        figure, places = plt.subplots(1, len(curves), figsize=(9, 3), layout="constrained")
        for place, (name, curve) in zip(places, curves.items(), strict=True):
            sizes, times = zip(*curve, strict=True)
            place.loglog(sizes, times, marker="o", color=LIGHT.accent)
            place.loglog(sizes, [times[-1] * size / sizes[-1] for size in sizes], linestyle=":", color=LIGHT.soft)
            place.set(xlabel=name, ylabel="ms")
            print(f"{name}: " + ", ".join(f"{size:g} in {took:.0f} ms" for size, took in curve))
        figure.savefig(told_pictures / "growth.svg", metadata={"Date": None})
        plt.close(figure)
