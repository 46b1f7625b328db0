"""Sealed pairs: no answer tells one observer what the other wrote, or that they did, before both are in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.routing import Route
from starlette.testclient import TestClient

from hushpoint.desk import classes, kit, live, pairs
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.web.app import routes
from hushpoint.wiring import Settings, build
from permission_rows.house import PASSWORD

LEARNERS = {"systolic": 173, "diastolic": 97, "ref": "learner-1"}
LECTURERS = {"systolic": 179, "diastolic": 91, "ref": "lecturer-1"}


@dataclass
class Room:
    """A class with two learners and an open pair of the first with the lecturer."""

    app: Starlette
    ledger: MemoryLedger
    code: str
    pair: str
    who: str
    lecturer: TestClient
    learner: TestClient
    classmate: TestClient

    @property
    def theirs(self) -> str:
        """The pair as the lecturer's device addresses it."""
        return f"/class/{self.code}/pairs/{self.pair}"

    @property
    def mine(self) -> str:
        """The pair as the learner's phone addresses it."""
        return f"/practise/pairs/{self.pair}"


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    """The class before anybody has sealed."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, client=("127.0.0.1", 1), follow_redirects=False) as lecturer:
        lecturer.post("/class/first-run", data={"password": PASSWORD})
        code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
        phones = []
        for name in ("Ines", "Tomo"):
            phone = TestClient(app, follow_redirects=False)
            phone.post(f"/join/{code}", data={"name": name})
            phones.append(phone)
        who = next(row.who for row in ledger.rows(kinds=[Kind.LEARNER_JOINED]))
        gauge = kit.add(ledger, {"type": "gauge", "label": "G1"}, by="lecturer").id
        answer = lecturer.post(f"/class/{code}/pairs", data={"learner": who, "client": "K1", "gauge": gauge})
        pair = answer.headers["location"].rsplit("/", 1)[1]
        yield Room(app, ledger, code, pair, who, lecturer, *phones)


def everything_seen(room: Room, device: TestClient) -> dict[str, bytes]:
    """Every page and answer there is by GET, streams left out, as this device gets them."""
    words = {"code": room.code, "who": room.who, "pair": room.pair}
    seen = {}
    for route in routes():
        if isinstance(route, Route) and "GET" in (route.methods or ()) and not route.path.endswith("/events"):
            try:
                path = route.path.format(**words)
            except KeyError:
                continue
            seen[path] = device.get(path).content
    return seen


@pytest.mark.parametrize("first", ["learner", "lecturer"])
def test_no_answer_changes_for_the_other_while_one_is_in(room: Room, first: str) -> None:
    """Page by page the other's answers are the same to the byte, and no page holds the numbers."""
    other = room.lecturer if first == "learner" else room.learner
    before, drawn_again = everything_seen(room, other), everything_seen(room, other)
    fresh = {path for path in before if before[path] != drawn_again[path]}  # a form with a fresh id at each drawing
    sealed = room.learner.post(f"{room.mine}/seal", json=LEARNERS) if first == "learner" else None
    sealed = sealed or room.lecturer.post(f"{room.theirs}/seal", json=LECTURERS)
    assert sealed.status_code == 200
    after = everything_seen(room, other)
    assert len(after) - len(fresh) > 15
    timed = {path for path in after if path.endswith((".pdf", ".ics", ".zip"))}  # they hold the second they were made
    assert {path for path in after if after[path] != before[path]} - timed == fresh - timed
    numbers = (b"173/97", b'"systolic":173') if first == "learner" else (b"179/91", b'"systolic":179')
    assert not any(number in body for body in after.values() for number in numbers)
    assert list(live.readings(room.ledger)) == []


def test_the_board_is_not_woken_by_a_sealed_half(room: Room) -> None:
    """An open board's stream goes by the class's newest row that may be seen."""
    board = room.app.state.context.boards
    before = board.now(room.code).seq
    room.learner.post(f"{room.mine}/seal", json=LEARNERS)
    room.learner.post(f"{room.mine}/take-back", json={"ref": LEARNERS["ref"]})
    assert board.now(room.code).seq == before


