"""Backups made by the running server: one every so often, old ones gone once a good new one is there.

Whether the last one went well lies in the ledger's settings, for the lecturer's pages, `/metrics` and `doctor`.
"""

from __future__ import annotations

import fcntl
import json
import logging
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hushpoint.ledger.backup import BACKUP_STATE, write_backup
from hushpoint.ledger.records import Ledger, LedgerError
from hushpoint.ledger.sql import SqlLedger

SHORTEST, LONGEST = timedelta(minutes=1), timedelta(days=31)
"""How often backups can be made (design choice)."""
MOST_KEPT = 1000
_LOOK_S = 30.0
"""How often is looked whether one is due [s]."""
_AGAIN = timedelta(minutes=10)
"""After one that did not succeed the next is tried this much later, or sooner where they are made more often."""
_STAMP = "%Y%m%dT%H%M%SZ"
_NAME = re.compile(r"hushpoint-(\d{8}T\d{6}Z)\.backup")
_EVERY = re.compile(r"(\d{1,5})([mhd])")
_UNITS = {"m": "minutes", "h": "hours", "d": "days"}
_log = logging.getLogger("hushpoint")


@dataclass(frozen=True, slots=True)
class BackupPlan:
    """Where backups go, how often, how many are kept, under which passphrase; `recordings` go with them."""

    folder: Path
    every: timedelta
    keep: int
    recordings: Path
    passphrase: str | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class BackupState:
    """How the last backup went. Times are UTC, ISO 8601; `good_at` is "" where none ever succeeded."""

    at: str
    well: bool
    says: str
    good_at: str
    every_s: float
    folder: str

    def trouble(self, now: datetime) -> str:
        """Return what is wrong in one sentence, "" where all is well."""
        good = f"the last good one is of {self.good_at[:16].replace('T', ' ')} UTC" if self.good_at else "there is none"
        if not self.well:
            return f"The last backup could not be made ({self.says}); {good}."
        if now - datetime.fromisoformat(self.good_at or self.at) > 2 * timedelta(seconds=self.every_s):
            return f"Backups have stopped: {good}."
        return ""


def every_of(text: str) -> timedelta:
    """Return a length of time written as 90m, 24h or 7d; raises LedgerError with the legal range."""
    found = _EVERY.fullmatch(text.strip())
    every = timedelta(**{_UNITS[found[2]]: int(found[1])}) if found else timedelta(0)
    if not SHORTEST <= every <= LONGEST:
        raise LedgerError("--backup-every: must be such as 90m, 24h or 7d, from 1m to 31d")
    return every


def state_of(ledger: Ledger) -> BackupState | None:
    """Return how the last scheduled backup went, None where none was ever asked for."""
    kept = ledger.setting(BACKUP_STATE)
    try:
        return BackupState(**json.loads(kept)) if kept else None
    except (ValueError, TypeError):
        return None


class Backups:
    """Makes backups beside the server, in a thread of its own; whatever goes wrong, the service goes on."""

    def __init__(self, ledger: SqlLedger, plan: BackupPlan) -> None:
        self._ledger, self._plan = ledger, plan
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="backups", daemon=True)
        self._tried: datetime | None = None

    def start(self) -> None:
        """Begin to look whether one is due."""
        self._thread.start()

    def stop(self) -> None:
        """Make no further one; one on its way is finished, up to some seconds, or left: it appears whole or never."""
        self._end.set()
        self._thread.join(timeout=5)

    def now(self, now: datetime) -> BackupState | None:
        """Make one where it is due; return how it went, None where none was due or another process is at it."""
        plan = self._plan
        if self._tried is not None and now - self._tried < min(_AGAIN, plan.every):
            return None
        try:
            plan.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            with _alone(plan.folder) as alone:
                newest = max(_made(plan.folder), default=None)
                if not alone or (newest is not None and timedelta(0) <= now - newest < plan.every):
                    return None
                self._tried = now
                rows = self._write(now)
                state = self._told(now, f"{rows} rows", well=True)
                _prune(plan.folder, plan.keep)
        except (LedgerError, OSError) as trouble:
            self._tried = now
            said = trouble.strerror if isinstance(trouble, OSError) else str(trouble)
            _log.error("a backup could not be made: %s", said)
            return self._told(now, said or type(trouble).__name__, well=False)
        return state

    def _write(self, now: datetime) -> int:
        plan = self._plan
        file = plan.folder / f"hushpoint-{now.strftime(_STAMP)}.backup"
        return write_backup(self._ledger, file, passphrase=plan.passphrase, recordings=plan.recordings)

    def _told(self, now: datetime, says: str, *, well: bool) -> BackupState:
        before = state_of(self._ledger)
        good_at = now.isoformat() if well else before.good_at if before else ""
        plan = self._plan
        state = BackupState(now.isoformat(), well, says, good_at, plan.every.total_seconds(), str(plan.folder))
        with suppress(LedgerError):  # the ledger's own disk is full: its age tells it
            self._ledger.set_setting(BACKUP_STATE, json.dumps(asdict(state)))
        return state

    def _run(self) -> None:
        while True:
            try:
                self.now(datetime.now(UTC))
            except Exception as fault:  # whatever it is, the class goes on
                _log.error("a backup could not be made: %s", type(fault).__name__)
            if self._end.wait(min(_LOOK_S, self._plan.every.total_seconds() / 2)):
                return


def _made(folder: Path) -> Iterator[datetime]:
    """Yield when each backup in the folder was made."""
    for path in folder.iterdir():
        found = _NAME.fullmatch(path.name)
        if found:
            yield datetime.strptime(found[1], _STAMP).replace(tzinfo=UTC)


def _prune(folder: Path, keep: int) -> None:
    """Delete all but the newest few of the backups that were made here; nothing else in the folder is touched."""
    made = sorted((path for path in folder.iterdir() if _NAME.fullmatch(path.name)), reverse=True)
    for path in made[keep:]:
        path.unlink(missing_ok=True)


@contextmanager
def _alone(folder: Path) -> Iterator[bool]:
    """Tell whether no other process is making one here at this moment."""
    with (folder / ".lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
        else:
            yield True
