"""Bands of every scheme at every boundary, the ladder's strictness, and tables with a wrong cell."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from hushpoint.errors import BadInputError
from hushpoint.guideline.bands import CLINICAL_IDS, isolated_form, read_schemes, schemes
from hushpoint.guideline.clinical_policies import clinical_policies, clinical_policy, read_ladders
from hushpoint.guideline.preparticipation import clearance_rule, clearance_rules, read_clearance_rules
from hushpoint.guideline.protocols import read_protocols
from hushpoint.guideline.tables import TableError, package_text

PUBLISHED = Path(__file__).resolve().parents[1] / "published"


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


BOUNDARIES = rows("visit_boundary_cases.csv")


def test_all_35_boundary_readings_are_here() -> None:
    """The table of outside values is whole."""
    assert len(BOUNDARIES) == 35


@pytest.mark.parametrize("scheme", CLINICAL_IDS)
@pytest.mark.parametrize("row", BOUNDARIES, ids=lambda row: f"{row['sbp']}-{row['dbp']}")
def test_every_boundary_reading_has_its_category_in_every_scheme(row: dict[str, str], scheme: str) -> None:
    """35 readings by 8 schemes, as the printed bands have it."""
    assert schemes()[scheme].category(float(row["sbp"]), float(row["dbp"])) == row[scheme]


@pytest.mark.parametrize("row", BOUNDARIES, ids=lambda row: f"{row['sbp']}-{row['dbp']}")
def test_isolated_forms_and_the_gravest_limits_keep_their_strictness(row: dict[str, str]) -> None:
    """Isolated forms at 140/90; step A is above 180/120, step B from 180/110 on: 180/120 exactly is B and not A."""
    ends = (float(row["sbp"]), float(row["dbp"]))
    assert (isolated_form(*ends) or "") == row["isolated_140_90"]
    for policy in clinical_policies().values():
        by_step = {step.step: step.reached(*ends) for step in policy.ladder}
        assert by_step["A"] is (row["US_severe_gt180_or_gt120"] == "yes")
        assert by_step["B"] is (row["ESC_ESH_ge180_or_ge110"] == "yes")


def test_a_mean_is_not_rounded_before_it_is_judged() -> None:
    """129.5 is elevated, 130 is stage 1; 119.99 normal."""
    scheme = schemes()["ACC_AHA_2017"]
    assert [scheme.category(at, 70) for at in (119.99, 129.5, 129.999, 130)] == [
        "normal",
        "elevated",
        "elevated",
        "stage 1",
    ]


@pytest.mark.parametrize(
    ("scheme", "ends", "edge"),
    [
        ("ACC_AHA_2017", (118, 70), ("systolic", 120, 2)),
        ("ACC_AHA_2017", (125, 78), ("diastolic", 80, 2)),
        ("NHFA_2016", (163, 97), ("systolic", 160, -3)),
        ("ESC_2024", (163, 97), ("systolic", 140, -23)),
        ("ESC_2024", (150, 78), ("systolic", 140, -10)),
        ("ISH_2020", (165, 103), ("systolic", 160, -5)),
        ("NHFA_2016", (140, 80), ("systolic", 140, 0)),
    ],
)
def test_distance_to_the_nearest_edge(scheme: str, ends: tuple[float, float], edge: tuple[str, float, float]) -> None:
    """The edge that one end, or both where both hold the band, must cross to change the category; worked by hand."""
    found = schemes()[scheme].nearest_edge(*ends)
    assert found is not None
    assert (found.end, found.at_mmhg, found.distance_mmhg) == edge


def test_the_seven_rows_of_the_preparticipation_algorithm() -> None:
    """Each printed row gives its clearance for every answer it covers, and there is no other row."""
    asked = {
        "not necessary": "not_needed",
        "recommended": "needed",
        "recommended unless cleared within 12 months and no change": "needed_unless_cleared",
        "stop exercise and seek clearance": "stop",
    }
    table = rows("visit_preparticipation.csv")
    assert len(table) == len(clearance_rules()) == 7
    for row in table:
        for disease in {"yes": [True], "no": [False], "yes or no": [True, False]}[row["disease"]]:
            for vigorous in {"any": [True, False], "vigorous": [True], "light or moderate": [False]}[row["intended"]]:
                rule = clearance_rule(
                    exercises=row["exercises"] == "yes",
                    disease=disease,
                    symptoms=row["symptoms"] == "yes",
                    vigorous=vigorous,
                )
                assert rule.clearance == asked[row["clearance"]]


def test_an_unknown_policy_is_refused_with_the_list() -> None:
    """The refusal names all eight ids."""
    with pytest.raises(BadInputError) as refused:
        clinical_policy("WHO_1999")
    assert all(name in str(refused.value) for name in CLINICAL_IDS)


@pytest.mark.parametrize("name", CLINICAL_IDS)
def test_every_figure_carries_a_source_and_a_mark(name: str) -> None:
    """No figure of a policy stands without saying where it is from."""
    policy = clinical_policies()[name]
    for source, mark in policy.protocol.sources.values():
        assert len(source) > 5
        assert mark in {"SEEN", "FROM MEMORY", "DERIVED", "CHOICE"}
    assert all(len(step.source) > 5 for step in policy.ladder)


TABLES = {
    "clinical_bands.csv": read_schemes,
    "clinical_protocols.csv": read_protocols,
    "clinical_ladder.csv": read_ladders,
    "preparticipation.csv": read_clearance_rules,
}


@pytest.mark.parametrize(
    ("table", "old", "new", "words"),
    [
        ("clinical_bands.csv", "ESC_2024.1,ESC_2024,1,", "ESC_2024.1,ESC_2024,2,", "rank"),
        ("clinical_bands.csv", "elevated,120,70", "elevated,nan,70", "systolic_from_mmhg"),
        ("clinical_bands.csv", "elevated,120,70", "elevated,0,70", "above the band before"),
        ("clinical_bands.csv", "hypertension,140,90", "hypertension,140,60", "edges rise"),
        ("clinical_bands.csv", "non-elevated,0,0", "non-elevated,10,0", "lowest band"),
        ("clinical_bands.csv", "ESC_2024.0,ESC_2024", "ESC_2024.0,ESC_1999", "one of"),
        ("clinical_protocols.csv", "ESC_2024,readings,3", "ESC_2024,readings,0", "1 to 6"),
        ("clinical_protocols.csv", "ESC_2024,value,last_two", "ESC_2024,value,best", "one of"),
        ("clinical_protocols.csv", "ESC_2024,apart,more", "ESC_2024,apart,none", "none exactly"),
        ("clinical_protocols.csv", "ESC_2024.rest_s,ESC", "ESC_2024.rest,ESC", "ESC_2024.rest_s"),
        (
            "clinical_protocols.csv",
            "ISH_2020,step_systolic_mmhg,130",
            "ISH_2020,step_systolic_mmhg,none",
            "none exactly",
        ),
        ("clinical_ladder.csv", "ESC_2024.C,ESC_2024,C,160,100", "ESC_2024.C,ESC_2024,C,130,100", "no graver"),
        (
            "clinical_ladder.csv",
            "ESH_2023,C,160,100,at_least,refer,30",
            "ESH_2023,C,160,100,at_least,refer,90",
            "sooner",
        ),
        ("clinical_ladder.csv", "ESC_2024.N,ESC_2024,N,0,0", "ESC_2024.N,ESC_2024,N,10,0", "hold from 0/0"),
        ("preparticipation.csv", "1,no,no,no,any", "1,no,no,any,any", "exactly one row"),
        ("preparticipation.csv", "7,yes,any,yes,any,stop", "7,yes,any,yes,any,fine", "one of"),
    ],
)
def test_a_table_with_a_wrong_cell_is_refused_in_one_line(table: str, old: str, new: str, words: str) -> None:
    """A changed cell is refused with table and place; the shipped text itself is read."""
    text = package_text(table)
    assert text.count(old) == 1
    TABLES[table](text, table)
    with pytest.raises(TableError) as refused:
        TABLES[table](text.replace(old, new), table)
    assert str(refused.value).startswith(table)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_protocol_without_a_figure_is_refused() -> None:
    """A missing row names itself."""
    text = "".join(
        line for line in package_text("clinical_protocols.csv").splitlines(True) if "NICE_NG136.value" not in line
    )
    with pytest.raises(TableError, match=r"no row NICE_NG136\.value"):
        read_protocols(text, "clinical_protocols.csv")
