"""The arm table: what the page gets of one arm (docs/bench-format.md)."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm.beats import BeatTable
from hushpoint.arm.cuff import STANDARD_CUFF, Cuff
from hushpoint.arm.needle import STANDARD_NEEDLE, Needle

FULL_SCALE = 32767
LOUDEST = 0.5
"""Peak of the loudest sound sample in the 16-bit range: phase III leaves headroom for taps that overlap."""


def arm_table(
    table: BeatTable,
    sounds: Mapping[str, Sequence[NDArray[np.float64]]],
    measurement_id: str,
    *,
    rate_hz: int = 8000,
    cuff: Cuff = STANDARD_CUFF,
    needle: Needle = STANDARD_NEEDLE,
) -> dict[str, Any]:
    """Return the JSON of the contract: times to 4 decimals, pressures and levels to 2.

    `sounds`: phase to sound samples (floats, phase III of energy 1); they travel at one common scale, each phase at
    the same energy, since the beat's own gain sets how loud it is played.
    """
    loudest = max(float(np.abs(sound).max()) for variants in sounds.values() for sound in variants)
    scale = LOUDEST * FULL_SCALE / loudest
    return {
        "measurement": measurement_id,
        "table_s": table.table_s,
        "beats": {
            "foot_s": table.foot_s.tolist(),
            "systolic_mmhg": table.systolic_mmhg.tolist(),
            "diastolic_mmhg": table.diastolic_mmhg.tolist(),
            "level_db": table.level_db.tolist(),
        },
        "profile": {"place": table.profile_place.tolist(), "level_db": table.profile_db.tolist()},
        "gain": {"place": table.gain_place.tolist(), "gain_db": table.gain_db.tolist()},
        "phase_edges": list(table.phase_edges),
        "gap_place": None if table.gap_place is None else list(table.gap_place),
        "to_zero": table.to_zero,
        "upstroke_s": table.upstroke_s,
        "delay_s": table.delay_s,
        "floor_db": table.floor_db,
        "noise_db": table.noise_db,
        "loudness_db": table.loudness_db,
        "sounds": {
            "rate_hz": rate_hz,
            "phases": {
                phase: [_pcm(sound * scale) for sound in variants]
                for phase, variants in sounds.items()
                if phase != "thump"
            },
        },
        "cuff": {
            "step_s": cuff.step_s,
            "compliance_ml": list(cuff.compliance_ml),
            "squeeze_ml": list(cuff.squeeze_ml),
            "tau_s": list(cuff.tau_s),
            "dead_band": cuff.dead_band,
            "hand_lag_s": cuff.hand_lag_s,
            "sag": [list(one) for one in cuff.sag],
        },
        "needle": {
            "lag_s": needle.lag_s,
            "artery": list(needle.artery),
            "cuff_ml": needle.cuff_ml,
            "ambient_mmhg": needle.ambient_mmhg,
            "above": list(needle.above),
        },
    }


def _pcm(sound: NDArray[np.float64]) -> str:
    return base64.b64encode(np.round(sound).astype("<i2").tobytes()).decode("ascii")