def test_both_turn_together_with_the_differences(room: Room) -> None:
    """With the second seal each sees both and learner minus reference; the board counts one fair pair."""
    room.learner.post(f"{room.mine}/seal", json=LEARNERS)
    room.lecturer.post(f"{room.theirs}/seal", json=LECTURERS)
    mine, theirs = room.learner.get(f"{room.mine}/state").json(), room.lecturer.get(f"{room.theirs}/state").json()
    assert mine["state"] == theirs["state"] == "turned"
    assert (mine["other"]["systolic"], theirs["other"]["systolic"]) == (179, 173)
    assert mine["difference"] == theirs["difference"] == {"systolic": -6, "diastolic": 6}
    assert {one.gauge for one in live.readings(room.ledger)} == set(kit.register(room.ledger))
    assert room.app.state.context.boards.now(room.code).lines[room.who].fair_pairs == 1
    page = room.lecturer.get(f"/class/{room.code}/learner/{room.who}/pairs").text
    assert "173/97" in page
    assert "1 fair pair<" in page


def test_what_comes_again_is_stored_once(room: Room) -> None:
    """Each seal and take-back sent three times is one row; a seal that comes after it was taken back stays out."""
    for _ in range(3):
        assert room.learner.post(f"{room.mine}/seal", json=LEARNERS).status_code == 200
    for _ in range(3):
        assert room.learner.post(f"{room.mine}/take-back", json={"ref": LEARNERS["ref"]}).status_code == 200
    assert room.learner.post(f"{room.mine}/seal", json=LEARNERS).status_code == 200
    assert room.learner.get(f"{room.mine}/state").json()["mine"] is None
    for _ in range(3):
        room.learner.post(f"{room.mine}/seal", json={**LEARNERS, "systolic": 175, "ref": "learner-2"})
        room.lecturer.post(f"{room.theirs}/seal", json=LECTURERS)
    kinds = [row.kind for row in room.ledger.rows(kinds=pairs.KINDS)]
    assert kinds.count(Kind.PAIR_SEALED) == 3
    assert kinds.count(Kind.PAIR_TAKEN_BACK) == 1
    assert kinds.count(Kind.PAIR_TURNED) == 1
    assert sorted(one.systolic_mmhg or 0 for one in live.readings(room.ledger)) == [175, 179]


def test_once_both_are_in_numbers_are_corrected_and_never_taken_back(room: Room) -> None:
    """The learner's own correction is shown and does not count; the lecturer's counts."""
    room.learner.post(f"{room.mine}/seal", json=LEARNERS)
    early = room.learner.post(f"{room.mine}/correction", json={**LEARNERS, "why": "slip"})
    assert early.status_code == 409
    room.lecturer.post(f"{room.theirs}/seal", json=LECTURERS)
    assert room.learner.post(f"{room.mine}/take-back", json={"ref": LEARNERS["ref"]}).status_code == 409
    own = {"systolic": 179, "diastolic": 91, "why": "misread", "ref": "c1"}
    for _ in range(2):
        assert room.learner.post(f"{room.mine}/correction", json=own).status_code == 200
    assert room.learner.get(f"{room.mine}/state").json()["difference"] == {"systolic": 0, "diastolic": 0}
    (fair,) = pairs.fair_pairs(room.ledger, room.code, room.who)
    assert (fair.learner.now, fair.learner.counts) == ((179, 91), (173, 97))
    assert len(fair.learner.corrections) == 1
    by_lecturer = {"systolic": 177, "diastolic": 95, "why": "typed wrong", "ref": "c2", "whose": "learner"}
    assert room.lecturer.post(f"{room.theirs}/correction", json=by_lecturer).status_code == 200
    (fair,) = pairs.fair_pairs(room.ledger, room.code, room.who)
    assert fair.learner.counts == (177, 95)


