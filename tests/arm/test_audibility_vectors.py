"""The audibility rule against cases worked out by hand; the page runs the same file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from hushpoint.arm import BeatTable, Truth, truth_of
from hushpoint.arm.audibility import NO_RELEASE, NOTHING_HEARD, PUMPED_TOO_LOW
from hushpoint.measure import Heard, Withheld

VECTORS = json.loads((Path(__file__).resolve().parents[1] / "vectors" / "audibility.json").read_text())
REASONS = {"pumped_too_low": PUMPED_TOO_LOW, "nothing_heard": NOTHING_HEARD, "no_release": NO_RELEASE}


def table_from(json_table: dict[str, Any]) -> BeatTable:
    """A beat table with the traits that the rule reads; the rest does not matter to it."""
    beats = {name: np.array(values, float) for name, values in json_table["beats"].items()}
    profile = json_table["profile"]
    gap = json_table["gap_place"]
    return BeatTable(
        **beats,
        rr_s=np.diff(beats["foot_s"], append=beats["foot_s"][-1] + 1),
        profile_place=np.array(profile["place"], float),
        profile_db=np.array(profile["level_db"], float),
        gain_place=np.array([0.0, 1.0]),
        gain_db=np.array([0.0, 0.0]),
        phase_edges=tuple(json_table["phase_edges"]),
        gap_place=None if gap is None else tuple(gap),
        to_zero=json_table["to_zero"],
        floor_db=json_table["floor_db"],
        noise_db=json_table["noise_db"],
        loudness_db=45,
        base_systolic_mmhg=120,
        base_diastolic_mmhg=80,
        base_level_db=45,
        upstroke_s=json_table["upstroke_s"],
        delay_s=json_table["delay_s"],
    )


def check_end(found: Heard | Withheld, expected: dict[str, float] | None, why: str | None) -> None:
    if expected is None:
        assert found == Withheld(REASONS[why])
    else:
        assert isinstance(found, Heard)
        assert (found.mmhg, found.low_mmhg, found.high_mmhg) == pytest.approx(
            (expected["mmhg"], expected["low"], expected["high"]), abs=1e-3
        )


@pytest.mark.parametrize("case", VECTORS["cases"], ids=[case["name"] for case in VECTORS["cases"]])
def test_truth_of_a_case_worked_out_by_hand(case: dict[str, Any]) -> None:
    """Beats, both ends with their ranges, muffling and gap are as the hand found them."""
    truth: Truth = truth_of(table_from(case["table"]), case["time_s"], case["pressure_mmhg"])
    expect = case["expect"]
    assert [beat.index for beat in truth.beats] == [beat["index"] for beat in expect["beats"]]
    for found, beat in zip(truth.beats, expect["beats"], strict=True):
        assert found.mmhg == pytest.approx(beat["mmhg"], abs=1e-3)
        assert found.audible == beat["audible"], beat
        assert found.phase == beat.get("phase", found.phase), beat
        assert found.at_s == pytest.approx(beat.get("at_s", found.at_s), abs=1e-4)
    check_end(truth.systolic, expect["systolic"], expect["why_no_systolic"])
    check_end(truth.diastolic, expect["diastolic"], expect["why_no_diastolic"])
    assert (truth.muffling_mmhg is None) == (expect["muffling_mmhg"] is None)
    if truth.muffling_mmhg is not None:
        assert truth.muffling_mmhg == pytest.approx(expect["muffling_mmhg"], abs=1e-3)
    assert truth.gap_mmhg == (None if expect["gap_mmhg"] is None else tuple(expect["gap_mmhg"]))
