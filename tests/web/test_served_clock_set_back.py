"""A served class whose laptop's clock goes back by an hour: `hushpoint serve` as a process of its own."""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2
import pytest

import serving
from bench_logs import bench_log
from hushpoint.ledger.records import Kind
from hushpoint.ledger.store import FILE_NAME, open_sqlite

PASSWORD = "ten letters or more"
HOUR_S = 3600


def _measure(phone: httpx2.Client, ref: str) -> None:
    """Measure one practice person; the log is sent twice, as by a phone whose answer was lost."""
    begun = phone.post("/practise/measurements", json={"ref": ref, "guided": False, "again": None}).json()
    path = f"/practise/measurements/{begun['measurement']}"
    choices = {row["id"]: row["choices"][0]["id"] for row in begun["rows"]}
    assert phone.post(f"{path}/set-up", json={"choices": choices}).status_code == 200
    assert [phone.post(f"{path}/log", json=bench_log()).status_code for _ in range(2)] == [201, 200]


def test_a_served_class_goes_on_when_the_clock_goes_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sessions hold, nobody waits an hour, rows keep their order, and what was acknowledged stands there once."""
    ahead = tmp_path / "ahead"
    ahead.write_text(str(HOUR_S))
    entry = Path(serving.__file__).with_name("served_by_clock_file.py")
    monkeypatch.setattr(serving, "COMMAND", [sys.executable, str(entry), str(ahead)])
    site = serving.start(tmp_path / "data")
    try:
        asked: dict[str, Any] = {"base_url": site.here, "timeout": 60, "headers": {"accept": "text/html"}}
        with httpx2.Client(**asked) as lecturer, httpx2.Client(**asked) as phone:
            first = {"password": PASSWORD, "again": PASSWORD}
            assert lecturer.post("/class/first-run", data=first).status_code == 303
            opened = lecturer.post("/class/open", data={"name": "Group A", "policy": "PALPATED_30"})
            room = opened.headers["location"].rpartition("/")[2]
            assert phone.post(f"/join/{room}", data={"name": "Ines Invented"}).status_code == 303
            begun = lecturer.post("/client/begin", data={"policy": "NHFA_2016"})
            visit = begun.headers["location"]
            _measure(phone, "before")
            _read(lecturer, visit, "reading-1", 150, HOUR_S)
            lecturer.get(visit)  # which tells once what was done
            due = lecturer.get("/kit").text
            ahead.write_text("0")
            _measure(phone, "after")
            _read(lecturer, visit, "reading-2", 146, 0)
            _read(lecturer, visit, "reading-2", 146, 0)
            told = lecturer.get(f"{visit}/state").json()
            assert [one["systolic"] for one in told["readings"]] == [150, 146]
            assert told["judged"]["next"]["seconds"] <= 300
            assert lecturer.get("/kit").text == due
            assert lecturer.get(f"/class/{room}").status_code == 200
            assert phone.get("/practise").status_code == 200
    finally:
        serving.stop(site)
    ledger = open_sqlite(tmp_path / "data" / FILE_NAME)
    rows = list(ledger.rows())
    assert [row.seq for row in rows] == list(range(1, len(rows) + 1))
    counted = [sum(row.kind is kind for row in rows) for kind in (Kind.MEASUREMENT_FILED, Kind.READING_TAKEN)]
    assert counted == [2, 2]
    found = ledger.verify()
    assert found.first_altered is None
    assert len(found.set_back) == 1
    ledger.close()


def _read(lecturer: httpx2.Client, visit: str, ref: str, systolic: int, ahead_s: int) -> None:
    at = (datetime.now(UTC) + timedelta(seconds=ahead_s)).isoformat()
    sent = {"ref": ref, "at": at, "reading": {"arm": "right", "systolic": systolic, "diastolic": 90}}
    assert lecturer.post(f"{visit}/acts", json=sent).status_code == 200
