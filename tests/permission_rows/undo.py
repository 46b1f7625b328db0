"""Taking back: each of what they did themselves, and of nobody else's."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import consent
from hushpoint.ledger.records import Kind, Ledger
from permission_rows.rows import Asked

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/undo"): Asked((401, 200, 200, 200, 200), also={"assessor": 200, "practitioner": 200, "auditor": 200}),
    ("POST", "/undo"): Asked(
        (401, 404, 404, 303, 404),
        {"data": {"row": "{note_row}", "next": "/practise"}},
        {"assessor": 404, "practitioner": 404, "auditor": 404},
    ),
}
FORMS: dict[str, dict[str, str]] = {"/undo": {"row": "{note_row}", "next": "/practise"}}


def furnish(app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """The learner noted a reading of their own."""
    mine = {"room": words["code"], "who": words["who"]}
    consent.note_finding(ledger, **mine, systolic="142", diastolic="88", wish="talk", note="")
    words["note_row"] = str(max(row.seq for row in ledger.rows(kinds=[Kind.FINDING_NOTED], **mine)))
