"""A disk that is full while a command writes its files: one clear line, exit status 2, no half-written file left."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from hushpoint.desk import classes
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from serving import COMMAND, free_port
from small_disks import mounted

pytestmark = pytest.mark.hard
CAUTION = "A teaching aid"


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Path]:
    """A file system of its own with 200 kB, of which 4 kB are free."""
    with mounted(tmp_path / "small", "200k") as folder:
        (folder / "filler").write_bytes(bytes(192 * 1024))
        yield folder


def refused(small: Path, *words: str) -> None:
    """Run a command that has to say in one line that the disk is full, and leaves nothing."""
    done = subprocess.run([*COMMAND, *words], capture_output=True, text=True, check=False, timeout=120)
    assert done.returncode == 2, done
    said = [line for line in (done.stdout + done.stderr).splitlines() if line and not line.startswith(CAUTION)]
    assert len(said) == 1, said
    assert "No space left" in said[0]
    assert [path.name for path in small.rglob("*") if path.is_file()] == ["filler"]


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A ledger with a class."""
    ledger = open_sqlite(tmp_path / "data" / FILE_NAME)
    room = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    classes.join(ledger, room=room, name="Ines Invented")
    for number in range(400):
        classes.open_class(ledger, name=f"{number} {os.urandom(20).hex()}", policy_id="PALPATED_30")
    ledger.close()
    return tmp_path / "data"


def test_render_on_a_full_disk(small: Path) -> None:
    """Neither sound nor pressure nor truth is left in part."""
    words = ["--systolic", "128", "--diastolic", "82", "--pulse", "72", "--release", "2.5", "--seed", "7"]
    refused(small, "render", *words, "--out", str(small))


def test_pictures_of_read_on_a_full_disk(small: Path, tmp_path: Path) -> None:
    """A picture is whole or not there."""
    words = ["--systolic", "128", "--diastolic", "82", "--pulse", "72", "--release", "2.5", "--seed", "7"]
    subprocess.run([*COMMAND, "render", *words, "--out", str(tmp_path / "made")], check=True, capture_output=True)
    refused(small, "read", str(tmp_path / "made"), "--picture", str(small))


def test_export_on_a_full_disk(small: Path, data: Path) -> None:
    """An evidence bundle is whole or not there."""
    refused(small, "export", "Ines Invented", "--data", str(data), "--out", str(small / "export"))


def test_picture_of_agree_on_a_full_disk(small: Path, tmp_path: Path) -> None:
    """The picture of differences is whole or not there."""
    rows = "".join(f"m{n},J,{120 + n},{80 + n}\nm{n},R,{122 + n},{81 + n}\n" for n in range(12))
    file = tmp_path / "readings.csv"
    file.write_text(f"measurement,observer,systolic,diastolic\n{rows}")
    refused(small, "agree", str(file), "--json", "--picture", str(small / "differences.png"))


def test_letter_of_a_visit_on_a_full_disk(small: Path, tmp_path: Path) -> None:
    """Sheets of a visit are whole or not there."""
    file = tmp_path / "visit.json"
    file.write_text('{"policy": "NHFA_2016", "readings": []}')
    refused(small, "visit", str(file), "--json", "--record", str(small / "record.pdf"))


def test_backup_on_a_full_disk(small: Path, data: Path) -> None:
    """A backup is whole or not there."""
    refused(small, "backup", str(small / "whole.gz"), "--data", str(data))


def test_restore_on_a_full_disk(small: Path, data: Path, tmp_path: Path) -> None:
    """A restored ledger is whole or not there."""
    kept = tmp_path / "kept.gz"
    subprocess.run([*COMMAND, "backup", str(kept), "--data", str(data)], check=True, capture_output=True)
    refused(small, "restore", str(kept), "--data", str(small / "again"))


def test_an_own_certificate_on_a_full_disk(small: Path) -> None:
    """Neither key nor certificate is left in part, and nothing is served."""
    with (small / "filler").open("ab") as filler:
        filler.write(bytes(4096))
    refused(small, "serve", "--own-certificate", "--data", str(small / "data"), "--port", str(free_port()))
