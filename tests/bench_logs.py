"""Logs of measurements as a browser would send them, made by a hand on the real cuff model."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from hushpoint.arm import STANDARD_CUFF, held_release


def bench_log(
    reading: tuple[int | None, int | None] = (124, 82),
    *,
    peak_mmhg: float = 160,
    rate_mmhg_per_s: float = 2.5,
    palpated_mmhg: float | None = None,
    empty_s: float = 20.0,
    muffling: int | None = None,
    pulse: dict[str, Any] | None = None,
    **hand: float,
) -> dict[str, Any]:
    """Return one log; with `palpated_mmhg` an inflation to feel the pulse comes first, `empty_s` before."""
    rng = np.random.default_rng(1)
    time, pressure, events = held_release(STANDARD_CUFF, peak_mmhg, rate_mmhg_per_s, rng, **hand)
    if palpated_mmhg is not None:
        felt_time, felt_pressure, felt_events = held_release(
            STANDARD_CUFF, palpated_mmhg, 12.0, rng, open_at_mmhg=palpated_mmhg - 20
        )
        later = felt_time[-1] + empty_s
        time = np.concatenate((felt_time, time + later))
        pressure = np.concatenate((felt_pressure, pressure))
        events = felt_events + [{**event, "at_s": event["at_s"] + later} for event in events]
    log = {
        "time_s": time.tolist(),
        "pressure_mmhg": pressure.tolist(),
        "events": events,
        "pulse": pulse,
        "palpated_mmhg": palpated_mmhg,
        "reading": {"systolic": reading[0], "diastolic": reading[1], "muffling": muffling},
        "guided": False,
        "visible_pulse": False,
        "needle_spoken": False,
        "waited_s": None,
        "input": "touch",
    }
    return json.loads(json.dumps(log))
