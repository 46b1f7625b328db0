"""The preparticipation algorithm (Riebe 2015): who is asked for medical clearance before exercise.

Pressure is no part of it: it stands beside the pressure as a gate of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from hushpoint.guideline.tables import PROVENANCES, TableError, package_text, table_rows

_COLUMNS = (
    "id", "exercises", "disease", "symptoms", "intended", "clearance", "advice", "source", "provenance",
)  # fmt: skip
_ASKED = ("not_needed", "needed", "needed_unless_cleared", "stop")
_ANSWERS = ("yes", "no", "any")


@dataclass(frozen=True, slots=True)
class ClearanceRule:
    """One row: the answers it is for, whether clearance is asked, and the advice that goes with it."""

    id: str
    exercises: str
    disease: str
    symptoms: str
    intended: str
    clearance: str
    advice: str
    source: str
    provenance: str

    def holds(self, *, exercises: bool, disease: bool, symptoms: bool, vigorous: bool) -> bool:
        """Say whether the row is the one for these answers."""
        asked = ((self.exercises, exercises), (self.disease, disease), (self.symptoms, symptoms))
        intended = self.intended == "any" or (self.intended == "vigorous") is vigorous
        return intended and all(cell == "any" or (cell == "yes") is answer for cell, answer in asked)


def read_clearance_rules(text: str, table: str) -> tuple[ClearanceRule, ...]:
    """Return the rows from CSV text; raises TableError where a cell is wrong or answers have no row or two."""
    rules = tuple(
        ClearanceRule(
            id=row.text("id"),
            exercises=row.one_of("exercises", _ANSWERS),
            disease=row.one_of("disease", _ANSWERS),
            symptoms=row.one_of("symptoms", _ANSWERS),
            intended=row.one_of("intended", ("any", "light_moderate", "vigorous")),
            clearance=row.one_of("clearance", _ASKED),
            advice=row.text("advice"),
            source=row.text("source"),
            provenance=row.one_of("provenance", PROVENANCES),
        )
        for row in table_rows(text, table, _COLUMNS)
    )
    for number in range(16):
        answers = {
            name: bool(number >> place & 1)
            for place, name in enumerate(("exercises", "disease", "symptoms", "vigorous"))
        }
        if sum(rule.holds(**answers) for rule in rules) != 1:
            raise TableError(f"{table}: {answers} must have exactly one row")
    return rules


@cache
def clearance_rules() -> tuple[ClearanceRule, ...]:
    """Return the shipped rows (Riebe 2015)."""
    return read_clearance_rules(package_text("preparticipation.csv"), "preparticipation.csv")


def clearance_rule(*, exercises: bool, disease: bool, symptoms: bool, vigorous: bool) -> ClearanceRule:
    """Return the one row for these answers."""
    return next(
        rule
        for rule in clearance_rules()
        if rule.holds(exercises=exercises, disease=disease, symptoms=symptoms, vigorous=vigorous)
    )
