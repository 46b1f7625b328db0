"""`hushpoint doctor`: what is wrong, in plain words, and what to do about it. It looks and changes nothing."""

from __future__ import annotations

import json
import shutil
import socket
import stat
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import typer

from hushpoint.cli.keep import DEFAULT_DATA
from hushpoint.cli.names import copies_in_the_open
from hushpoint.cli.told import tell
from hushpoint.desk import access, recordings
from hushpoint.errors import HushpointError
from hushpoint.ledger.records import LedgerError
from hushpoint.ledger.scheduled import state_of
from hushpoint.ledger.sealed_file import passphrase_in
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import FILE_NAME, open_ledger, version_of

LEAST_FREE_BYTES = 1_000_000_000
"""Less room than this is told: a term of a class and its backups take some hundred megabytes (design choice)."""
EARLIEST = datetime(2026, 1, 1, tzinfo=UTC)
"""No clock that is right says less."""
AHEAD = timedelta(minutes=5)
CERTIFICATE_DAYS = 14
"""A certificate that ends within so many days is told (design choice)."""
OWN_CERTIFICATE = "own-certificate.pem"
LEFT_AFTER = timedelta(days=1)
"""What is still unfinished after so long was left by something that was stopped (design choice)."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at: whether it is well, what stands, and what to do where it is not."""

    check: str
    well: bool
    says: str
    do: str = ""


def doctor_told(
    *,
    data: Path | None,
    database: str | None,
    port: int,
    as_json: bool,
    passphrase_file: Path | None = None,
    certificate: Path | None = None,
) -> int:
    """Print what was found; return the exit status, 1 where something is to be done."""
    found = list(_looked_at(data or DEFAULT_DATA, database, port, passphrase_file))
    own = (data or DEFAULT_DATA) / OWN_CERTIFICATE
    if certificate is not None or own.is_file():
        found.append(_certificate(certificate or own, datetime.now(UTC), own=certificate is None))
    well = all(one.well for one in found)
    if as_json:
        typer.echo(json.dumps({"well": well, "checks": [asdict(one) for one in found]}))
    else:
        for one in found:
            tell(f"{'well' if one.well else 'MEND'}  {one.check}: {one.says}")
            if one.do:
                tell(f"      {one.do}")
        tell("all is well" if well else f"to mend: {sum(not one.well for one in found)}")
    return 0 if well else 1


def _looked_at(folder: Path, database: str | None, port: int, passphrase_file: Path | None) -> Iterator[Finding]:
    now = datetime.now(UTC)
    yield _folder(folder)
    if folder.is_dir():
        yield _modes(folder)
        yield _room(folder)
        yield _left_over(folder, now)
    yield _port(port)
    yield _clock(now)
    yield from _ledger(folder, database, now, passphrase_file)


def _folder(folder: Path) -> Finding:
    if not folder.is_dir():
        return Finding("folder", False, f"{folder} is not there", "Name the right folder with --data; serve makes one.")
    probe = folder / ".doctor"
    try:
        probe.touch(mode=0o600)
        probe.unlink()
    except OSError as trouble:
        return Finding(
            "folder", False, f"{folder} cannot be written: {trouble.strerror}",
            "Give the folder to the account that serves, or free the disk from being read-only.",
        )  # fmt: skip
    return Finding("folder", True, f"{folder} can be written")


def _modes(folder: Path) -> Finding:
    open_to_others = [
        path for path in (folder, *folder.rglob("*")) if stat.S_IMODE(path.lstat().st_mode) & 0o077
        and not path.is_symlink() and path.name not in ("INVENTED", "READY", "FULL")
    ]  # fmt: skip
    if open_to_others:
        return Finding(
            "permissions", False, f"others on this machine may open {len(open_to_others)} of its files or folders",
            f"Run: chmod -R go= '{folder}'",
        )  # fmt: skip
    return Finding("permissions", True, "readable by its owner only")


def _room(folder: Path) -> Finding:
    free = shutil.disk_usage(folder).free
    says = f"{free / 1e9:.1f} GB free"
    if free < LEAST_FREE_BYTES:
        return Finding("disk", False, says, "Free some room before class: on a full disk nothing more is taken.")
    return Finding("disk", True, says)


def _left_over(folder: Path, now: datetime) -> Finding:
    left = [
        path.relative_to(folder) for path in sorted(folder.rglob("*.part"))
        if datetime.fromtimestamp(path.lstat().st_mtime, UTC) < now - LEFT_AFTER
    ]  # fmt: skip
    if left:
        names = ", ".join(map(str, left[:5])) + (" …" if len(left) > 5 else "")
        return Finding(
            "left over", False, f"begun over a day ago and never finished: {names}",
            "Something was stopped while it wrote. Nothing needs these files: delete them.",
        )  # fmt: skip
    return Finding("left over", True, "nothing unfinished lies about")


def _port(port: int) -> Finding:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as trouble:
            return Finding(
                "port", False, f"{port} cannot be used: {trouble.strerror}",
                "If Hushpoint runs already, all is well with it; else serve with --port and another number.",
            )  # fmt: skip
    return Finding("port", True, f"{port} is free")


def _clock(now: datetime) -> Finding:
    if now < EARLIEST:
        return Finding("clock", False, f"this machine says it is {now:%Y-%m-%d}", "Set date and time.")
    return Finding("clock", True, f"{now:%Y-%m-%d %H:%M} UTC")


