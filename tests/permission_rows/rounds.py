"""Rounds: who may do what."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.desk import rounds
from hushpoint.ledger.records import Ledger
from permission_rows.rows import Asked, anyone, learners, lecturers

OWN_CLASS = (403, 404, 200, 200, 403)
"""Of the class whose round it is: a learner of another class finds none."""
READING = {"reading": {"systolic": 120, "diastolic": 80}}


def furnish(_app: Starlette, ledger: Ledger, words: dict[str, Any]) -> None:
    """Open a round that is played and not opened yet, and one of an earlier hour whose answers are open."""
    earlier = rounds.open_round(ledger, room=words["code"], seed=1)
    rounds.start(ledger, room=words["code"], round_id=earlier, now_ms=0)
    rounds.close(ledger, room=words["code"], round_id=earlier, how="opened")
    words["round_opened"] = earlier
    words["round"] = rounds.open_round(ledger, room=words["code"], seed=2)
    rounds.start(ledger, room=words["code"], round_id=words["round"], now_ms=0)


def _once(status: tuple[int, int, int, int, int], **send: Any) -> Asked:
    return Asked(status, send)


TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/class/{code}/rounds"): lecturers(200),
    ("POST", "/class/{code}/rounds"): lecturers(409, data={"kind": "any"}),
    ("GET", "/class/{code}/rounds/events"): lecturers(200),
    ("GET", "/class/{code}/rounds/wall"): lecturers(200),
    ("GET", "/class/{code}/rounds/wall/events"): lecturers(200),
    ("POST", "/class/{code}/rounds/{round}/start"): lecturers(303),
    ("GET", "/practise/time"): anyone(200),
    ("GET", "/practise/round"): learners(200, 303),
    ("GET", "/practise/round/events"): learners(200, 403),
    ("GET", "/practise/rounds/{round}/sound.wav"): Asked(OWN_CLASS),
    ("GET", "/practise/rounds/{round}/needle"): Asked(OWN_CLASS),
    ("POST", "/practise/rounds/{round}/ready"): _once((403, 404, 201, 201, 403), json={"profile": "headphones"}),
    ("POST", "/practise/rounds/{round}/answer"): _once((403, 404, 201, 201, 403), json=READING),
    # not before the answers are open
    ("GET", "/practise/rounds/{round}/result"): Asked((403, 404, 403, 403, 403)),
    # last: it ends the round
    ("POST", "/class/{code}/rounds/{round}/close"): lecturers(303, data={"how": "opened"}),
}
