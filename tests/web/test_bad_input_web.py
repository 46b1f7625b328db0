"""Whatever is sent to the app: one clear line, a status of 4xx, nothing written."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from hushpoint.ledger.memory import MemoryLedger
from hushpoint.wiring import Settings, build

JSON = {"content-type": "application/json"}
FORM = {"content-type": "application/x-www-form-urlencoded"}
CASES: list[tuple[str, bytes, dict[str, str]]] = [
    ("/practise/measurements", b"", JSON),
    ("/practise/measurements", b"[]", JSON),
    ("/practise/measurements", b"null", JSON),
    ("/practise/measurements", b"{", JSON),
    ("/practise/measurements", b'{"ref": 7}', JSON),
    ("/practise/measurements", b'{"ref": ""}', JSON),
    ("/practise/measurements", b'{"ref": "\\u0000"}', JSON),
    ("/practise/measurements", b'{"ref": "\\ud800"}', JSON),
    ("/practise/measurements", b'{"ref": "a", "again": 99999999999999999999}', JSON),
    ("/practise/measurements", b'{"ref": "a", "again": "unknown"}', JSON),
    ("/practise/measurements", b'{"ref": NaN}', JSON),
    ("/practise/measurements", b'{"ref": 1e999}', JSON),
    ("/practise/measurements", b"\xff\xfe{", JSON),
    ("/practise/measurements", b"[" * 100_000, JSON),
    ("/practise/measurements/unknown/log", b"{}", JSON),
    ("/practise/measurements/unknown/set-up", b"{}", JSON),
    ("/practise/measurements/unknown/log", b"x" * 1_500_001, JSON),
    ("/class/open", b"", FORM),
    ("/class/open", b"name=&policy=PALPATED_30", FORM),
    ("/class/open", b"name=A&policy=NONE", FORM),
    ("/class/open", b"name=%00&policy=PALPATED_30", FORM),
    ("/class/open", b"name=" + b"x" * 81, FORM),
    ("/class/open", b"name=" + b"x" * 400_000, FORM),
    ("/class/ZZZZ/roster", b"names=Ines", FORM),
    ("/class/ZZZZ/close", b"closed=yes", FORM),
    ("/join/ZZZZ", b"name=Ines", FORM),
    ("/agreement", b"", FORM),
    ("/agreement", b"--x", {"content-type": "multipart/form-data"}),
    ("/agreement", b"--x", {"content-type": "multipart/form-data; boundary=x"}),
    ("/agreement", b"x" * 5_000_001, FORM),
    ("/class/sign-in", b"password=", FORM),
    ("/nowhere", b"", FORM),
]


@pytest.mark.parametrize(("path", "body", "headers"), CASES)
def test_bad_bodies_are_refused(path: str, body: bytes, headers: dict[str, str], tmp_path: Path) -> None:
    """Refused with 4xx, without a traceback, and the ledger is as it was."""
    ledger = MemoryLedger()
    client = TestClient(build(Settings(data_dir=tmp_path), ledger), client=("127.0.0.1", 1))
    client.post("/class/first-run", data={"password": "ten letters or more"})
    client.post("/join/alone")
    before = ledger.last()
    answer = client.post(path, content=body, headers=headers)
    assert 400 <= answer.status_code < 500
    assert "Traceback" not in answer.text
    if answer.headers["content-type"].startswith("application/json"):
        said: dict[str, Any] = answer.json()
        assert len(said["error"].splitlines()) == 1
    assert ledger.last() == before


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xfe\x00",
        b"a,b\n1,2\n",
        b"measurement,observer,systolic,diastolic\n1,J,80,120\n",
        b"measurement,observer,systolic,diastolic\n1,J,400,80\n",
        b"measurement,observer,systolic,diastolic\n1,J,99999999999999999999,80\n",
        b"measurement,observer,systolic,diastolic\n1,J,120,80\n",
    ],
)
def test_bad_readings_files_are_refused(data: bytes, tmp_path: Path) -> None:
    """A readings file that cannot be compared is told in one line."""
    client = TestClient(build(Settings(data_dir=tmp_path), MemoryLedger()), headers={"accept": "text/html"})
    answer = client.post("/agreement", files={"file": ("r.csv", data)})
    assert answer.status_code == 422
    assert 'class="refusal"' in answer.text


def test_a_file_of_too_many_observers_is_refused_at_once(tmp_path: Path) -> None:
    """Five hundred observers make 124 750 pairs: refused in one line that says what to do; 61 against one are 60."""
    client = TestClient(build(Settings(data_dir=tmp_path), MemoryLedger()), headers={"accept": "text/html"})
    rows = ["measurement,observer,systolic,diastolic", *(f"1,R{number},120,80" for number in range(500))]
    answer = client.post("/agreement", files={"file": ("r.csv", "\n".join(rows).encode())})
    assert answer.status_code == 422
    assert "124750 pairs" in answer.text
    sent = {"file": ("r.csv", "\n".join(rows[:62]).encode())}
    assert client.post("/agreement", files=sent, data={"reference": "R0"}).status_code == 200
    sent = {"file": ("r.csv", "\n".join(rows[:63]).encode())}
    assert client.post("/agreement", files=sent, data={"reference": "R0"}).status_code == 422
