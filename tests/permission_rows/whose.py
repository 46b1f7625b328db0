"""Whose error: names and judgements of observers, for the lecturer alone."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import live
from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, lecturers

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/class/{code}/whose"): lecturers(200),
    ("GET", "/class/{code}/whose/picture.svg"): lecturers(200),
    ("GET", "/whose"): lecturers(200),
    ("GET", "/whose/picture.svg"): lecturers(200),
}


def furnish(app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """Store live readings of the learner and the lecturer on shared measurements."""
    for turn in range(6):
        for observer, who, systolic in (("lecturer", "", 120 + 2 * turn), (words["who"], words["who"], 122 + 3 * turn)):
            reading = live.LiveReading(f"whose{turn}", observer, systolic, 80, "2026-03-02T09:00:00Z", "paper")
            ledger.append(live.entry_of(reading, room=words["code"], who=who))
