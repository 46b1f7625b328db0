"""The learner's pages and the bench's acts, by an in-process client over a ledger in memory."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from bench_logs import bench_log
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.wiring import Settings, build


@pytest.fixture
def app(tmp_path: Path) -> Iterator[TestClient]:
    """The app, asked by a script."""
    with TestClient(build(Settings(data_dir=tmp_path), MemoryLedger())) as client:
        yield client


@pytest.fixture
def learner(app: TestClient) -> TestClient:
    """A learner who practises alone."""
    return alone(app)


def alone(app: TestClient) -> TestClient:
    """Return another device whose learner practises alone."""
    phone = TestClient(app.app)
    assert phone.post("/join/alone", follow_redirects=False).status_code == 303
    return phone


def begun(learner: TestClient, **asked: Any) -> dict[str, Any]:
    """Begin a measurement and return the answer."""
    answer = learner.post("/practise/measurements", json={"ref": "page-1", "guided": False, "again": None} | asked)
    assert answer.status_code == 201, answer.text
    body: dict[str, Any] = answer.json()
    return body


def measured(learner: TestClient, **asked: Any) -> str:
    """Measure once, from meeting the person to the stored log; return the measurement's id."""
    met = begun(learner, **asked)
    path = f"/practise/measurements/{met['measurement']}"
    choices = {row["id"]: row["choices"][0]["id"] for row in met["rows"]}
    table = learner.post(f"{path}/set-up", json={"choices": choices})
    assert table.status_code == 200
    assert set(table.json()) >= {"beats", "profile", "cuff", "needle", "sounds"}
    assert learner.post(f"{path}/log", json=bench_log()).status_code == 201
    return str(met["measurement"])


def judged(learner: TestClient, measurement: str) -> dict[str, Any]:
    """Wait for the judgement."""
    for _ in range(200):
        answer = learner.get(f"/practise/measurements/{measurement}/judgement")
        if answer.status_code == 200:
            body: dict[str, Any] = answer.json()
            return body
        assert answer.status_code == 202
        time.sleep(0.05)
    raise AssertionError("no judgement")


def test_those_who_have_not_joined_are_sent_to_the_door(app: TestClient) -> None:
    """Pages lead to the door, acts are refused in one line."""
    for path in ("/practise", "/practise/bench"):
        answer = app.get(path, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
    refused = app.post("/practise/measurements", json={"ref": "a"})
    assert refused.status_code == 403
    assert "\n" not in refused.json()["error"]


def test_the_case_keeps_the_truth_back(learner: TestClient) -> None:
    """What the page gets before the log tells neither truth nor which choice is right."""
    met = begun(learner)
    assert set(met["case"]) == {"number", "line", "sex", "age_years", "arm_cm", "says", "invented"}
    assert all(set(row) == {"id", "asks", "choices"} for row in met["rows"])


def test_a_log_sent_twice_is_stored_once(learner: TestClient) -> None:
    """The second sending is acknowledged with the first one's number."""
    measurement = measured(learner)
    first, again = (learner.post(f"/practise/measurements/{measurement}/log", json=bench_log()) for _ in range(2))
    assert (first.status_code, again.status_code) == (200, 200)
    assert first.json() == again.json()


def test_the_reading_stands_on_the_learners_home(learner: TestClient) -> None:
    """The home page shows the reading with its correction and leads back to the judgement."""
    assert "No readings yet" in learner.get("/practise").text
    measurement = measured(learner)
    judged(learner, measurement)
    fixed = {"reading": {"systolic": 131, "diastolic": 79, "muffling": None}, "why": "slip of the pen"}
    assert learner.post(f"/practise/measurements/{measurement}/correction", json=fixed).status_code == 201
    home = learner.get("/practise").text
    assert "corrected to 131/79" in home
    assert f"/practise/bench#{measurement}" in home
    kept = re.search(r'<time datetime="([^"]+)">', home)  # told in local time by static/times.js
    assert kept is not None
    assert datetime.fromisoformat(kept[1]).tzinfo is not None


def test_another_learner_sees_nothing_of_it(app: TestClient, learner: TestClient) -> None:
    """Someone else's measurement can be neither read, nor set up, nor filed, nor corrected."""
    measurement = measured(learner)
    other = alone(app)
    path = f"/practise/measurements/{measurement}"
    assert other.get(f"{path}/judgement").status_code == 403
    assert other.post(f"{path}/set-up", json={"choices": {}}).status_code == 403
    assert other.post(f"{path}/log", json=bench_log()).status_code == 403
    assert other.post(f"{path}/correction", json={"reading": {}, "why": "x"}).status_code == 403
    assert "No readings yet" in other.get("/practise").text


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/practise/measurements", "[]"),
        ("/practise/measurements", "{"),
        ("/practise/measurements", '{"ref": 7}'),
        ("/practise/measurements", '{"ref": "a", "again": 7}'),
        ("/practise/measurements", '{"ref": NaN}'),
        ("/practise/measurements/nobody/set-up", "{}"),
        ("/practise/measurements/nobody/log", "{}"),
        ("/practise/measurements/nobody/correction", "{}"),
    ],
)
def test_what_cannot_be_taken_is_refused_in_one_line(learner: TestClient, path: str, body: str) -> None:
    """Every refusal is a 4xx with one line that says what."""
    answer = learner.post(path, content=body, headers={"content-type": "application/json"})
    assert 400 <= answer.status_code < 500
    assert "\n" not in answer.json()["error"]
