"""Cuff, bulb and valve against the shared vectors; the page runs the same file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from hushpoint.arm import Cuff, CuffState, logged_mmhg, squeeze, step

VECTORS = json.loads((Path(__file__).resolve().parents[1] / "vectors" / "cuff.json").read_text())


def cuff_from(constants: dict[str, Any]) -> Cuff:
    return Cuff(
        step_s=constants["step_s"],
        compliance_ml=tuple(constants["compliance_ml"]),
        squeeze_ml=tuple(constants["squeeze_ml"]),
        tau_s=tuple(constants["tau_s"]),
        dead_band=constants["dead_band"],
        hand_lag_s=constants["hand_lag_s"],
        sag=tuple(tuple(one) for one in constants["sag"]),
    )


@pytest.mark.parametrize("case", VECTORS["cases"], ids=[case["name"] for case in VECTORS["cases"]])
def test_pressure_after_so_many_steps(case: dict[str, Any]) -> None:
    """Squeezes and valve moves lead to the pressures of the vector."""
    cuff, state, hand = cuff_from(case["cuff"]), CuffState(case["start_mmhg"]), 0.0
    expect = dict(case["expect"])
    for number in range(max(expect)):
        for act in case["acts"]:
            if act["step"] == number:
                if act["do"] == "squeeze":
                    state = squeeze(state, cuff)
                else:
                    hand = act["to"]
        state = step(state, hand, cuff)
        if number + 1 in expect:
            assert logged_mmhg(state.pressure_mmhg) == pytest.approx(expect[number + 1], abs=0.0101)


def test_vectors_use_the_cuff_we_ship() -> None:
    """Most vectors hold the very constants that travel to the page."""
    assert sum(cuff_from(case["cuff"]) == Cuff() for case in VECTORS["cases"]) >= 15
