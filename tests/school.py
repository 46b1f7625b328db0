"""A furnished school: every area has what its routes need, and every asker a device."""

from __future__ import annotations

import pkgutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.testclient import TestClient

import permission_rows
from bench_logs import bench_log
from hushpoint.desk import access, bench, classes
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.practice.cases import case_of
from hushpoint.practice.setup import right_choices
from hushpoint.web.context import STAFF_COOKIE
from hushpoint.wiring import Settings, build
from permission_rows.house import PASSWORD
from permission_rows.rows import STAFF, Asked

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

    def cookies_of(self, asker: str) -> dict[str, str]:
        """Return the cookies an asker has, of a session that runs."""
        if asker == "lecturer" or asker in STAFF:  # whatever was ended before, each asks from within a session
            value = {"is": asker, "session": access.session_word(self.ledger, asker), "until": "9"}
            return {STAFF_COOKIE: self.app.state.context.sign(value)}
        return self.cookies[asker]

    def device(self, asker: str) -> TestClient:
        """Return a fresh device with the asker's cookies."""
        return TestClient(self.app, cookies=self.cookies_of(asker), client=("127.0.0.1", 1), follow_redirects=False)

    def filled(self, value: Any, asker: str) -> Any:
        """Put ids and names into a template."""
        if isinstance(value, dict):
            return {key: self.filled(inner, asker) for key, inner in value.items()}
        if not isinstance(value, str):
            return value
        if value in ("{choices}", "{log}"):
            return self.words[value.strip("{}")]
        return value.format(asker=asker, **self.words)


@contextmanager
def furnished(folder: Path) -> Iterator[School]:
    """Make the school before anybody asks."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=folder), ledger)
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
