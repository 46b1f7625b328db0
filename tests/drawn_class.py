"""Invented classes with known errors: learners, a lecturer, gauges and the pairs that they read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hushpoint.agreement import PairedReading

LECTURER = "lecturer"


@dataclass(frozen=True)
class DrawnClass:
    """Readings with the true bias and spread of each observer and the true bias of each gauge [mmHg]."""

    readings: tuple[PairedReading, ...]
    bias: dict[str, float]
    spread: dict[str, float]
    gauge: dict[str, float]


def drawn_class(
    rng: np.random.Generator,
    measurements: int = 144,
    learners: int = 24,
    gauges: int = 6,
    two_gauges: float = 0.4,
    with_lecturer: float = 0.3,
    gauge_sd_mmhg: float = 1.5,
    one_spread: float | None = None,
    a_class: int | None = None,
) -> DrawnClass:
    """Draw a class: each measurement read by two, `with_lecturer` of them by the lecturer, `two_gauges` on two gauges.

    Biases have SD 2, spreads a median of 2.2 (most between 1.1 and 4.4), pressures SD 12, and every reading is written
    to the nearest 2; with `one_spread` all have that spread and decimals are kept. With
    `a_class` learners meet those of their own class of so many, and the lecturer.
    """
    names = [LECTURER, *(f"L{one}" for one in range(1, learners + 1))]
    kit = [f"G{one}" for one in range(1, gauges + 1)]
    bias = {name: float(rng.normal(0, 2)) for name in names}
    spread = {name: one_spread or float(np.exp(rng.normal(np.log(2.2), 0.35))) for name in names}
    gauge = {name: float(rng.normal(0, gauge_sd_mmhg)) for name in kit}
    rows = []
    for measurement in range(measurements):
        pressure = rng.normal(117, 12)
        first = 0 if rng.random() < with_lecturer else 1 + int(rng.integers(learners))
        second = first
        while second == first:
            if a_class is None or first == 0:
                second = 1 + int(rng.integers(learners))
            else:
                second = 1 + (first - 1) // a_class * a_class + int(rng.integers(a_class))
        here = rng.choice(gauges, 2, replace=False) if rng.random() < two_gauges else [int(rng.integers(gauges))] * 2
        for place, on in zip((first, second), here, strict=True):
            name = names[place]
            value = pressure + bias[name] + gauge[kit[on]] + rng.normal(0, spread[name])
            written = value if one_spread else 2 * round(value / 2)
            rows.append(PairedReading(str(measurement), name, float(written), None, gauge=kit[on]))
    return DrawnClass(tuple(rows), bias, spread, gauge)
