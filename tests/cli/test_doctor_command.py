"""`hushpoint doctor` names each thing that is wrong, says what to do, and changes nothing."""

from __future__ import annotations

import json
import os
import socket
import sqlite3
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from hushpoint.cli.doctor import doctor_told
from hushpoint.desk import access
from hushpoint.ledger.backup import BACKUP_STATE
from hushpoint.ledger.records import Entry, Kind
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from serving import free_port


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder in which all is well."""
    made = tmp_path / "data"
    ledger = open_sqlite(made / FILE_NAME)
    access.set_password(ledger, "ten letters or more")
    ledger.append(Entry(Kind.CLASS_OPENED, {"name": "A"}))
    ledger.close()
    return made


def told(folder: Path, capsys: pytest.CaptureFixture[str], **changed: Any) -> tuple[int, dict[str, dict[str, Any]]]:
    """Return the status and the findings by name."""
    asked: dict[str, Any] = {"data": folder, "database": None, "port": free_port(), "as_json": True, **changed}
    status = doctor_told(**asked)
    return status, {one["check"]: one for one in json.loads(capsys.readouterr().out)["checks"]}


def wrong(found: dict[str, dict[str, Any]]) -> set[str]:
    """Return what is not well; each says what to do."""
    assert all(one["do"] for one in found.values() if not one["well"])
    return {name for name, one in found.items() if not one["well"]}


def test_all_is_well_and_nothing_is_changed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Status 0, and the ledger's bytes are those of before."""
    before = (folder / FILE_NAME).read_bytes()
    status, found = told(folder, capsys)
    assert (status, wrong(found)) == (0, set())
    assert (folder / FILE_NAME).read_bytes() == before
    assert doctor_told(data=folder, database=None, port=free_port(), as_json=False) == 0
    assert "all is well" in capsys.readouterr().out


def test_files_open_to_others_are_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the command that closes them."""
    (folder / FILE_NAME).chmod(0o644)
    status, found = told(folder, capsys)
    assert (status, wrong(found)) == (1, {"permissions"})
    assert "chmod" in found["permissions"]["do"]


def test_a_port_in_use_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Somebody listens there."""
    with socket.socket() as busy:
        busy.bind(("127.0.0.1", 0))
        busy.listen()
        assert wrong(told(folder, capsys, port=busy.getsockname()[1])[1]) == {"port"}


def test_an_altered_row_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By its number."""
    with sqlite3.connect(folder / FILE_NAME) as connection:
        connection.execute("UPDATE journal SET room = 'ZZZZ' WHERE seq = 1")
    connection.close()
    _, found = told(folder, capsys)
    assert wrong(found) == {"journal"}
    assert "row 1" in found["journal"]["says"]


@pytest.mark.parametrize("harm", ["text", "middle", "empty folder", "no folder"])
def test_a_ledger_that_cannot_be_read_is_named(folder: Path, capsys: pytest.CaptureFixture[str], harm: str) -> None:
    """Never a traceback, always what to do."""
    file = folder / FILE_NAME
    if harm == "text":
        file.write_text("this is no ledger " * 1000)
    elif harm == "middle":
        content = bytearray(file.read_bytes())
        content[2048:] = b"\xa5" * (len(content) - 2048)
        file.write_bytes(content)
    else:
        for one in folder.iterdir():
            one.unlink()
        if harm == "no folder":
            folder.rmdir()
    status, found = told(folder, capsys)
    assert status == 1
    assert "ledger" in wrong(found)
    assert all(len(one["says"].splitlines()) == 1 for one in found.values())


@pytest.mark.parametrize(("revision", "well"), [("9999", False), ("0001", True)])
def test_another_version_is_named(folder: Path, capsys: pytest.CaptureFixture[str], revision: str, well: bool) -> None:
    """A newer one is to be used by the newer Hushpoint; an older one is left unmigrated."""
    with sqlite3.connect(folder / FILE_NAME) as connection:
        connection.execute("UPDATE alembic_version SET version_num = ?", (revision,))
    connection.close()
    _, found = told(folder, capsys)
    assert found["ledger"]["well"] == well
    assert ("older" if well else "newer") in found["ledger"]["says"]


def test_rows_from_tomorrow_a_missing_password_and_lost_recordings_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A clock set back, no password, a kept recording without its file."""
    ledger = open_sqlite(tmp_path / FILE_NAME, clock=lambda: "2999-01-01T00:00:00.000000Z")
    body = {"label": "K1", "kind": ".wav", "seconds": 1.0, "sha256": {".wav": "0" * 64}}
    ledger.append(Entry(Kind.RECORDING_KEPT, body, who="ab" * 10, ref="ab" * 10))
    ledger.append(Entry(Kind.RECORDING_READ, {"version": "1", "answer": {}}, who="ab" * 10))
    ledger.close()
    tmp_path.chmod(0o700)
    assert wrong(told(tmp_path, capsys)[1]) == {"rows", "password", "recordings"}


