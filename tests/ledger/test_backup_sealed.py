"""Backups that a passphrase opens, that hold kept recordings, and that come from a newer version."""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import sqlite3
import stat
import subprocess
from contextlib import closing
from pathlib import Path

import pytest

from hushpoint.ledger.backup import check_backup, read_backup, restore_backup, write_backup
from hushpoint.ledger.records import Entry, Kind, LedgerError
from hushpoint.ledger.sealed_file import FIRST_LINE, Sealing, Unsealing
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from serving import COMMAND

WORD, OTHER = "correct horse and more", "correct horse and less"
SECRET = "Ines Invented"


def indexes(folder: Path) -> list[tuple[str, str | None]]:
    """Every index of a ledger file with the words that make it."""
    with closing(sqlite3.connect(folder / FILE_NAME)) as store:
        found = list(store.execute("SELECT name, sql FROM sqlite_master WHERE type = 'index' ORDER BY name"))
    assert len(found) > 5
    return found


def filled(folder: Path) -> SqlLedger:
    """A ledger with two rows and a kept recording of two megabytes."""
    ledger = open_sqlite(folder / FILE_NAME)
    ledger.append(Entry(Kind.CLASS_OPENED, {"name": "A"}), Entry(Kind.ROSTER_ADDED, {"name": SECRET}, who="w"))
    (folder / "recordings").mkdir()
    (folder / "recordings" / f"{'ab' * 10}.wav").write_bytes(os.urandom(2_000_000))
    (folder / "recordings" / f"{'ab' * 10}.csv").write_bytes(b"time_s,pressure_mmHg\n")
    return ledger


def test_a_sealed_backup_comes_back_whole_and_tells_nothing(tmp_path: Path) -> None:
    """Rows and recordings return as they were; the file holds neither a name nor the mark of a packed file."""
    ledger = filled(tmp_path)
    kept = tmp_path / "kept"
    assert write_backup(ledger, kept, passphrase=WORD, recordings=tmp_path / "recordings") == 2
    content = kept.read_bytes()
    assert content.startswith(FIRST_LINE)
    assert SECRET.encode() not in content
    assert b"\x1f\x8b\x08" not in content[:200]
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    there = tmp_path / "there"
    other = open_sqlite(there / FILE_NAME)
    assert restore_backup(other, kept, passphrase=WORD, recordings=there / "recordings") == 2
    assert [row.body for row in other.rows()] == [row.body for row in ledger.rows()]
    for file in (tmp_path / "recordings").iterdir():
        back = there / "recordings" / file.name
        assert back.read_bytes() == file.read_bytes()
        assert stat.S_IMODE(back.stat().st_mode) == 0o600
    assert other.verify().first_altered is None
    ledger.close()
    other.close()


