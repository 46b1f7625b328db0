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
