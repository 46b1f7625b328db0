"""What runs it and watches it: metrics, logs without identity, the unit and the container file."""

from __future__ import annotations

import json
import logging
import re
import resource
import shutil
import subprocess
import sys
from pathlib import Path

import httpx2
import pytest
from starlette.testclient import TestClient

from bench_logs import bench_log
from hushpoint.cli.log_lines import JsonLines
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.wiring import Settings, build
from serving import COMMAND, start, stop

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"


def test_metrics_count_and_tell_of_nobody(tmp_path: Path) -> None:
    """Answers are counted by status; no path, code, name or address is among the numbers."""
    app = build(Settings(data_dir=tmp_path, metrics_token="a token of some length"), MemoryLedger())
    here = TestClient(app, client=("127.0.0.1", 1))
    for path in ("/", "/", "/join/ZZZZ", "/class/first-run"):
        here.get(path)
    text = here.get("/metrics", headers={"authorization": "Bearer a token of some length"}).text
    assert 'hushpoint_answers_total{method="GET",status="200"} 2.0' in text
    assert 'hushpoint_answers_total{method="GET",status="404"} 1.0' in text
    assert "hushpoint_answer_seconds_count 4.0" in text
    assert not re.search(r"ZZZZ|join|127\.0|first", text)
    assert "hushpoint_backup_age_seconds -1.0" in text
    for headers in ({}, {"authorization": "Bearer another token"}, {"authorization": "Bearer "}):
        assert here.get("/metrics", headers=headers).status_code == 401
    closed = TestClient(build(Settings(data_dir=tmp_path), MemoryLedger()), client=("127.0.0.1", 1))
    assert closed.get("/metrics", headers={"authorization": "Bearer "}).status_code == 401


@pytest.mark.parametrize("header", ["Forwarded", "X-Forwarded-For", "X-Real-IP", "Via"])
def test_the_first_password_is_not_set_through_a_proxy(tmp_path: Path, header: str) -> None:
    """Behind one on the same machine everybody seems to sit at it."""
    here = TestClient(build(Settings(data_dir=tmp_path), MemoryLedger()), client=("127.0.0.1", 1))
    sent = {"password": "ten letters or more"}
    assert here.post("/class/first-run", data=sent, headers={header: "10.0.0.9"}).status_code == 403
    assert here.post("/class/first-run", data=sent, follow_redirects=False).status_code == 303


def test_a_server_makes_backups_and_says_where_it_cannot(tmp_path: Path) -> None:
    """By itself from the start on; a folder that cannot be one is told on the lecturer's pages, and class goes on."""
    (tmp_path / "no-folder").write_text("a file")
    site = start(tmp_path / "data", "--backup-to", str(tmp_path / "no-folder"), "--backup-every", "1h")
    try:
        with httpx2.Client(base_url=site.here, timeout=20, follow_redirects=True) as lecturer:
            lecturer.post("/class/first-run", data={"password": "ten letters or more"})
            lecturer.post("/class/open", data={"name": "A", "policy": "PALPATED_30"})
            for page in ("/class", "/kit"):
                assert "The last backup could not be made" in lecturer.get(page).text
            assert "hushpoint_backup_well 0.0" in lecturer.get("/metrics").text
    finally:
        stop(site)
    doctor = subprocess.run(
        [*COMMAND, "doctor", "--data", str(tmp_path / "data")], capture_output=True, text=True, timeout=60, check=False
    )
    assert doctor.returncode == 1
    assert "MEND  backup: The last backup could not be made" in doctor.stdout


def test_a_log_line_holds_the_kind_of_a_fault_and_none_of_its_data() -> None:
    """One line of JSON, whatever the text."""
    try:
        raise ValueError("Ines Invented")
    except ValueError:
        record = logging.LogRecord("hushpoint", logging.ERROR, "f", 1, "two\nlines", None, sys.exc_info())
    line = JsonLines().format(record)
    assert len(line.splitlines()) == 1
    said = json.loads(line)
    assert (said["level"], said["fault"], said["says"]) == ("error", "ValueError", "two\nlines")
    assert "Ines" not in line


def test_a_server_in_trouble_logs_json_without_identity(tmp_path: Path) -> None:
    """A disk that is full in mid-class: lines of JSON, and neither a name nor an id of anybody in them."""
    site = start(tmp_path)
    with httpx2.Client(base_url=site.here, timeout=20) as phone:
        phone.post("/join/alone")
        begun = phone.post("/practise/measurements", json={"ref": "one"}).json()
        resource.prlimit(site.process.pid, resource.RLIMIT_FSIZE, (4096, resource.RLIM_INFINITY))
        path = f"/practise/measurements/{begun['measurement']}"
        choices = {row["id"]: row["choices"][0]["id"] for row in begun["rows"]}
        refused = phone.post(f"{path}/set-up", json={"choices": choices})
        assert refused.status_code == httpx2.codes.SERVICE_UNAVAILABLE
        phone.post(f"{path}/log", json=bench_log())
    site.process.terminate()
    said, _ = site.process.communicate(timeout=20)
    lines = [line for line in said.splitlines() if not line.startswith("open ")]
    assert lines
    for line in lines:
        assert set(json.loads(line)) >= {"at", "level", "from", "says"}
        assert begun["measurement"] not in line
        assert "/practise" not in line


def test_the_unit_is_sound(tmp_path: Path) -> None:
    """systemd itself finds nothing wrong with it; every option of its command is one that serve has."""
    text = (DEPLOY / "hushpoint.service").read_text()
    command = next(line for line in text.splitlines() if line.startswith("ExecStart="))
    told = subprocess.run(
        [sys.executable, "-c", "from hushpoint.cli.main import run; run()", "serve", "--help"],
        capture_output=True, text=True, timeout=60, check=True,
    )  # fmt: skip
    for option in re.findall(r"--[a-z-]+", command):
        assert option in told.stdout
    if not shutil.which("systemd-analyze"):
        pytest.skip("systemd-analyze is not here")
    unit = tmp_path / "hushpoint.service"
    unit.write_text(re.sub(r"ExecStart=\S+", "ExecStart=/bin/true", text))
    done = subprocess.run(["systemd-analyze", "verify", unit], capture_output=True, text=True, timeout=60, check=False)
    assert "hushpoint.service" not in done.stderr, done.stderr


def test_the_container_file_names_what_is_there() -> None:
    """Each instruction is known, what is copied exists, and it does not run as root."""
    text = (DEPLOY / "Containerfile").read_text().replace("\\\n", " ")
    lines = [line.strip() for line in text.splitlines() if line.strip() and not line.startswith("#")]
    known = {"FROM", "COPY", "RUN", "USER", "VOLUME", "EXPOSE", "ENV", "HEALTHCHECK", "ENTRYPOINT", "CMD"}
    assert {line.split()[0] for line in lines} <= known
    assert lines[0].startswith("FROM ")
    for line in lines:
        if line.startswith("COPY "):
            for source in line.split()[1:-1]:
                assert (DEPLOY.parent / source).exists(), source
        if line.startswith(("CMD ", "ENTRYPOINT ")):
            assert isinstance(json.loads(line.split(" ", 1)[1]), list)
    assert [line for line in lines if line.startswith("USER ")] == ["USER hushpoint"]
