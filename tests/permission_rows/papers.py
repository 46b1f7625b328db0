"""Listening papers: who may do what."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import papers
from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, learners, lecturers

NOW = "2026-03-02T09:00:00.000000Z"


def furnish(_app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """Set a paper, take a form out, begin one attempt and hand another in."""
    setting = papers.Setting("Week 8", marking="at_once", attempts=9)
    paper = papers.set_paper(ledger, room=words["code"], setting=setting, seed=3)
    asked = {"ledger": ledger, "room": words["code"], "paper_id": paper}
    words["paper"], words["place"] = paper, 1
    words["number"] = papers.export_form(**asked)
    papers.open_key(**asked, number=words["number"])
    first = papers.begin(**asked, who=words["who"], profile_id="headphones", now=NOW)
    papers.hand_in(ledger, room=words["code"], who=words["who"], attempt_id=first.id)
    words["attempt"] = first.id


def the_learners_page(status: int) -> Asked:
    """A page of one learner's own: nobody else finds it, and who has not joined is led to the door."""
    return Asked((303, 404, 404, status, 303))


def the_learners_own(status: int, **send: Any) -> Asked:
    """Of this one learner alone; another learner finds none."""
    return Asked((403, 404, 404, status, 403), send)


SETTING = {"title": "Week 9", "rule": "NHANES_2003", "marking": "at_end", "plays": "1", "attempts": "3"}
TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/class/{code}/papers"): lecturers(200),
    ("POST", "/class/{code}/papers"): lecturers(303, data=SETTING),
    ("GET", "/class/{code}/papers/{paper}"): lecturers(200),
    ("POST", "/class/{code}/papers/{paper}/change"): lecturers(303, data={"to": "offered"}),
    ("POST", "/class/{code}/papers/{paper}/export"): lecturers(303),
    ("GET", "/class/{code}/papers/{paper}/attempts/{attempt}"): lecturers(200),
    ("GET", "/class/{code}/papers/{paper}/forms/{number}"): lecturers(200),
    ("POST", "/class/{code}/papers/{paper}/forms/{number}"): lecturers(
        200, data={"who": "{who}", "pair_1": "128/82", "sure": "yes"}
    ),
    ("GET", "/class/{code}/papers/{paper}/forms/{number}/sounds.zip"): lecturers(200),
    ("POST", "/class/{code}/papers/{paper}/forms/{number}/key"): lecturers(303),
    ("GET", "/class/{code}/papers/{paper}/forms/{number}/key.pdf"): lecturers(200),
    ("GET", "/practise/papers"): learners(200, 303),
    # nobody has done the device check on these devices
    ("POST", "/practise/papers/{paper}/begin"): Asked((403, 403, 403, 403, 403)),
    # handed in: the page leads to the result, and nothing more is played or taken
    ("GET", "/practise/attempts/{attempt}"): the_learners_page(303),
    ("GET", "/practise/attempts/{attempt}/state"): the_learners_own(200),
    ("GET", "/practise/attempts/{attempt}/{place}/sound.wav"): the_learners_own(403),
    ("GET", "/practise/attempts/{attempt}/{place}/needle"): the_learners_own(403),
    ("POST", "/practise/attempts/{attempt}/{place}/play"): the_learners_own(409, json={"number": 1}),
    ("POST", "/practise/attempts/{attempt}/{place}/answer"): the_learners_own(
        409, json={"reading": {"systolic": 120, "diastolic": 80}}
    ),
    ("POST", "/practise/attempts/{attempt}/hand-in"): the_learners_own(303),
    ("GET", "/practise/attempts/{attempt}/result"): the_learners_page(200),
}
