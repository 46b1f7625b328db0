"""Who may do what: every route asked by a stranger, three learners and every role, against one table."""

from __future__ import annotations

import pkgutil
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

import anyio
import pytest
from starlette.applications import Starlette
from starlette.routing import Mount, Route
from starlette.testclient import TestClient

import permission_rows
from bench_logs import bench_log
from hushpoint.desk import access, bench, classes
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.practice.cases import case_of
from hushpoint.practice.setup import right_choices
from hushpoint.web.app import routes
from hushpoint.web.context import STAFF_COOKIE
from hushpoint.wiring import Settings, build
from permission_rows.house import PASSWORD
from permission_rows.rows import ASKERS, STAFF, Asked

AREAS = [import_module(f"permission_rows.{one.name}") for one in pkgutil.iter_modules(permission_rows.__path__)]
"""Every module of permission_rows: TABLE; LAST, asked after all others; `furnish(app, ledger, words)`."""
TABLE: dict[tuple[str, str], Asked] = {}
for _part in ("TABLE", "LAST"):
    for _area in AREAS:
        _rows = getattr(_area, _part, {})
        assert not TABLE.keys() & _rows.keys()
        TABLE |= _rows


@dataclass
class School:
    """Two classes, three learners, one judged measurement, and everyone's cookies."""

    app: Starlette
    ledger: MemoryLedger
    words: dict[str, Any]
    cookies: dict[str, dict[str, str]]

    def device(self, asker: str) -> TestClient:
        """Return a fresh device with the asker's cookies."""
        cookies = self.cookies[asker]
        if asker == "lecturer" or asker in STAFF:  # whatever was ended before, each asks from within a session
            value = {"is": asker, "session": access.session_word(self.ledger, asker), "until": "9"}
            cookies = {STAFF_COOKIE: self.app.state.context.sign(value)}
        return TestClient(self.app, cookies=cookies, client=("127.0.0.1", 1), follow_redirects=False)

    def filled(self, value: Any, asker: str) -> Any:
        """Put ids and names into a template."""
        if isinstance(value, dict):
            return {key: self.filled(inner, asker) for key, inner in value.items()}
        if not isinstance(value, str):
            return value
        if value in ("{choices}", "{log}"):
            return self.words[value.strip("{}")]
        return value.format(asker=asker, **self.words)


@pytest.fixture
def school(tmp_path: Path) -> Iterator[School]:
    """The school before anybody asks."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, client=("127.0.0.1", 1), follow_redirects=False) as lecturer:
        lecturer.post("/class/first-run", data={"password": PASSWORD})
        code, other = (classes.open_class(ledger, name=name, policy_id="PALPATED_30") for name in "AB")
        cookies = {"stranger": {}, "lecturer": dict(lecturer.cookies)}
        for asker, room in (("learner", code), ("classmate", code), ("elsewhere", other)):
            phone = TestClient(app, follow_redirects=False)
            assert phone.post(f"/join/{room}", data={"name": f"Name of {asker}"}).status_code == 303
            cookies[asker] = dict(phone.cookies)
        cookies |= {role: {} for role in STAFF}
        who = next(row.who for row in ledger.rows(kinds=[Kind.LEARNER_JOINED]))
        begun = bench.begin(ledger, who=who, ref="one", room=code, seed=7)
        choices, log = right_choices(case_of(7, 1)), bench_log()
        bench.set_up(ledger, who=who, measurement=begun.measurement, choices=choices)
        bench.file_log(ledger, who=who, measurement=begun.measurement, log=log)
        bench.grade(ledger, begun.measurement)
        words = {"code": code, "who": who, "measurement": begun.measurement, "choices": choices, "log": log}
        for area in AREAS:
            if hasattr(area, "furnish"):
                area.furnish(app, ledger, words)
        yield School(app, ledger, words, cookies)


def first_status(app: Starlette, path: str, cookies: dict[str, str]) -> int:
    """Return the status of an answer that may never end."""
    found: list[int] = []

    async def ask() -> None:
        started, asked = anyio.Event(), []

        async def receive() -> dict[str, Any]:
            if asked:
                await anyio.sleep_forever()
            asked.append(True)
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(message: dict[str, Any]) -> None:
            if message["type"] == "http.response.start":
                found.append(message["status"])
                started.set()

        cookie = "; ".join(f"{name}={value}" for name, value in cookies.items()).encode()
        scope = {"type": "http", "http_version": "1.1", "method": "GET", "scheme": "http", "path": path,
                 "raw_path": path.encode(), "query_string": b"", "root_path": "", "client": ("127.0.0.1", 1),
                 "server": ("testserver", 80), "headers": [(b"host", b"testserver"), (b"cookie", cookie)]}  # fmt: skip
        async with anyio.create_task_group() as tasks:
            tasks.start_soon(app, scope, receive, send)
            with anyio.fail_after(10):
                await started.wait()
            tasks.cancel_scope.cancel()

    anyio.run(ask)
    return found[0]


def test_every_route_has_its_row() -> None:
    """A route that is not in the table fails, and so does a row without a route."""
    there = set()
    for route in routes():
        if isinstance(route, Mount):
            there.add(("GET", route.path))
        else:
            assert isinstance(route, Route)
            there |= {(method, route.path) for method in route.methods or () if method != "HEAD"}
    assert there == set(TABLE)


def test_everyone_gets_what_the_table_says(school: School) -> None:
    """Statuses are the table's; whoever is refused has written nothing and learnt nothing about the learner."""
    wrong: dict[tuple[str, str, str], object] = {}
    for (method, route), asked in TABLE.items():
        for asker, wanted in asked.statuses().items():
            path = "/static/hushpoint.css" if route == "/static" else route.format(**school.words)
            before = school.ledger.last()
            if route.endswith("/events"):
                got, text = first_status(school.app, path, dict(school.device(asker).cookies)), ""
            else:
                answer = school.device(asker).request(method, path, **school.filled(asked.send, asker))
                got, text = answer.status_code, answer.text
            if got != wanted:
                wrong[method, route, asker] = got
            if got >= 400 and school.ledger.last() != before:
                wrong[method, route, asker] = "refused, but written"
            if asker not in {"learner", "lecturer", *asked.also} and (
                "Name of learner" in text or school.words["who"] in text
            ):
                wrong[method, route, asker] = "tells of the learner"
    assert wrong == {}


def test_the_lecturers_list_is_not_shown_before_signing_in(school: School) -> None:
    """/class answers everyone, but with its classes the lecturer alone."""
    for asker in ASKERS:
        assert (school.words["code"] in school.device(asker).get("/class").text) == (asker in {"lecturer", "assessor"})
