"""Whatever is sent to a route that takes something: no fault of ours, one line, and nothing written when refused."""

from __future__ import annotations

import copy
import json
import random
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.routing import Route
from starlette.testclient import TestClient

from bench_logs import bench_log
from hushpoint.desk import access, classes, pairs, papers, rounds
from hushpoint.ledger.records import Kind
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import open_sqlite
from hushpoint.practice.cases import case_of
from hushpoint.practice.setup import right_choices
from hushpoint.web import guesses
from hushpoint.web.app import routes
from hushpoint.web.context import LEARNER_COOKIE, STAFF_COOKIE
from hushpoint.wiring import Settings, build
from permission_rows import access as access_rows
from permission_rows import client as client_rows
from permission_rows import evidence as evidence_rows
from permission_rows import kit as kit_rows
from permission_rows import measured as measured_rows
from permission_rows import own_data as own_data_rows
from permission_rows import pairs as pair_rows
from permission_rows import questions as question_rows
from permission_rows import recall as recall_rows
from permission_rows import recordings as recordings_rows
from permission_rows import rotation as rotation_rows
from permission_rows import technique as technique_rows
from permission_rows import tour as tour_rows
from permission_rows import undo as undo_rows

PASSWORD = "ten letters or more"
VALUES: dict[str, Any] = {
    "null": None, "true": True, "zero": 0, "minus": -1, "above": 301, "half": 120.5, "64 bits": 2**63, "huge": 10**400,
    "inf": float("inf"), "minus inf": float("-inf"), "nan": float("nan"), "empty": "", "text": "120",
    "long": "x" * 5000,
    "nul": "\x00", "half character": "\ud800", "newlines": "a\nb\r\nc", "markup": "<script>alert(1)</script>",
    "quote": "' OR 1=1 --", "template": "{{ 7 * 7 }}", "path": "../../etc/passwd", "turned": "\u202eabc", "list": [],
    "nested": [[[[[]]]]], "mixed": [1, "a", None, {}], "object": {}, "odd keys": {"": 1, "\x00": 2, "a\nb": 3},
}  # fmt: skip
RAW: dict[str, bytes] = {
    "nothing": b"", "space": b" ", "open": b"{", "list": b"[]", "null": b"null", "number": b"7", "text": b'"a"',
    "not UTF-8": b"\xff\xfe{}", "UTF-16": "{}".encode("utf-16"), "mark": b"\xef\xbb\xbf{}", "deep": b"[" * 50_000,
    "deep objects": b'{"a":' * 50_000, "twice": b'{"ref": 1, "ref": 2}', "two": b"{} {}", "NUL": b"\x00",
    "many digits": b'{"ref": ' + b"9" * 5000 + b"}", "a form": b"name=Ines&why=x", "too large": b"x" * 310_000,
}  # fmt: skip
TYPES = ("application/json", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x")
CHARACTER_SETS = (
    "utf-8",
    "utf-16",
    "utf-7",
    "unicode_escape",
    "raw_unicode_escape",
    "idna",
    "rot13",
    "no-such",
    "a\tb",
)
IDS = ("%00", "%ED%A0%80", "..%2f..", "%0d%0aX-Injected:%201", "'", "x" * 3000, "%E2%80%AE", "-1", "%25")
FORMS: dict[str, dict[str, str]] = {
    "/join/alone": {},
    "/join/{code}": {"name": "Ines", "word": ""},
    "/leave": {},
    "/class/first-run": {"password": PASSWORD},
    "/class/sign-in": {"password": PASSWORD},
    "/class/open": {"name": "Group B", "policy": "PALPATED_30"},
    "/class/{code}/roster": {"names": "Ines", "add": "yes"},
    "/class/{code}/change": {"name": "Group A", "policy": "FIXED_180"},
    "/class/{code}/close": {"closed": ""},
    "/class/{code}/learner/{who}/off": {"back": ""},
    "/class/{code}/learner/{who}/erase": {"why": "asked", "sure": ""},
    "/agreement": {"reference": "J"},
    "/recordings": {"sound": "a.wav"},
    "/recordings/{recording}/keep": {"label": "K17"},
    "/recordings/{recording}/read": {},
    "/recordings/{recording}/observed": {"observer": "A", "systolic": "120", "diastolic": "80", "why": "slip"},
    "/recordings/{recording}/erase": {"why": "asked", "sure": ""},
    "/class/{code}/papers": {
        "title": "Week 8",
        "rule": "NHANES_2003",
        "marking": "at_end",
        "plays": "1",
        "attempts": "3",
        "from": "2026-03-02T09:00",
        "until": "",
        "speakers": "",
    },
    "/class/{code}/papers/{paper}/change": {"to": "offered"},
    "/class/{code}/papers/{paper}/export": {},
    "/class/{code}/papers/{paper}/forms/{number}": {
        "who": "nobody",
        "pair_1": "128/82",
        "pair_12": "-/82",
        "sure": "yes",
    },
    "/class/{code}/papers/{paper}/forms/{number}/key": {},
    "/practise/papers/{paper}/begin": {},
    "/practise/attempts/{attempt}/hand-in": {},
    "/class/{code}/rounds": {"kind": "any"},
    "/class/{code}/rounds/{round}/start": {},
    "/class/{code}/rounds/{round}/close": {"how": "shown"},
    **access_rows.FORMS,
    **own_data_rows.FORMS,
    **tour_rows.FORMS,
    **undo_rows.FORMS,
    "/habits": {"language": "de", "unit": "kPa", "next": "/policy"},
    "/evidence/check": {},
    **pair_rows.FORMS,
    **evidence_rows.FORMS,
    **client_rows.FORMS,
    **rotation_rows.FORMS,
    **measured_rows.FORMS,
    **question_rows.FORMS,
    **technique_rows.FORMS,
    "/kit/add": {"type": "cuff", "label": "C1", "bladder_width_cm": "13", "bladder_length_cm": "23", "claim": "adult"},
    "/kit/due": {"months": "6"},
    "/kit/{item}/change": {"label": "G4", "serial": "12"},
    "/kit/{item}/retire": {"why": "broken", "back": "yes"},
    "/kit/{item}/wiped": {"to": "item"},
    "/kit/{item}/knocked": {"to": "hand"},
    "/kit/{item}/check": {**kit_rows.CHECK, "checked_at": "2026-05-01T10:00", "points": "", "store": "yes", "ref": "a"},
    "/kit/recall/{gauge}/decide": recall_rows.DECIDED,
    "/kit/{item}/timed": {**kit_rows.TIMES, "points": "", "store": "yes", "ref": "a"},
}
CHOICES = right_choices(case_of(7, 1))
BODIES: dict[str, dict[str, Any]] = {
    "/practise/measurements": {"ref": "a", "guided": True, "again": None},
    "/practise/measurements/{measurement}/set-up": {"choices": CHOICES},
    "/practise/measurements/{measurement}/log": bench_log(
        rate_mmhg_per_s=12.0, pulse={"from_s": 0.0, "seconds": 30, "count": 36, "regular": True}
    ),
    "/practise/measurements/{measurement}/correction": {
        "reading": {"systolic": 120, "diastolic": 80, "muffling": None},
        "why": "slip",
    },
    "/practise/attempts/{attempt}/{place}/play": {"number": 1},
    "/practise/attempts/{attempt}/{place}/answer": {"reading": {"systolic": 120, "diastolic": 80}},
    "/practise/check/step": {"profile": "headphones", "answers": [[-20.0, True]]},
    "/practise/rounds/{round}/ready": {"profile": "headphones"},
    "/practise/rounds/{round}/answer": {"reading": {"systolic": 120, "diastolic": 80}},
    **pair_rows.BODIES,
    **client_rows.BODIES,
    **technique_rows.BODIES,
}


QUICK, MANY = 4, 100_000
"""In `make test` one hostile input of so many; in `make hard` so many in all."""


@dataclass
class Target:
    """The app over a real file, with a device that is learner and lecturer at once, so that all doors are open."""

    ledger: SqlLedger
    device: TestClient
    words: dict[str, str]
    cookies: dict[str, str]
    sign: Callable[[Mapping[str, str]], str]
    kinds: set[str] = field(default_factory=set)
    refused: int = 0

    def send(self, kind: str, path: str, **sent: Any) -> int:
        """Send it; raise where the answer is a fault, or a refusal that wrote or is not one line."""
        before = self.ledger.last()
        answer = self.device.post(path, follow_redirects=False, **sent)
        self.device.cookies.clear()  # whoever the answer made of it, the device stays who it was
        word = access.session_word(self.ledger, "lecturer")  # it may have signed itself out everywhere
        self.cookies[STAFF_COOKIE] = self.sign({"is": "lecturer", "session": word})
        if path.endswith("/devices") and answer.status_code < 400:
            self._join_again()
        self.device.cookies.update(self.cookies)
        assert answer.status_code < 500, (kind, answer.text)
        if answer.status_code >= 400:
            self.refused += 1
            assert self.ledger.last() == before, kind
            assert "Traceback" not in answer.text
            if answer.headers["content-type"].startswith("application/json"):
                assert len(answer.json()["error"].splitlines()) == 1, (kind, answer.text)
        self.kinds.add(kind)
        return answer.status_code

    def _join_again(self) -> None:
        """Come in once more as the same person after all devices were signed out."""
        code, who = self.words["code"], self.words["who"]
        classes.join(self.ledger, room=code, name="Ines")
        came_in = str(classes.came_in_with(self.ledger, code, who))
        self.cookies[LEARNER_COOKIE] = self.sign({"room": code, "who": who, "in": came_in})

    def measurement(self) -> None:
        """Begin a measurement that is set up and not filed, and aim at it once the one before is judged."""
        if before := self.words.get("measurement"):
            while self.device.get(f"/practise/measurements/{before}/judgement").status_code == 202:
                time.sleep(0.02)
        begun = self.device.post("/practise/measurements", json={"ref": f"fresh-{self.ledger.last()}"}).json()
        self.words["measurement"] = begun["measurement"]
        choices = {row["id"]: row["choices"][0]["id"] for row in begun["rows"]}
        path = f"/practise/measurements/{begun['measurement']}/set-up"
        assert self.device.post(path, json={"choices": choices}).status_code == 200


@pytest.fixture(scope="module")
def target(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Target]:
    """A class with a learner; wrong passwords cost no time here, there are too many of them."""
    ledger = open_sqlite(tmp_path_factory.mktemp("fuzz") / "ledger.db")
    app = build(Settings(data_dir=tmp_path_factory.mktemp("data")), ledger)
    with pytest.MonkeyPatch.context() as patched, TestClient(app, client=("127.0.0.1", 1)) as device:
        patched.setattr(guesses, "GUESS_S", 0.0)
        assert device.post("/class/first-run", data={"password": PASSWORD}).status_code == 200
        code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
        device.post(f"/join/{code}", data={"name": "Ines"})
        (joined,) = ledger.rows(kinds=[Kind.LEARNER_JOINED])
        cookies = {one.name: str(one.value) for one in device.cookies.jar}
        found = Target(ledger, device, {"code": code, "who": joined.who}, cookies, app.state.context.sign)
        found.words["pair"] = pairs.open_pair(ledger, room=code, opening=pairs.Opening(joined.who))
        setting = papers.Setting("Week 8")
        found.words["paper"] = papers.set_paper(ledger, room=code, setting=setting, seed=1)
        asked = {"ledger": ledger, "room": code, "paper_id": found.words["paper"]}
        found.words["number"] = str(papers.export_form(**asked))
        attempt = papers.begin(**asked, who=joined.who, profile_id="headphones", now="2026-03-02T09:00:00.000000Z")
        found.words |= {"attempt": attempt.id, "place": "1", "phase": "IV"}
        found.words["round"] = rounds.open_round(ledger, room=code, seed=3)
        evidence_rows.furnish(app, ledger, found.words)
        kit_rows.furnish(app, ledger, found.words)
        client_rows.furnish(app, ledger, found.words)
        recall_rows.furnish(app, ledger, found.words)
        technique_rows.furnish(app, ledger, found.words)
        recordings_rows.furnish(app, ledger, found.words)
        rotation_rows.furnish(app, ledger, found.words)
        own_data_rows.furnish(app, ledger, found.words)
        found.measurement()
        yield found


def _places(value: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the way to every place in a body; of a list the first and the last."""
    if way:
        yield way
    inside = value.items() if isinstance(value, dict) else ()
    if isinstance(value, list) and value:
        inside = ((0, value[0]), (len(value) - 1, value[-1]))
    for key, inner in inside:
        yield from _places(inner, (*way, key))


def _changed(body: Any, way: tuple[Any, ...], value: Any) -> Any:
    changed = copy.deepcopy(body)
    inside = changed
    for key in way[:-1]:
        inside = inside[key]
    inside[way[-1]] = value
    return changed


def _dumped(body: Any) -> bytes:
    return json.dumps(body, ensure_ascii=True).encode()


def _part(name: str, value: str, character_set: str) -> dict[str, Any]:
    body = f'--x\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n--x--\r\n'
    kind = f"multipart/form-data; boundary=x; charset={character_set}"
    return {"content": body.encode("utf-8", "surrogatepass"), "headers": {"content-type": kind}}


def test_every_route_that_takes_something_is_in_the_tables() -> None:
    """A new route that is posted to must be fuzzed too."""
    posted = {route.path for route in routes() if isinstance(route, Route) and "POST" in (route.methods or ())}
    assert posted == set(FORMS) | set(BODIES)


def _hostile() -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield what is sent, with its kind and route: every raw body and content type, every field with odd values."""
    for route in (*FORMS, *BODIES):
        for name, raw in RAW.items():
            for kind in TYPES:
                yield f"{route} {name} as {kind}", route, {"content": raw, "headers": {"content-type": kind}}
    for route, body in BODIES.items():
        for way in _places(body):
            for name, value in VALUES.items():
                sent = {"content": _dumped(_changed(body, way, value)), "headers": {"content-type": TYPES[0]}}
                yield f"{route} {way} {name}", route, sent
    for route, fields in FORMS.items():
        for name in fields:
            for kind, value in VALUES.items():
                if isinstance(value, str) and kind != "half character":
                    yield f"{route} {name} {kind}", route, {"data": {**fields, name: value}}
            for character_set in CHARACTER_SETS:
                sent = _part(name, "\\ud800 and more than ten +2AA-", character_set)
                yield f"{route} {name} in {character_set}", route, sent


def _send_hostile(target: Target, kind: str, route: str, sent: dict[str, Any]) -> None:
    if "data" in sent:
        sent = {"data": {key: text.replace("{who}", target.words["who"]) for key, text in sent["data"].items()}}
    status = target.send(kind, route.format(**target.words), **sent)
    if route.endswith("/log") and status < 300:
        target.measurement()


def test_hostile_bodies_are_refused_and_nothing_is_written(target: Target) -> None:
    """A quarter of all of them, spread over every route and field; `make hard` sends every one."""
    for number, (kind, route, sent) in enumerate(_hostile()):
        if number % QUICK == 0:
            _send_hostile(target, kind, route, sent)
    print(f"{len(target.kinds)} kinds, {target.refused} refused")
    assert len(target.kinds) >= 200, len(target.kinds)
    assert target.refused >= 200, target.refused


@pytest.mark.hard
def test_a_hundred_thousand_hostile_inputs(target: Target) -> None:
    """Every hostile body, then drawn ones with bytes changed, cut, doubled or in the wrong place, up to 100 000."""
    everything = list(_hostile())
    for kind, route, sent in everything:
        _send_hostile(target, kind, route, sent)
    draw = random.Random(17)
    for _ in range(MANY - len(everything)):
        _, route, sent = draw.choice(everything)
        if "content" not in sent:
            fields = {name: _spoilt(draw, text.encode()).decode("latin-1") for name, text in sent["data"].items()}
            _send_hostile(target, "drawn form", route, {"data": fields})
            continue
        _, _, other = draw.choice(everything)
        content = other.get("content", sent["content"]) if draw.random() < 0.2 else sent["content"]
        headers = {"content-type": draw.choice(TYPES)} if draw.random() < 0.1 else sent["headers"]
        _send_hostile(target, "drawn", route, {"content": _spoilt(draw, content), "headers": headers})


def _spoilt(draw: random.Random, content: bytes) -> bytes:
    """Change, cut or double a few bytes."""
    spoilt = bytearray(content[:20_000])
    for _ in range(draw.randint(1, 4)):
        at = draw.randrange(len(spoilt) + 1)
        act = draw.randrange(4)
        if act == 0:
            spoilt[at : at + 1] = bytes([draw.randrange(256)])
        elif act == 1:
            del spoilt[at : at + draw.randint(1, 8)]
        elif act == 2:
            spoilt[at:at] = spoilt[at : at + 16]
        else:
            spoilt[at:at] = draw.choice((b"\x00", b"\xff", b"-", b"1e999", b"[", b'"', b"\\u0000", b"{}"))
    return bytes(spoilt)


@pytest.mark.parametrize("odd", IDS)
def test_odd_ids_in_addresses_find_nothing(target: Target, odd: str) -> None:
    """Whatever stands where a code, a person or a measurement should: no fault, nothing written, no header added."""
    for route in routes():
        if not isinstance(route, Route) or "{" not in route.path:
            continue
        for hostile in route.param_convertors:
            words = {**target.words, "measurement": "unknown", hostile: odd}
            path = route.path.format(**words)
            before = target.ledger.last()
            for method in sorted((route.methods or set()) - {"HEAD"}):
                answer = target.device.request(method, path, follow_redirects=False)
                assert 400 <= answer.status_code < 500, (method, route.path)
                assert "x-injected" not in answer.headers
            assert target.ledger.last() == before


_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=10), inner, max_size=5),
    max_leaves=20,
)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=_JSON, keys=st.lists(st.sampled_from(["ref", "choices", "log", "reading", "why", "time_s"]), max_size=3))
def test_any_json_is_answered_without_a_fault(target: Target, body: Any, keys: list[str]) -> None:
    """Any JSON, bare or under names that the routes know."""
    for route in BODIES:
        sent = dict.fromkeys(keys, body) or body
        target.send("any", route.format(**target.words), content=_dumped(sent), headers={"content-type": TYPES[0]})
