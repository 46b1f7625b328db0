"""Invented terms: weeks of measurements read on two gauges at once, with known errors of the gauges."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta

import numpy as np

from hushpoint.agreement import PairedReading

GAUGES = tuple(f"G{one}" for one in range(1, 7))


def drawn_term(
    rng: np.random.Generator,
    off_mmhg: Mapping[str, float],
    weeks: int = 12,
    a_week: int = 40,
    learners: int = 24,
    from_week: int = 0,
    fine_sd_mmhg: float = 1.0,
) -> list[list[PairedReading]]:
    """Return the readings of each week: `a_week` measurements, two learners each on a gauge of their own.

    Gauges err by SD `fine_sd_mmhg`, but those in `off_mmhg` by that, from `from_week` on. Learners' biases have SD 2,
    their spreads a median of 2.2; every reading is written to the nearest 2.
    """
    bias, spread = rng.normal(0, 2, learners), np.exp(rng.normal(np.log(2.2), 0.35, learners))
    fine = dict(zip(GAUGES, rng.normal(0, fine_sd_mmhg, len(GAUGES)), strict=True))
    term = []
    for week in range(weeks):
        errors = {**fine, **(off_mmhg if week >= from_week else {})}
        day = (date(2026, 3, 2) + timedelta(weeks=week)).isoformat()
        rows = []
        for turn in range(a_week):
            pressure = rng.normal(117, 12)
            for who, on in zip(rng.choice(learners, 2, False), rng.choice(len(GAUGES), 2, False), strict=True):
                value = pressure + bias[who] + errors[GAUGES[on]] + rng.normal(0, spread[who])
                written = float(2 * round(value / 2))
                rows.append(PairedReading(f"{week}-{turn}", f"L{who}", written, None, gauge=GAUGES[on], at=day))
        term.append(rows)
    return term


def drawn_benches(
    rng: np.random.Generator,
    off_mmhg: Mapping[str, float],
    weeks: int,
    *,
    a_week: int = 40,
    one_inflation: bool = True,
    keep_to_one: bool = True,
    learners: int = 24,
    on_paper: int = 20,
) -> tuple[list[list[PairedReading]], dict[str, list[float]]]:
    """Return the readings of each week and everybody's errors on listening papers.

    With `one_inflation` two gauges are read on one measurement. Without, two learners read one gauge, and each client
    is measured four times a day on gauges of four benches, the pressure moving by SD 6 between. With `keep_to_one` a
    learner always sits at the bench of one gauge. Errors on papers have the learner's bias less SD 1, and SD 2.2.
    """
    bias, spread = rng.normal(0, 2, learners), np.exp(rng.normal(np.log(2.2), 0.35, learners))
    errors = dict(zip(GAUGES, rng.normal(0, 1, len(GAUGES)), strict=True)) | dict(off_mmhg)
    bench = np.arange(learners) % len(GAUGES)
    papers = {
        f"L{who}": [float(2 * round(one / 2)) for one in rng.normal(bias[who] + rng.normal(0, 1), 2.2, on_paper)]
        for who in range(learners)
    }
    term = []
    for week in range(weeks):
        day = (date(2026, 3, 2) + timedelta(weeks=week)).isoformat()
        rows = []
        pressure, benches = 0.0, np.arange(0)
        for turn in range(a_week):
            if one_inflation or turn % 4 == 0:
                pressure, benches = rng.normal(117, 12), rng.permutation(len(GAUGES))
            here = pressure + (0 if one_inflation else rng.normal(0, 6))
            for half in range(2):
                on = int(benches[half if one_inflation else turn % 4])
                sit = np.flatnonzero(bench == on) if keep_to_one else np.arange(learners)
                taken = {row.observer for row in rows[-half:]} if half else set()
                who = int(rng.choice([one for one in sit if f"L{one}" not in taken]))
                value = here + bias[who] + errors[GAUGES[on]] + rng.normal(0, spread[who])
                client = "" if one_inflation else f"{week}-{turn // 4}"
                written = float(2 * round(value / 2))
                rows.append(PairedReading(f"{week}-{turn}", f"L{who}", written, None, client, GAUGES[on], day))
        term.append(rows)
    return term, papers
