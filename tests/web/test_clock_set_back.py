"""The clock set back in mid-class: the order of rows is whole, sessions and visits go on, the jump is named."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from itsdangerous import TimestampSigner
from starlette.testclient import TestClient

from bench_logs import bench_log
from hushpoint.cli.doctor import doctor_told
from hushpoint.desk import access, classes, pairs, visits
from hushpoint.ledger.records import Kind
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from hushpoint.web import context
from hushpoint.wiring import Settings, build
from serving import free_port

PASSWORD = "ten letters or more"
BACK = timedelta(hours=1)


@dataclass
class Laptop:
    """The app over a real file, all of whose clocks are one that can be set."""

    folder: Path
    code: str = ""
    ahead: timedelta = field(default_factory=timedelta)
    ledger: SqlLedger = field(init=False)
    lecturer: TestClient = field(init=False)

    def now(self) -> datetime:
        """The time that this laptop believes."""
        return datetime.now(UTC) + self.ahead

    def text(self) -> str:
        """The same as the journal writes it."""
        return self.now().isoformat(timespec="microseconds").replace("+00:00", "Z")


@pytest.fixture
def laptop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Laptop]:
    """A laptop that is an hour ahead until somebody sets it right."""
    found = Laptop(tmp_path, ahead=BACK)
    monkeypatch.setattr(context, "_utc", found.now)
    monkeypatch.setattr(TimestampSigner, "get_timestamp", lambda _signer: int(found.now().timestamp()))
    found.ledger = open_sqlite(tmp_path / FILE_NAME, clock=found.text)
    access.set_password(found.ledger, PASSWORD)
    app = build(Settings(data_dir=tmp_path), found.ledger)
    app.state.context.clock = found.now
    found.code = classes.open_class(found.ledger, name="Group A", policy_id="PALPATED_30")
    with TestClient(app, client=("127.0.0.1", 1), follow_redirects=False) as found.lecturer:
        assert found.lecturer.post("/class/sign-in", data={"password": PASSWORD}).status_code == 303
        yield found


def _measure(phone: TestClient, ref: str) -> int:
    begun = phone.post("/practise/measurements", json={"ref": ref, "guided": False, "again": None}).json()
    path = f"/practise/measurements/{begun['measurement']}"
    choices = {row["id"]: row["choices"][0]["id"] for row in begun["rows"]}
    assert phone.post(f"{path}/set-up", json={"choices": choices}).status_code == 200
    return phone.post(f"{path}/log", json=bench_log()).status_code


def test_a_class_goes_on_when_the_clock_is_set_right(laptop: Laptop, capsys: pytest.CaptureFixture[str]) -> None:
    """An hour back: nobody is signed out, readings come in, numbers run on, verify is whole, doctor names the row."""
    phone = TestClient(laptop.lecturer.app, client=("10.0.0.7", 1), follow_redirects=False)
    assert phone.post(f"/join/{laptop.code}", data={"name": "Ines Invented"}).status_code == 303
    assert _measure(phone, "before") == 201
    before = laptop.ledger.last()
    laptop.ahead = timedelta()
    assert _measure(phone, "after") == 201
    assert laptop.lecturer.get(f"/class/{laptop.code}").status_code == 200
    who = next(row.who for row in laptop.ledger.rows(kinds=[Kind.LEARNER_JOINED]))
    pair = pairs.open_pair(laptop.ledger, room=laptop.code, opening=pairs.Opening(who))
    numbers = {"systolic": 124, "diastolic": 82, "ref": "sealed-once"}
    for _ in range(2):
        assert phone.post(f"/practise/pairs/{pair}/seal", json=numbers).status_code == 200
    rows = list(laptop.ledger.rows())
    assert [row.seq for row in rows] == list(range(1, len(rows) + 1))
    assert len([row for row in rows if row.kind is Kind.PAIR_SEALED]) == 1
    found = laptop.ledger.verify()
    assert found.first_altered is None
    assert len(found.set_back) == 1
    assert found.set_back[0] > before or rows[found.set_back[0] - 1].kind is Kind.MEASUREMENT_JUDGED
    doctor_told(data=laptop.folder, database=None, port=free_port(), as_json=True)
    checks = {one["check"]: one for one in json.loads(capsys.readouterr().out)["checks"]}
    assert f"set back before row {found.set_back[0]}:" in checks["times"]["says"]


def test_a_visit_goes_on_when_the_clock_is_set_right(laptop: Laptop) -> None:
    """Its readings keep the order of entry, the jump is marked, and nobody is asked to wait for an hour."""
    visit = visits.begin(laptop.ledger, policy_id="NHFA_2016")
    path = f"/client/{visit}"
    for number, systolic in enumerate((150, 146, 144)):
        reading = {"arm": "right", "systolic": systolic, "diastolic": 90}
        sent = {"ref": f"reading-{number}", "at": laptop.text(), "reading": reading}
        assert laptop.lecturer.post(f"{path}/acts", json=sent).status_code == 200
        laptop.ahead = timedelta(minutes=2 * (number + 1))
    told = laptop.lecturer.get(f"{path}/state").json()
    assert [one["systolic"] for one in told["readings"]] == [150, 146, 144]
    assert told["judged"]["next"]["seconds"] <= 300
    marks = {one["number"]: one["marks"] for one in told["judged"]["readings"]}
    assert any("out_of_order" in each for each in marks.values())
    assert laptop.ledger.verify().set_back


def test_a_cookie_older_than_its_time_still_ends(laptop: Laptop) -> None:
    """What is tolerated is a clock set back, not a session of yesterday."""
    laptop.ahead += timedelta(hours=13)
    assert laptop.lecturer.get("/access").status_code == 401
