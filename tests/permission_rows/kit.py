"""The kit: who may see, change, wipe, check and print."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import kit
from hushpoint.instrument import Direction, GaugePoint
from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, anyone, lecturers

MEMBERS = Asked((401, 200, 200, 200, 200), also={"assessor": 200, "practitioner": 200})
"""Those of a class and the lecturer; a stranger comes in first."""
MEMBERS_LOG = Asked((401, 303, 303, 303, 303), {"data": {"to": ""}}, {"assessor": 303, "practitioner": 303})
BENCH = {f"r{row}": step for row, step in enumerate(("0", "60", "100", "150"))} | {
    f"g{row}": step for row, step in enumerate(("0", "61", "101", "151"))
}
CHECK = {"reference": "M1", "certificate": "12", "error": "0.5", "rule": "in_use", "by": "lecturer", **BENCH}
TIMES = {"test": "leak", "rule": "new", "by": "lecturer"} | {f"t{row}": str(60 * row) for row in range(4)} | {
    f"p{row}": str(200 - row) for row in range(4)
}  # fmt: skip

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/kit"): MEMBERS,
    ("POST", "/kit/add"): lecturers(303, data={"type": "gauge", "label": "G9"}),
    ("GET", "/kit/labels.pdf"): lecturers(200, params={"item": "{kit_item}"}),
    ("GET", "/kit/due"): lecturers(200),
    ("POST", "/kit/due"): lecturers(303, data={"months": "12"}),
    ("GET", "/kit/due.ics"): lecturers(200),
    ("GET", "/kit/{item}"): MEMBERS,
    ("POST", "/kit/{item}/change"): lecturers(303, data={"label": "G5"}),
    ("POST", "/kit/{item}/retire"): lecturers(303, data={"back": "yes"}),
    ("POST", "/kit/{item}/wiped"): MEMBERS_LOG,
    ("POST", "/kit/{item}/knocked"): MEMBERS_LOG,
    ("GET", "/kit/{item}/check"): lecturers(200),
    ("POST", "/kit/{item}/check"): lecturers(200, data=CHECK),
    ("GET", "/kit/{item}/checks/{check}"): MEMBERS,
    ("GET", "/kit/{item}/checks/{check}/picture.svg"): MEMBERS,
    ("GET", "/kit/{item}/checks/{check}/certificate.pdf"): lecturers(200),
    ("GET", "/kit/{item}/timed"): lecturers(200),
    ("POST", "/kit/{item}/timed"): lecturers(200, data=TIMES),
    ("GET", "/k"): anyone(200),
    ("GET", "/k/{item}"): anyone(303),
    ("GET", "/cuff"): anyone(200, params={"arm": "36"}),
}


def furnish(app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """A gauge with one good check."""
    now = datetime.now(UTC)
    gauge = kit.add(ledger, {"type": "gauge", "label": "G4"}, by="lecturer")
    points = [GaugePoint(step, step, Direction.UP) for step in (0, 60, 100, 150, 200, 250, 300)]
    stored = kit.file_check(
        ledger, gauge.id, points=points, rule="new", reference=kit.Reference("M1", "12", 0.5), checked_at=now,
        how="bench", by="lecturer", now=now,
    )  # fmt: skip
    words |= {"item": gauge.id, "kit_item": gauge.id, "check": str(stored.seq)}
