"""The rotation: planned and seen by name by the lecturer alone; a learner sees their own group."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import classes, rotation
from hushpoint.desk.path import local_now
from hushpoint.ledger.records import Ledger
from hushpoint.practice.rotation import Asked as Room
from permission_rows.rows import Asked, learners, lecturers

PLANNED = {"minutes": "60", "gauges": "6", "double_heads": "1", "tests": "2", "slot_minutes": "4", "paper": "yes"}
TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/class/{code}/rotation"): lecturers(200),
    ("POST", "/class/{code}/rotation"): lecturers(303, data=PLANNED),
    ("GET", "/class/{code}/rotation/now"): lecturers(200),
    ("GET", "/class/{code}/rotation/wall"): lecturers(200),
    ("GET", "/class/{code}/rotation/wall/now"): lecturers(200),
    ("GET", "/class/{code}/rotation/sheet.pdf"): lecturers(200),
    ("POST", "/class/{code}/rotation/change"): lecturers(303, data={"act": "start", "who": ""}),
    ("GET", "/practise/rotation"): learners(200, 303),
    ("GET", "/practise/rotation/now"): learners(200, 403),
}
FORMS: dict[str, dict[str, str]] = {
    "/class/{code}/rotation": {**PLANNED, "away-{who}": "yes", "able-{who}": "yes"},
    "/class/{code}/rotation/change": {"act": "absent", "who": "{who}"},
}
"""What a form of this area sends, for the fuzzing of every field."""


def furnish(_app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """Plan a rotation of the class in two groups: the learner's and the classmate's, who see their own."""
    classes.add_roster(ledger, room=words["code"], names=[f"Ida {number}" for number in range(4)])
    rotation.plan_rotation(
        ledger,
        room=words["code"],
        asked=Room(60, 2, 1, tests=2),
        absent=frozenset(),
        competent=frozenset(),
        paper=True,
        today=local_now().date(),
    )
