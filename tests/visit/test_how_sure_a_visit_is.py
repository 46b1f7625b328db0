"""How sure one visit can be of the usual pressure: worked numbers, and which way they move."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hushpoint.desk.visit_sheets import chance_words
from hushpoint.errors import BadInputError
from hushpoint.guideline import HYDROSTATIC_MMHG_PER_CM
from hushpoint.guideline.bands import schemes
from hushpoint.measure.shown import KPA_PER_MMHG
from hushpoint.visit.sureness import (
    SYSTOLIC,
    Spread,
    chance_apart,
    chance_range_of_three,
    mean_arterial_mmhg,
    sureness,
    usual_pressure,
)

PUBLISHED = Path(__file__).resolve().parents[1] / "published" / "visit_worked_numbers.csv"
ROWS = list(csv.DictReader(PUBLISHED.read_text(encoding="utf-8").splitlines()))
PLAIN = Spread(122, 14, 8, 3.7, 0, 0)
THREE, ONE = usual_pressure(148, 3, PLAIN), usual_pressure(148, 1, PLAIN)
OURS = {
    "SHRINK.believed": THREE.believed,
    "SHRINK.usual": THREE.mean_mmhg,
    "SHRINK.sd": THREE.sd_mmhg,
    "SHRINK.above_140": THREE.above(140),
    "SHRINK1.believed": ONE.believed,
    "SHRINK1.usual": ONE.mean_mmhg,
    "DIFF10.apart_10": chance_apart(10),
    "DIFF10.apart_5": chance_apart(5),
    "DIFF10.range_10": chance_range_of_three(10),
    "MAP": mean_arterial_mmhg(120, 80),
    "KPA.systolic": 120 * KPA_PER_MMHG,
    "KPA.diastolic": 80 * KPA_PER_MMHG,
    "HYDRO": 10 * HYDROSTATIC_MMHG_PER_CM,
}


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_worked_numbers(row: dict[str, str]) -> None:
    """Each printed figure comes out."""
    assert OURS[row["id"]] == pytest.approx(float(row["value"]), abs=float(row["tolerance"]))


@given(value=st.floats(60, 260), readings=st.integers(1, 12), visits=st.integers(1, 6))
def test_more_measuring_never_makes_less_sure(value: float, readings: int, visits: int) -> None:
    """One more reading, and one more visit, never widens the spread; a visit does more than a reading."""
    now = usual_pressure(value, readings, SYSTOLIC, visits=visits).sd_mmhg
    reading = usual_pressure(value, readings + 1, SYSTOLIC, visits=visits).sd_mmhg
    visit = usual_pressure(value, readings, SYSTOLIC, visits=visits + 1).sd_mmhg
    assert visit < reading < now


@given(value=st.floats(60, 260))
def test_the_usual_pressure_lies_between_the_population_and_today(value: float) -> None:
    """It is drawn towards the adults' mean, never beyond either."""
    usual = usual_pressure(value, 3, SYSTOLIC).mean_mmhg
    assert min(value, SYSTOLIC.mean_mmhg) - 1e-9 <= usual <= max(value, SYSTOLIC.mean_mmhg) + 1e-9


def test_a_checked_gauge_corrects_the_value_and_is_trusted_more() -> None:
    """A gauge 6 low that was checked moves the middle up, with less spread than an unchecked one."""
    plain = usual_pressure(134, 3, SYSTOLIC)
    checked = usual_pressure(134, 3, SYSTOLIC, correction_mmhg=6, gauge_sd_mmhg=0.5)
    assert checked.mean_mmhg > plain.mean_mmhg
    assert checked.sd_mmhg < plain.sd_mmhg


def test_chances_at_a_schemes_edges_fall_as_the_edge_rises() -> None:
    """Each end has a chance at each of its edges, and a higher edge is never likelier."""
    for end in sureness((148, 92), 3, schemes()["NHFA_2016"]):
        chances = [chance for _, _, chance in end.above]
        assert chances == sorted(chances, reverse=True)
        assert len(chances) >= 3


@pytest.mark.parametrize(("readings", "visits"), [(0, 1), (1, 0), (101, 1)])
def test_no_readings_are_refused(readings: int, visits: int) -> None:
    """The line names the legal range."""
    with pytest.raises(BadInputError, match="from 1 to 100"):
        usual_pressure(120, readings, SYSTOLIC, visits=visits)


@pytest.mark.parametrize(("chance", "told"), [(0.0, "under 1 %"), (1.0, "over 99 %"), (0.57, "57 %")])
def test_no_chance_is_told_as_certain(chance: float, told: str) -> None:
    """A chance is never 0 or 100 per cent in words."""
    assert chance_words(chance) == told
