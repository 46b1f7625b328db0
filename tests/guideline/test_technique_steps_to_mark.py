"""The 33 steps an assessor marks: which are critical, and what a wrong table is told."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from hushpoint.guideline.tables import TableError, package_text
from hushpoint.guideline.technique_steps import read_technique_steps, technique_steps

PUBLISHED = Path(__file__).resolve().parents[1] / "published" / "competence_technique_steps.csv"


def test_steps_and_critical_ones_are_those_of_the_checklist() -> None:
    """33 steps in order, each critical or not as the checklist has it."""
    with PUBLISHED.open(encoding="utf-8", newline="") as file:
        asked = [(int(row["number"]), row["id"], row["critical"] == "yes") for row in csv.DictReader(file)]
    assert [(step.number, step.id, step.critical) for step in technique_steps()] == asked


@pytest.mark.shared_data
def test_critical_marks_equal_the_job_description(shared_data: Path) -> None:
    """The table of steps beside the project marks the same ones critical, where it is here."""
    text = (shared_data.parent / "facts/job.md").read_text(encoding="utf-8")
    section = text.partition("## 3 Technique checklist")[2].partition("\n## ")[0]
    rows = re.findall(r"^\|(\d+)\|[^|]*\|(C?)\|", section, flags=re.MULTILINE)
    assert [(int(number), mark == "C") for number, mark in rows] == [
        (step.number, step.critical) for step in technique_steps()
    ]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("quiet_room,1,", "quiet_room,2,", "1, the next in order"),
        ("kit_in_order,2", "quiet_room,2", "stands twice"),
        (",no,", ",perhaps,", "one of yes, no"),
        ("SEEN", "HEARD", "one of SEEN"),
    ],
)
def test_a_wrong_cell_in_the_steps_is_refused_in_one_line(old: str, new: str, told: str) -> None:
    """The refusal names the table, the row and what is legal."""
    text = package_text("technique_steps.csv")
    assert old in text
    with pytest.raises(TableError) as refused:
        read_technique_steps(text.replace(old, new, 1), "technique_steps.csv")
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)
