"""Backups that the server makes by itself: when, how many stay, what is told when one cannot be made."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from hushpoint.ledger.backup import read_backup, restore_backup
from hushpoint.ledger.records import Entry, Kind, LedgerError
from hushpoint.ledger.scheduled import BackupPlan, Backups, every_of, state_of
from hushpoint.ledger.store import FILE_NAME, open_sqlite

NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture
def ledger(tmp_path: Path):
    """A ledger with one row."""
    opened = open_sqlite(tmp_path / "data" / FILE_NAME)
    opened.append(Entry(Kind.CLASS_OPENED, {"name": "A"}))
    yield opened
    opened.close()


@pytest.fixture
def plan(tmp_path: Path) -> BackupPlan:
    """Daily, three kept."""
    return BackupPlan(tmp_path / "backups", DAY, 3, tmp_path / "data" / "recordings")


def kept(plan: BackupPlan) -> list[str]:
    """The backups there, oldest first."""
    return sorted(path.name for path in plan.folder.glob("hushpoint-*.backup"))


def test_one_is_made_when_it_is_due_and_the_newest_stay(ledger, plan) -> None:
    """At once, then a day later and not before, also after a new start; three stay, and what is not ours is left."""
    assert Backups(ledger, plan).now(NOON).well
    (plan.folder / "notes.txt").write_text("ours")
    backups = Backups(ledger, plan)
    assert backups.now(NOON + timedelta(hours=23)) is None
    for day in range(1, 6):
        assert backups.now(NOON + day * DAY).well
    assert kept(plan) == [f"hushpoint-2026050{day}T120000Z.backup" for day in (7, 8, 9)]
    assert (plan.folder / "notes.txt").exists()
    assert plan.folder.stat().st_mode & 0o077 == 0
    assert len(read_backup(plan.folder / kept(plan)[-1])[0]) == 1
    state = state_of(ledger)
    assert state is not None
    assert state.trouble(NOON + 5 * DAY) == ""
    assert "have stopped" in state.trouble(NOON + 8 * DAY)


def test_a_sealed_one_opens_with_its_passphrase_alone(ledger, plan, tmp_path: Path) -> None:
    """The state of backups stays behind: a restored ledger makes no claim about backups elsewhere."""
    Backups(ledger, replace(plan, passphrase="correct horse and more")).now(NOON)
    (file,) = plan.folder.glob("*.backup")
    with pytest.raises(LedgerError, match="encrypted"):
        read_backup(file)
    back = open_sqlite(tmp_path / "back" / FILE_NAME)
    assert restore_backup(back, file, passphrase="correct horse and more") == 1
    assert state_of(back) is None
    back.close()


def test_one_that_cannot_be_made_is_told_and_takes_no_good_one_away(ledger, plan, monkeypatch) -> None:
    """The folder is a file, then there again: the good ones stay, the next is tried ten minutes later."""
    backups = Backups(ledger, plan)
    for day in range(3):
        backups.now(NOON + day * DAY)
    before = kept(plan)
    moved = plan.folder.with_name("moved")
    plan.folder.rename(moved)
    plan.folder.write_text("no folder")
    later = NOON + 3 * DAY
    state = backups.now(later)
    assert state is not None
    assert not state.well
    told = state_of(ledger).trouble(later)
    assert "could not be made" in told
    assert "the last good one is of 2026-05-06 12:00 UTC" in told
    assert backups.now(later + timedelta(minutes=9)) is None
    plan.folder.unlink()
    moved.rename(plan.folder)
    assert kept(plan) == before
    assert backups.now(later + timedelta(minutes=11)).well
    assert kept(plan)[:2] == before[1:]


def test_two_processes_make_one(ledger, plan) -> None:
    """Of two that look at the same moment, one makes it."""
    assert [bool(Backups(ledger, plan).now(NOON)) for _ in range(2)] == [True, False]
    assert len(kept(plan)) == 1


@pytest.mark.parametrize("text", ["", "24", "0h", "h", "-1h", "32d", "30s", "1e3h", "99999999m"])
def test_a_wrong_length_of_time_is_one_line(text: str) -> None:
    """The legal range is named."""
    with pytest.raises(LedgerError, match="from 1m to 31d"):
        every_of(text)


def test_lengths_of_time() -> None:
    """Minutes, hours, days."""
    assert [every_of(text) for text in ("90m", "24h", "7d")] == [timedelta(minutes=90), DAY, 7 * DAY]


@pytest.mark.hard
def test_a_full_disk_for_backups_leaves_the_service_and_the_good_ones(ledger, plan, tmp_path: Path) -> None:
    """A file system of its own that is too small: told in one line, no half file, the older ones stay."""
    if os.geteuid() != 0 or not shutil.which("mount"):
        pytest.skip("a small file system can be mounted by root alone")
    plan.folder.mkdir()
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=400k", "none", plan.folder], check=False)
    if made.returncode:
        pytest.skip("a file system cannot be mounted here")
    try:
        backups = Backups(ledger, plan)
        assert backups.now(NOON).well
        for _ in range(40):
            ledger.append(Entry(Kind.FINDING_PLAN_SET, {"text": os.urandom(15_000).hex()}))
        state = backups.now(NOON + DAY)
        assert not state.well
        assert "No space" in state.says
        assert kept(plan) == ["hushpoint-20260504T120000Z.backup"]
        assert [path.name for path in plan.folder.iterdir() if path.suffix == ".part"] == []
        assert json.loads(json.dumps(state.says)) == state.says
    finally:
        subprocess.run(["umount", plan.folder], check=True)
