"""Pairs: who may open, seal, see and correct them."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import pairs
from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, learners, lecturers, opened_to

NUMBERS = {"systolic": 124, "diastolic": 82}
WIDE = "learner,systolic,diastolic,reference_systolic,reference_diastolic\nName of learner,124,82,128,82\n"


def in_the_pair(status: int, **send: Any) -> Asked:
    """Of the learner in it alone: another class or a classmate finds nothing; who has not joined is turned away."""
    return Asked((403, 404, 404, status, 403), send)


TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/class/{code}/pairs"): lecturers(200),
    ("POST", "/class/{code}/pairs"): lecturers(303, data={"learner": "{who}", "client": "K2"}),
    ("GET", "/class/{code}/pairs/paper"): lecturers(200),
    ("POST", "/class/{code}/pairs/paper"): lecturers(
        200, data={"learner": "Name of learner", "mine": "124/82", "theirs": "128/82"}
    ),
    ("GET", "/class/{code}/pairs/import"): lecturers(200),
    ("POST", "/class/{code}/pairs/import"): lecturers(200, files={"file": ("f.csv", WIDE.encode())}),
    ("GET", "/class/{code}/learner/{who}/pairs"): lecturers(200),
    ("GET", "/class/{code}/pairs/{pair}"): lecturers(200),
    ("GET", "/class/{code}/pairs/{pair}/state"): lecturers(200),
    ("POST", "/class/{code}/pairs/{pair}/take-back"): lecturers(200, json={"ref": "early"}),
    ("POST", "/class/{code}/pairs/{pair}/seal"): lecturers(200, json={**NUMBERS, "ref": "a"}),
    ("GET", "/class/{code}/learner/{who}/pairs/picture.svg"): lecturers(200),
    ("GET", "/practise/pairs"): learners(200, 303),
    ("GET", "/practise/pairs/picture.svg"): in_the_pair(200),
    ("GET", "/practise/pairs/waiting"): learners(200, 403),
    ("GET", "/practise/pairs/{pair}"): in_the_pair(200),
    ("GET", "/practise/pairs/{pair}/state"): in_the_pair(200),
    ("POST", "/practise/pairs/{pair}/take-back"): in_the_pair(200, json={"ref": "early"}),
    ("POST", "/practise/pairs/{pair}/seal"): in_the_pair(200, json={**NUMBERS, "ref": "a"}),
    ("POST", "/practise/pairs/{pair}/correction"): in_the_pair(200, json={**NUMBERS, "ref": "c", "why": "slip"}),
    ("POST", "/class/{code}/pairs/{pair}/correction"): lecturers(
        200, json={**NUMBERS, "ref": "c", "why": "slip", "whose": "learner"}
    ),
    ("POST", "/class/{code}/pairs/{pair}/cancel"): lecturers(303, data={"cancelled": "yes", "why": "moved"}),
}
TABLE = opened_to("assessor", TABLE)

FORMS: dict[str, dict[str, str]] = {
    "/class/{code}/pairs": {
        "learner": "{who}",
        "reference": "lecturer",
        "inflation": "same",
        "client": "K1",
        "arm": "left",
        "gauge": "",
        "two_gauges": "yes",
        "reference_gauge": "",
        "ref": "",
    },
    "/class/{code}/pairs/{pair}/cancel": {"cancelled": "yes", "why": "moved"},
    "/class/{code}/pairs/paper": {
        "learner": "Ines",
        "mine": "124/82",
        "theirs": "128/82",
        "day": "2026-05-01",
        "ref": "",
    },
    "/class/{code}/pairs/import": {
        "text": WIDE,
        "reference": "",
        "day": "",
        "name": "f.csv",
        "store": "yes",
        "alike": "",
    },
}
"""What a form of this area sends, for the fuzzing of every field."""
BODIES: dict[str, dict[str, Any]] = {
    f"{door}/pairs/{{pair}}/{act}": body
    for door in ("/class/{code}", "/practise")
    for act, body in (
        ("take-back", {"ref": "a"}),
        ("seal", {**NUMBERS, "ref": "a"}),
        ("correction", {**NUMBERS, "ref": "a", "why": "slip", "whose": "learner"}),
    )
}


def furnish(app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """Open a pair of the learner with the lecturer."""
    opening = pairs.Opening(words["who"], client="K1")
    words["pair"] = pairs.open_pair(ledger, room=words["code"], opening=opening)