def test_a_database_that_does_not_answer_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """PostgreSQL is not there, or the URL is none."""
    for url in (f"postgresql://nobody@127.0.0.1:{free_port()}/none", "no url"):
        _, found = told(folder, capsys, database=url)
        assert wrong(found) == {"ledger"}
        assert "PostgreSQL" in found["ledger"]["do"]


def test_the_marks_of_the_invented_college_are_no_fault(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The three marks in the folder of `hushpoint demo` hold nothing about anybody."""
    for mark in ("INVENTED", "READY", "FULL"):
        (folder / mark).touch(mode=0o644)
    status, found = told(folder, capsys)
    assert (status, wrong(found)) == (0, set())


def test_a_folder_that_is_not_there_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """And none is made."""
    status, found = told(tmp_path / "nowhere", capsys)
    assert (status, wrong(found)) == (1, {"folder", "ledger"})
    assert list(tmp_path.iterdir()) == []


def test_a_disk_nearly_full_is_named(small_disk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A disk of a megabyte has no room for a class."""
    ledger = open_sqlite(small_disk / FILE_NAME)
    access.set_password(ledger, "ten letters or more")
    ledger.close()
    small_disk.chmod(0o700)
    status, found = told(small_disk, capsys)
    assert (status, wrong(found)) == (1, {"disk"})
    assert "0.0 GB free" in found["disk"]["says"]


@pytest.mark.parametrize("days_old", [0, 2])
def test_what_was_never_finished_is_named_after_a_day(
    folder: Path, capsys: pytest.CaptureFixture[str], days_old: int
) -> None:
    """A file that is being written now is no fault; one from the day before yesterday is, and nothing is deleted."""
    part = folder / ".kept.backup.part"
    part.touch(mode=0o600)
    then = time.time() - days_old * 86_400
    os.utime(part, (then, then))
    _, found = told(folder, capsys)
    assert wrong(found) == ({"left over"} if days_old else set())
    assert part.name in found["left over"]["says"] or not days_old
    assert part.exists()


@pytest.mark.parametrize(
    ("ends_in_days", "own", "says"),
    [
        (-1, False, "ended on"),
        (5, False, "ends on"),
        (5, True, "ends on"),
        (300, False, "is good until"),
        (None, False, "cannot be read"),
    ],
)
def test_a_certificate_that_ends_is_named(
    folder: Path, capsys: pytest.CaptureFixture[str], ends_in_days: int | None, own: bool, says: str
) -> None:
    """Ended, ending within two weeks, given or of one's own making, good, and no certificate at all."""
    path = folder / ("own-certificate.pem" if own else "chain.pem")
    path.write_bytes(b"no certificate" if ends_in_days is None else certificate(ends_in_days))
    path.chmod(0o600)
    _, found = told(folder, capsys, certificate=None if own else path)
    assert wrong(found) == (set() if ends_in_days == 300 else {"certificate"})
    assert says in found["certificate"]["says"]


@pytest.mark.parametrize(
    ("state", "says"),
    [
        ({"well": True, "good_h_ago": 1}, ""),
        ({"well": True, "good_h_ago": 72}, "Backups have stopped"),
        ({"well": False, "good_h_ago": 30, "says": "disk full"}, "disk full"),
        ({"well": False, "good_h_ago": None, "says": "no folder"}, "there is none"),
    ],
)
def test_backups_that_fail_or_stopped_are_named(
    folder: Path, capsys: pytest.CaptureFixture[str], state: dict[str, Any], says: str
) -> None:
    """Once a day, an hour old: well; three days old, or the last one refused: named with the last good one."""
    hours = state["good_h_ago"]
    good_at = "" if hours is None else (datetime.now(UTC) - timedelta(hours=hours)).isoformat()
    kept = {
        "at": datetime.now(UTC).isoformat(), "well": state["well"], "says": state.get("says", "3 rows"),
        "good_at": good_at, "every_s": 86_400, "folder": "/kept",
    }  # fmt: skip
    ledger = open_sqlite(folder / FILE_NAME)
    ledger.set_setting(BACKUP_STATE, json.dumps(kept))
    ledger.close()
    _, found = told(folder, capsys)
    assert wrong(found) == ({"backup"} if says else set())
    assert says in found["backup"]["says"]


def certificate(ends_in_days: int) -> bytes:
    """Return a certificate in PEM that ends in so many days."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key, called = ec.generate_private_key(ec.SECP256R1()), x509.Name([])
    ends = datetime.now(UTC) + timedelta(days=ends_in_days, hours=1)
    made = x509.CertificateBuilder().subject_name(called).issuer_name(called).public_key(key.public_key())
    made = made.serial_number(1).not_valid_before(ends - timedelta(days=365)).not_valid_after(ends)
    return made.sign(key, hashes.SHA256()).public_bytes(serialization.Encoding.PEM)