@pytest.mark.parametrize(
    ("asked", "why"),
    [({"inflation": "different"}, pairs.DIFFERENT_INFLATIONS), ({"two_gauges": "yes"}, pairs.TWO_GAUGES)],
)
def test_an_unfair_pair_is_kept_and_labelled_and_does_not_count(room: Room, asked: dict[str, str], why: str) -> None:
    """It stands on the learner's page with its reason; on two inflations the readings share no measurement."""
    answer = room.lecturer.post(f"/class/{room.code}/pairs", data={"learner": room.who, **asked})
    pair = answer.headers["location"].rsplit("/", 1)[1]
    room.learner.post(f"/practise/pairs/{pair}/seal", json=LEARNERS)
    room.lecturer.post(f"/class/{room.code}/pairs/{pair}/seal", json=LECTURERS)
    assert pairs.fair_pairs(room.ledger, room.code, room.who) == ()
    assert room.app.state.context.boards.now(room.code).lines[room.who].fair_pairs == 0
    assert why in room.learner.get("/practise/pairs").text
    measurements = {one.measurement for one in live.readings(room.ledger)}
    assert len(measurements) == (2 if "inflation" in asked else 1)


def test_a_pair_set_aside_takes_nothing_and_comes_back(room: Room) -> None:
    """Set aside it refuses numbers and does not count; taken in again it counts as before."""
    room.learner.post(f"{room.mine}/seal", json=LEARNERS)
    aside = {"cancelled": "yes", "why": "opened by mistake"}
    assert room.lecturer.post(f"{room.theirs}/cancel", data=aside).status_code == 303
    assert room.lecturer.post(f"{room.theirs}/seal", json=LECTURERS).status_code == 409
    assert room.learner.get("/practise/pairs/waiting").json() == {"pair": None}
    room.lecturer.post(f"{room.theirs}/cancel", data={"cancelled": ""})
    assert room.lecturer.post(f"{room.theirs}/seal", json=LECTURERS).status_code == 200
    boards = room.app.state.context.boards
    assert boards.now(room.code).lines[room.who].fair_pairs == 1
    room.lecturer.post(f"{room.theirs}/cancel", data=aside)
    assert boards.now(room.code).lines[room.who].fair_pairs == 0
    assert pairs.fair_pairs(room.ledger, room.code, room.who) == ()


def test_a_learner_as_the_reference_leaves_the_lecturer_looking_on(room: Room) -> None:
    """Two learners seal; the lecturer sees nothing before both are in, and may not seal in their place."""
    tomo = next(row.who for row in room.ledger.rows(kinds=[Kind.LEARNER_JOINED]) if row.who != room.who)
    answer = room.lecturer.post(f"/class/{room.code}/pairs", data={"learner": room.who, "reference": tomo})
    pair = answer.headers["location"].rsplit("/", 1)[1]
    assert room.classmate.get("/practise/pairs/waiting").json() == {"pair": pair}
    room.learner.post(f"/practise/pairs/{pair}/seal", json=LEARNERS)
    state = room.lecturer.get(f"/class/{room.code}/pairs/{pair}/state").json()
    assert (state["mine"], state["other"]) == (None, None)
    assert room.lecturer.post(f"/class/{room.code}/pairs/{pair}/seal", json=LECTURERS).status_code == 404
    room.classmate.post(f"/practise/pairs/{pair}/seal", json=LECTURERS)
    state = room.lecturer.get(f"/class/{room.code}/pairs/{pair}/state").json()
    assert (state["other"]["systolic"], state["mine"]["systolic"]) == (173, 179)


def test_erasing_a_learner_takes_their_pairs_away(room: Room) -> None:
    """After the erasure no page finds the pair; the journal still verifies."""
    room.learner.post(f"{room.mine}/seal", json=LEARNERS)
    room.lecturer.post(f"{room.theirs}/seal", json=LECTURERS)
    classes.erase_learner(room.ledger, room=room.code, who=room.who, why="asked")
    assert room.lecturer.get(room.theirs).status_code == 404
    assert pairs.book_of(room.ledger, room.code).pairs == {}
    assert room.ledger.verify().first_altered is None
