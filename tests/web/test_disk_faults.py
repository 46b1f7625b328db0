"""A real full disk, a real read-only folder, a real damaged file: one line, and nothing acknowledged is lost."""

from __future__ import annotations

import os
import resource
import subprocess
from pathlib import Path

import httpx2
import pytest

from bench_logs import bench_log
from hushpoint.desk import access
from hushpoint.ledger.records import Entry, Kind, LedgerError
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from serving import COMMAND, free_port, start, stop

LOG = bench_log()


def file_one(phone: httpx2.Client, ref: str) -> tuple[int, str]:
    """Begin, set up and file a measurement; return the last status and its id."""
    answer = phone.post("/practise/measurements", json={"ref": ref, "guided": False, "again": None})
    if answer.status_code != httpx2.codes.CREATED:
        return answer.status_code, answer.text
    begun = answer.json()
    path = f"/practise/measurements/{begun['measurement']}"
    choices = {row["id"]: row["choices"][0]["id"] for row in begun["rows"]}
    answer = phone.post(f"{path}/set-up", json={"choices": choices})
    if answer.status_code == httpx2.codes.OK:
        answer = phone.post(f"{path}/log", json=LOG)
    return answer.status_code, begun["measurement"] if answer.status_code == httpx2.codes.CREATED else answer.text


def test_a_full_disk_is_told_and_gone_through(tmp_path: Path) -> None:
    """No file may grow any more in mid-class: 503 in one line; once there is room the same phone goes on."""
    site = start(tmp_path)
    acknowledged, refused = [], []
    try:
        with httpx2.Client(base_url=site.here, timeout=20) as phone:
            phone.post("/join/alone")
            for number in range(3):
                status, measurement = file_one(phone, f"a{number}")
                assert status == httpx2.codes.CREATED
                acknowledged.append(measurement)
            largest = max(file.stat().st_size for file in tmp_path.rglob("*") if file.is_file())
            resource.prlimit(site.process.pid, resource.RLIMIT_FSIZE, (largest, resource.RLIM_INFINITY))
            for number in range(400):
                status, said = file_one(phone, f"b{number}")
                if status == httpx2.codes.CREATED:
                    acknowledged.append(said)
                    continue
                assert status == httpx2.codes.SERVICE_UNAVAILABLE
                assert len(said.strip().splitlines()) == 1
                refused.append(said)
                if len(refused) == 3:
                    break
            assert len(refused) == 3, "the disk never became full"
            assert phone.get("/practise").status_code == httpx2.codes.OK
            resource.prlimit(site.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY,) * 2)
            status, measurement = file_one(phone, "after")
            assert status == httpx2.codes.CREATED
            acknowledged.append(measurement)
    finally:
        stop(site)
    ledger = open_sqlite(tmp_path / FILE_NAME, create=False)
    stored = [row.ref for row in ledger.rows(kinds=[Kind.MEASUREMENT_FILED])]
    assert sorted(stored) == sorted(acknowledged)
    assert ledger.verify().first_altered is None
    ledger.close()


def test_a_full_file_system_keeps_every_row_that_was_acknowledged(small_disk: Path) -> None:
    """Rows until there is no room: the refusal is one line; what was acknowledged is whole when read again."""
    ledger = open_sqlite(small_disk / FILE_NAME)
    kept, said = 0, ""
    while not said:
        try:
            kept = ledger.append(Entry(Kind.FINDING_NOTED, {"note": "x" * 10_000}))[-1].seq
        except LedgerError as refusal:
            said = str(refusal)
    assert "full" in said
    assert len(said.splitlines()) == 1
    ledger.close()
    done = hushpoint("backup", str(small_disk / "kept"), "--data", str(small_disk))
    again = open_sqlite(small_disk / FILE_NAME, create=False)
    assert again.last() == kept > 10
    assert again.verify().first_altered is None
    again.close()
    if done.returncode:
        one_line(done)
        assert not (small_disk / "kept").exists()
        assert not (small_disk / ".kept.part").exists()


def test_a_folder_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    """Serving, backing up into it and restoring there: status 2, one line, nothing made."""
    ledger = open_sqlite(tmp_path / "good" / FILE_NAME)
    ledger.append(Entry(Kind.CLASS_OPENED, {"name": "A"}))
    ledger.close()
    assert hushpoint("backup", str(tmp_path / "kept"), "--data", str(tmp_path / "good")).returncode == 0
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    for words in (
        ("serve", "--data", str(locked), "--port", str(free_port())),
        ("serve", "--data", str(locked / "deeper"), "--port", str(free_port()), "--own-certificate"),
        ("backup", str(locked / "kept"), "--data", str(tmp_path / "good")),
        ("restore", str(tmp_path / "kept"), "--data", str(locked)),
    ):
        one_line(hushpoint(*words, as_anybody=True))
    assert list(locked.iterdir()) == []
    doctor = hushpoint("doctor", "--data", str(locked), as_anybody=True)
    assert doctor.returncode == 1
    assert "cannot be written" in doctor.stdout


@pytest.mark.parametrize("harm", ["text", "cut", "middle"])
def test_a_damaged_file_is_one_line(tmp_path: Path, harm: str) -> None:
    """Serve, verify and backup say so; the damaged file stays for whoever may mend it; no backup is left half made."""
    ledger = open_sqlite(tmp_path / FILE_NAME)
    access.set_password(ledger, "ten letters or more")
    for _ in range(50):
        ledger.append(Entry(Kind.FINDING_NOTED, {"note": "x" * 3000}))
    ledger.close()
    file = tmp_path / FILE_NAME
    content = bytearray(file.read_bytes())
    if harm == "text":
        content[:] = b"no ledger at all " * 500
    elif harm == "cut":
        del content[len(content) // 2 :]
    else:
        content[8192:-8192] = b"\xa5" * (len(content) - 16384)
    file.write_bytes(content)
    for words in (("verify",), ("backup", str(tmp_path / "kept"))):
        done = hushpoint(*words, "--data", str(tmp_path))
        if words[0] == "verify" and done.returncode == 1:
            assert done.stdout.startswith("altered: row")
        else:
            one_line(done)
    assert not (tmp_path / "kept").exists()
    assert not (tmp_path / ".kept.part").exists()
    doctor = hushpoint("doctor", "--data", str(tmp_path))
    assert doctor.returncode == 1
    assert "Traceback" not in doctor.stdout + doctor.stderr


def hushpoint(*words: str, as_anybody: bool = False) -> subprocess.CompletedProcess[str]:
    """Run a command; `as_anybody` without the right of root to write everywhere."""
    plain = ["setpriv", "--bounding-set", "-dac_override,-dac_read_search", "--"]
    before = plain if as_anybody and os.geteuid() == 0 else []
    return subprocess.run([*before, *COMMAND, *words], capture_output=True, text=True, timeout=60, check=False)


def one_line(done: subprocess.CompletedProcess[str]) -> None:
    """Check that it was refused in one line."""
    assert done.returncode == 2, done
    assert len(done.stderr.strip().splitlines()) == 1, done.stderr
