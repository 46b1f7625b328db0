"""Technique sheets: the lecturer's alone."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import technique
from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, lecturers, opened_to

SHEET: dict[str, Any] = {
    "assessor": "AB",
    "marks": {"seated": "done", "rest": "missed"},
    "notes": {"rest": "talked"},
    "overall": "practice",
    "ref": "a",
}

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/class/{code}/technique"): lecturers(200),
    ("POST", "/class/{code}/technique"): lecturers(303, data={"learner": "{who}"}),
    ("GET", "/class/{code}/technique/{performance}"): lecturers(200),
    ("POST", "/class/{code}/technique/{performance}"): lecturers(200, json=SHEET),
    ("GET", "/class/{code}/technique/{performance}/marks"): lecturers(200),
}
TABLE = opened_to("assessor", TABLE)

FORMS: dict[str, dict[str, str]] = {"/class/{code}/technique": {"learner": "{who}", "ref": ""}}
BODIES: dict[str, dict[str, Any]] = {"/class/{code}/technique/{performance}": SHEET}


def furnish(app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """Begin a performance of the learner."""
    words["performance"] = technique.begin(ledger, room=words["code"], learner=words["who"], ref="performance")
