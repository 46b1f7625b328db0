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
from serving import start

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"


def test_metrics_count_and_tell_of_nobody(tmp_path: Path) -> None:
    """Answers are counted by status; no path, code, name or address is among the numbers."""
    app = build(Settings(data_dir=tmp_path), MemoryLedger())
    here = TestClient(app, client=("127.0.0.1", 1))
    for path in ("/", "/", "/join/ZZZZ", "/class/first-run"):
        here.get(path)
    text = here.get("/metrics").text
    assert 'hushpoint_answers_total{method="GET",status="200"} 2.0' in text
    assert 'hushpoint_answers_total{method="GET",status="404"} 1.0' in text
    assert "hushpoint_answer_seconds_count 4.0" in text
    assert not re.search(r"ZZZZ|join|127\.0|first", text)
    assert TestClient(app, client=("10.0.0.9", 1)).get("/metrics").status_code == 401


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
