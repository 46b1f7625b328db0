"""The shipped tables say what their sources say, and a table with a wrong cell is refused in one line."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from hushpoint.errors import BadInputError
from hushpoint.guideline import (
    DIASTOLIC_EXTREMES_MMHG,
    HYDROSTATIC_MMHG_PER_CM,
    SYSTOLIC_EXTREMES_MMHG,
    TableError,
    cuff_for,
    default_policy_id,
    teaching_policies,
    teaching_policy,
    technique_effects,
)
from hushpoint.guideline.cuffs import read_cuff_sizes
from hushpoint.guideline.policies import read_teaching_policies
from hushpoint.guideline.tables import package_text
from hushpoint.guideline.technique import read_technique_effects

PUBLISHED = Path(__file__).resolve().parents[1] / "published"


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("technique_effects_kallioinen_2017.csv"), ids=lambda row: row["id"])
def test_effect_ranges_are_the_published_ones(row: dict[str, str]) -> None:
    """Each shipped range equals the published one, and its mark says whether it was seen."""
    effect = technique_effects()[row["id"]]
    assert effect.systolic_mmhg == (float(row["systolic_low_mmhg"]), float(row["systolic_high_mmhg"]))
    assert effect.diastolic_mmhg == (float(row["diastolic_low_mmhg"]), float(row["diastolic_high_mmhg"]))
    assert effect.provenance == row["provenance"]


def test_effects_match_the_shared_facts(shared_data: Path) -> None:
    """The Kallioinen rows equal the facts table beside the project, where it is here."""
    names = {
        "no rest before": "no_rest",
        "full bladder": "full_bladder",
        "caffeine": "caffeine",
        "legs crossed at knee": "legs_crossed",
        "arm unsupported": "arm_unsupported",
        "arm hanging at side": "arm_at_side",
        "cuff one size too small": "cuff_one_too_small",
        "cuff too large": "cuff_too_large",
    }
    with (shared_data.parent / "facts/tables/technique_effects.csv").open(encoding="utf-8", newline="") as file:
        facts = {row["error"]: row for row in csv.DictReader(file)}
    for error, effect_id in names.items():
        effect, fact = technique_effects()[effect_id], facts[error]
        assert effect.systolic_mmhg == (float(fact["sbp_low"]), float(fact["sbp_high"])), error
        assert effect.diastolic_mmhg == (float(fact["dbp_low"]), float(fact["dbp_high"])), error


def test_extremes_and_hydrostatics() -> None:
    """The review's extremes are as in its abstract, and hydrostatics follow from density and gravity."""
    assert SYSTOLIC_EXTREMES_MMHG == (-23.6, 33.0)
    assert DIASTOLIC_EXTREMES_MMHG == (-14.0, 23.0)
    assert pytest.approx(1055 * 9.80665 * 0.01 / 133.322, abs=5e-4) == HYDROSTATIC_MMHG_PER_CM


@pytest.mark.parametrize("row", rows("cuff_arms_aha_2005.csv"), ids=lambda row: row["arm_cm"])
def test_cuff_for_arm(row: dict[str, str]) -> None:
    """Each arm gets the AHA cuff with its printed bladder."""
    cuff = cuff_for(float(row["arm_cm"]))
    assert (cuff.id, cuff.bladder_width_cm, cuff.bladder_length_cm) == (
        row["cuff"],
        float(row["width_cm"]),
        float(row["length_cm"]),
    )


@pytest.mark.parametrize("arm_cm", [21.4, 52.5, 0, -3, float("nan"), float("inf")])
def test_no_cuff_outside_the_table(arm_cm: float) -> None:
    """An arm outside 22 to 52 cm is refused with the range."""
    with pytest.raises(BadInputError, match="22 to 52 cm"):
        cuff_for(arm_cm)


@pytest.mark.parametrize("row", rows("policy_targets.csv"), ids=lambda row: row["id"])
def test_policies_ask_what_their_source_asks(row: dict[str, str]) -> None:
    """Target, release, end point and palpation of each shipped policy."""
    policy = teaching_policies()[row["id"]]
    assert policy.inflation == row["inflation"]
    assert policy.inflation_mmhg == float(row["inflation_mmhg"])
    assert policy.release_mmhg_per_s == (float(row["release_low"]), float(row["release_high"]))
    assert policy.end_point == row["end_point"]
    assert policy.palpation_asked == (row["palpation_asked"] == "yes")


def test_default_policy_is_there_and_unknown_one_is_refused_with_the_list() -> None:
    """The default can be loaded; another name gets the list of ids."""
    assert teaching_policy(default_policy_id).id == default_policy_id
    with pytest.raises(BadInputError, match="must be one of PALPATED_30, "):
        teaching_policy("NOBODYS")


READERS = {
    "technique_effects.csv": read_technique_effects,
    "cuff_sizes.csv": read_cuff_sizes,
    "teaching_policies.csv": read_teaching_policies,
}


@pytest.mark.parametrize(
    ("name", "old", "new", "told"),
    [
        ("technique_effects.csv", "id,what", "id,who", "row 1: the heading must be"),
        ("technique_effects.csv", "4.2,11.6", "x,11.6", "row 2, systolic_low_mmhg 'x': must be a number"),
        ("technique_effects.csv", "4.2,11.6", "4.2,34", "from -23.6 to 33"),
        ("technique_effects.csv", "4.2,11.6", "11.6,4.2", "must be at most systolic_high_mmhg"),
        ("technique_effects.csv", "4.2,11.6", "nan,11.6", "must be a number"),
        ("technique_effects.csv", 'row 11",SEEN', 'row 11",HEARD', "one of SEEN, FROM MEMORY, DERIVED"),
        ("technique_effects.csv", "talking,talking", "no_rest,talking", "'no_rest' stands twice"),
        ("technique_effects.csv", "0,0,yes", "0,0,maybe", "one of yes, no"),
        ("cuff_sizes.csv", "adult,adult,27", "adult,adult,28", "must be 27"),
        ("cuff_sizes.csv", ",16,30,", ",16,30,7,", "cells, must be 8"),
        ("teaching_policies.csv", "palpated,30", "guessed,30", "one of fixed, palpated, first_sound"),
        ("teaching_policies.csv", "fixed,180", "fixed,400", "from 100 to 280"),
        ("teaching_policies.csv", "either,2,yes", "either,2,no", "palpation_asked"),
        ("teaching_policies.csv", "last_sound", "last_word", "one of last_sound, first_silence"),
    ],
)
def test_a_wrong_cell_is_refused_in_one_line(name: str, old: str, new: str, told: str) -> None:
    """The refusal names the table, the row, the column and what is legal."""
    text = package_text(name)
    assert old in text
    with pytest.raises(TableError) as refused:
        READERS[name](text.replace(old, new, 1), name)
    assert told in str(refused.value)
    assert str(refused.value).startswith(name)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("name", list(READERS))
def test_an_empty_table_is_refused(name: str) -> None:
    """A heading with no rows is no table."""
    with pytest.raises(TableError, match="no rows"):
        READERS[name](package_text(name).splitlines()[0] + "\n", name)