@pytest.mark.parametrize("harm", ["wrong word", "no word", "cut", "changed", "two pieces changed places", "emptied"])
def test_a_sealed_backup_that_cannot_be_opened_is_one_line(tmp_path: Path, harm: str) -> None:
    """The line says what is wrong and repeats no passphrase; the ledger stays empty and no file is left."""
    ledger = filled(tmp_path)
    kept = tmp_path / "kept"
    write_backup(ledger, kept, passphrase=WORD, recordings=tmp_path / "recordings")
    ledger.close()
    content = bytearray(kept.read_bytes())
    if harm == "cut":
        del content[-40:]
    elif harm == "changed":
        content[len(content) // 2] ^= 1
    elif harm == "emptied":
        del content[len(FIRST_LINE) :]
    elif harm == "two pieces changed places":
        start, size = len(FIRST_LINE) + 16, 4 + (1 << 20) + 16
        one, two = content[start : start + size], content[start + size : start + 2 * size]
        content[start : start + 2 * size] = two + one
    kept.write_bytes(content)
    word = {"wrong word": OTHER, "no word": None}.get(harm, WORD)
    there = tmp_path / "there"
    other = open_sqlite(there / FILE_NAME)
    with pytest.raises(LedgerError) as refusal:
        restore_backup(other, kept, passphrase=word, recordings=there / "recordings")
    said = str(refusal.value)
    assert len(said.splitlines()) == 1
    assert "correct horse" not in said
    if harm == "wrong word":
        assert "without the right passphrase nobody can open it" in said
    if harm == "no word":
        assert "--passphrase-file" in said
    assert other.last() == 0
    assert not (there / "recordings").exists()
    assert not (there / ".recordings.part").exists()
    other.close()


@pytest.mark.parametrize("length", [0, 1, (1 << 20) - 1, 1 << 20, (1 << 20) + 1, 3 << 20])
def test_every_length_is_sealed_and_opened(tmp_path: Path, length: int) -> None:
    """Around the size of a piece, what went in comes out."""
    path, content = tmp_path / "f", os.urandom(length)
    with path.open("wb") as raw:
        sealing = Sealing(raw, WORD)
        sealing.write(content)
        sealing.finish()
    with Unsealing(path, WORD) as unsealing:
        assert unsealing.read() == content


def _altered(path: Path, change: dict[int, dict[str, object]]) -> None:
    """Write a backup anew with some lines changed and a foot that fits."""
    lines = gzip.decompress(path.read_bytes()).splitlines(keepends=True)
    for place, record in change.items():
        lines[place] = json.dumps(record, separators=(",", ":")).encode() + b"\n"
    total = hashlib.sha256(b"".join(lines[:-1])).hexdigest()
    lines[-1] = json.dumps({"rows": len(lines) - 2, "sha256": total}).encode() + b"\n"
    path.write_bytes(gzip.compress(b"".join(lines)))


def test_rows_of_a_newer_version_are_named(tmp_path: Path) -> None:
    """A kind that this version does not know: told as such, not as a broken file."""
    ledger = filled(tmp_path)
    kept = tmp_path / "kept"
    write_backup(ledger, kept)
    ledger.close()
    lines = gzip.decompress(kept.read_bytes()).splitlines()
    row = json.loads(lines[1])
    row["row"][2] = "moon.landed"
    _altered(kept, {1: row})
    with pytest.raises(LedgerError, match=r"kind moon\.landed: it needs a newer Hushpoint"):
        read_backup(kept)


@pytest.mark.parametrize("name", ["../evil.wav", "/etc/passwd", "ab.wav", "a" * 20 + "/../x.wav"])
def test_a_file_out_of_place_is_refused(tmp_path: Path, name: str) -> None:
    """A backup made by somebody else cannot write anywhere but into the folder of recordings."""
    ledger = filled(tmp_path)
    kept = tmp_path / "kept"
    write_backup(ledger, kept, recordings=tmp_path / "recordings")
    ledger.close()
    _altered(kept, {3: {"file": name, "data": "AAAA"}})
    there = tmp_path / "deep" / "there"
    other = open_sqlite(there / FILE_NAME)
    with pytest.raises(LedgerError, match="none of ours"):
        restore_backup(other, kept, recordings=there / "recordings")
    assert other.last() == 0
    assert {one.name for one in there.iterdir()} <= {FILE_NAME, f"{FILE_NAME}-wal", f"{FILE_NAME}-shm"}
    other.close()


def test_the_commands_seal_and_open(tmp_path: Path) -> None:
    """By the command line, with the passphrase in a file; a short or missing one is one line and writes nothing."""
    filled(tmp_path / "data").close() if (tmp_path / "data").mkdir() is None else None
    word = tmp_path / "word"
    word.write_text(f"{WORD}\n")

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run([*COMMAND, *words], cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False)

    assert run("backup", "kept", "--data", "data", "--passphrase-file", "word").returncode == 0
    assert run("restore", "kept", "--data", "new", "--passphrase-file", "word").returncode == 0
    assert len(list((tmp_path / "new" / "recordings").iterdir())) == 2
    assert run("verify", "--data", "new").returncode == 0
    (tmp_path / "short").write_text("short\n")
    for words in (
        ("restore", "kept", "--data", "third"),
        ("restore", "kept", "--data", "third", "--passphrase-file", "short"),
        ("restore", "kept", "--data", "third", "--passphrase-file", "absent"),
        ("backup", "second", "--data", "data", "--passphrase-file", "short"),
    ):
        done = run(*words)
        assert done.returncode == 2
        assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "third").exists()
    assert not (tmp_path / "second").exists()


@pytest.mark.parametrize("harm", ["cut", "last row", "foot", "row twice"])
def test_a_backup_torn_after_many_rows_leaves_nothing_half_written(tmp_path: Path, harm: str) -> None:
    """Rows come in batches of 5000; harm after the first batch leaves no row, no setting and no recording."""
    ledger = filled(tmp_path)
    ledger.append(*(Entry(Kind.CLASS_OPENED, {"name": str(number)}) for number in range(5_200)))
    kept = tmp_path / "kept"
    assert write_backup(ledger, kept, recordings=tmp_path / "recordings") == 5_202
    ledger.close()
    whole = tmp_path / "whole"
    other = open_sqlite(whole / FILE_NAME)
    fresh = indexes(whole)
    assert restore_backup(other, kept) == 5_202
    assert other.verify().first_altered is None
    other.close()
    assert indexes(whole) == fresh
    lines = gzip.decompress(kept.read_bytes()).splitlines(keepends=True)
    last = max(place for place, line in enumerate(lines) if line.startswith(b'{"row"'))
    if harm == "cut":
        kept.write_bytes(kept.read_bytes()[:-20])
    else:
        if harm == "last row":
            lines[last] = lines[last].replace(b"5199", b"5198")
        elif harm == "row twice":
            lines.insert(last, lines[last])
        else:
            lines[-1] = lines[-1].replace(b'"rows"', b'"rowz"')
        kept.write_bytes(gzip.compress(b"".join(lines)))
    there = tmp_path / "there"
    other = open_sqlite(there / FILE_NAME)
    before = other.settings()
    with pytest.raises(LedgerError):
        check_backup(kept)
    with pytest.raises(LedgerError) as refused:
        restore_backup(other, kept, recordings=there / "recordings")
    assert "\n" not in str(refused.value)
    assert other.last() == 0
    assert list(other.rows()) == []
    assert other.settings() == before
    assert [path.name for path in there.iterdir() if "recordings" in path.name] == []
    other.close()
    assert indexes(there) == fresh
