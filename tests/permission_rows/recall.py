"""What a bad gauge touched: the lecturer's alone."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, lecturers
from recall_scene import furnish as scene

DECIDED = {"line": "visit:visitK17", "decision": "letter", "by": "lecturer", "why": "asked to come back"}

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/kit/recall/{gauge}"): lecturers(200),
    ("POST", "/kit/recall/{gauge}/decide"): lecturers(303, data=DECIDED),
    ("GET", "/kit/recall/{gauge}/list.csv"): lecturers(200),
    ("GET", "/kit/recall/{gauge}/worklist.pdf"): lecturers(200),
}


def furnish(app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """The gauge 6 low, and everything it touched."""
    bad, _ = scene(ledger, "R4")
    words["gauge"] = bad.id
