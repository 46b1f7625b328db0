"""Who may do what: every route asked by a stranger, three learners and every role, against one table."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import anyio
import pytest
from starlette.applications import Starlette
from starlette.routing import Mount, Route

from hushpoint.web.app import routes
from own_loop import in_own_loop
from permission_rows.rows import ASKERS
from school import TABLE, School, furnished


@pytest.fixture
def school(tmp_path: Path) -> Iterator[School]:
    """The school before anybody asks."""
    with furnished(tmp_path) as made:
        yield made


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

    in_own_loop(ask)
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