def _ledger(folder: Path, database: str | None, now: datetime, passphrase_file: Path | None) -> Iterator[Finding]:
    place = "the database" if database else FILE_NAME
    try:
        version = version_of(folder, database)
        if version == "none":
            yield Finding(
                "ledger", False, f"no ledger is in {place}", "Start hushpoint serve once, or restore a backup."
            )
            return
        if version == "newer":
            yield Finding("ledger", False, "is of a newer Hushpoint", "Use the newer Hushpoint; this one refuses it.")
            return
        if version == "older":
            yield Finding(
                "ledger", True, "is of an older Hushpoint; not looked into further",
                "The next serve copies and then migrates it. Make a backup with the older version first.",
            )  # fmt: skip
            return
        ledger = open_ledger(folder, database, create=False)
    except LedgerError as refusal:
        does = "Start PostgreSQL, or mend the URL." if database else "Restore the newest backup into a new folder."
        yield Finding("ledger", False, str(refusal), does)
        return
    try:
        yield _names(ledger, folder, passphrase_file)
        yield _backup(ledger, now)
        yield from _inside(ledger, folder, now)
    except HushpointError as refusal:
        yield Finding("ledger", False, str(refusal), "Restore the newest backup into a new folder; keep this one.")
    finally:
        ledger.close()


def _certificate(path: Path, now: datetime, *, own: bool) -> Finding:
    from cryptography import x509

    try:
        ends = x509.load_pem_x509_certificate(path.read_bytes()).not_valid_after_utc
    except (OSError, ValueError):
        return Finding("certificate", False, f"{path} cannot be read as one in PEM", "Name the certificate's file.")
    days = (ends - now).days
    if days < CERTIFICATE_DAYS:
        does = "Start serve --own-certificate again in its last week: it makes a new one." if own else "Renew it now."
        says = f"{path.name} ended on {ends:%Y-%m-%d}" if days < 0 else f"{path.name} ends on {ends:%Y-%m-%d}"
        return Finding("certificate", False, f"{says}: then no phone comes in", does)
    return Finding("certificate", True, f"{path.name} is good until {ends:%Y-%m-%d}")


def _backup(ledger: SqlLedger, now: datetime) -> Finding:
    state = state_of(ledger)
    if state is None:
        return Finding("backup", True, "none is made by itself; serve --backup-to FOLDER does so")
    trouble = state.trouble(now)
    if trouble:
        return Finding(
            "backup",
            False,
            trouble,
            f"Look at {state.folder}: is it there, has it room, does serve run with --backup-to?",
        )
    return Finding("backup", True, f"the last good one is of {state.good_at[:16].replace('T', ' ')} UTC")


def _names(ledger: SqlLedger, folder: Path, passphrase_file: Path | None) -> Finding:
    if not ledger.names_encrypted:
        return Finding("names", True, "are not encrypted; hushpoint encrypt turns that on")
    left = list(copies_in_the_open(folder))
    if left:
        return Finding(
            "names", False, f"are encrypted, but {len(left)} copies from before lie beside the ledger in the open",
            f"Delete {', '.join(path.name for path in left)} once the ledger is known to be well.",
        )  # fmt: skip
    if passphrase_file is None:
        return Finding(
            "names", False, "are encrypted, and no passphrase was named: serve is refused like this",
            "Name it with --passphrase-file, here and there; without it, serve --codes-only goes on with codes.",
        )  # fmt: skip
    try:
        ledger.open_names(passphrase_in(passphrase_file))
    except LedgerError as refusal:
        return Finding(
            "names", False, str(refusal), "Find the right passphrase; without it, hushpoint serve --codes-only goes on."
        )
    return Finding("names", True, "are encrypted, and this passphrase opens them")


def _inside(ledger: SqlLedger, folder: Path, now: datetime) -> Iterator[Finding]:
    found, last = ledger.verify(), ledger.last()
    if found.first_altered is None:
        yield Finding("journal", True, f"whole: {last} rows, {found.erased} erased on request")
    else:
        yield Finding(
            "journal", False, f"row {found.first_altered} is altered: {found.reason}",
            "Keep this folder as it is, and restore the newest backup into a new one.",
        )  # fmt: skip
    if found.set_back:
        rows = ", ".join(map(str, found.set_back[:5])) + (" …" if len(found.set_back) > 5 else "")
        says = f"the clock was set back before row {rows}: times jump there, the order of the rows is whole"
        yield Finding("times", True, says)
    newest = next(iter(ledger.rows(after=last - 1)), None)
    if newest is not None and datetime.fromisoformat(newest.at) > now + AHEAD:
        yield Finding("rows", False, "the newest row is later than this machine's clock", "Set date and time.")
    if access.has_password(ledger):
        yield Finding("password", True, "the lecturer's is set")
    else:
        yield Finding(
            "password", False, "the lecturer has none yet", "Set it on the laptop itself, at /class, before class."
        )
    files = recordings.RecordingFiles(folder)
    kept, gone = recordings.all_kept(ledger), 0
    for held in kept:
        try:
            files.path(held)
        except HushpointError:
            gone += 1
    if gone:
        yield Finding(
            "recordings", False, f"{gone} of {len(kept)} kept recordings are gone or not as they were kept",
            "Copy the folder recordings from a backup.",
        )  # fmt: skip
    else:
        yield Finding("recordings", True, f"{len(kept)} kept, all there")
