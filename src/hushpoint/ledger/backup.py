"""One portable file for everything in a ledger: gzip of JSON lines, checked before a row of it is believed.

Line 1 is a header, then one line a row, then the files of kept recordings in pieces, then a foot with the digest of all
lines before it. It goes from SQLite to
PostgreSQL and back. The key that signs cookies stays behind: whoever restores signs in again.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import io
import json
import os
import re
import shutil
import zlib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from hushpoint import __version__
from hushpoint.ledger.identity import SETTING
from hushpoint.ledger.records import Kind, LedgerError, Row, Sealed, Stored
from hushpoint.ledger.sealed_file import Sealing, Unsealing, is_sealed
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.verify import verify_rows

FORMAT = "hushpoint-backup"
FORMAT_VERSION, FORMAT_WITH_FILES, FORMAT_WITHOUT_FILES = 3, 2, 1
"""3: names are encrypted. A backup is of the lowest that can hold what is in it, so that older Hushpoints read it."""
BACKUP_STATE = "backup_state"
"""The setting that says how the last scheduled backup went (`scheduled`)."""
LEFT_BEHIND = frozenset({"cookie_key", BACKUP_STATE})
LONGEST_LINE = 20_000_000
_KINDS = {str(kind): kind for kind in Kind}
_QUICK = 1
"""gzip's level: packs 22 000 rows of logs a second to 34 % of their length; level 6 packs 4 000 to 31 %."""
_PIECE = 3 << 18
_FILE = b'{"file"'
_FILE_NAME = re.compile(r"[0-9a-f]{20}\.[a-z0-9]{1,5}")


class _UnknownKindError(Exception):
    """A row is of a kind that this version does not know."""


def write_backup(
    ledger: SqlLedger, path: Path, *, passphrase: str | None = None, recordings: Path | None = None
) -> int:
    """Write everything to a new file, mode 0600, whole or not at all; return how many rows it holds.

    `recordings` is the folder of kept recordings, left out where it is None or is not there; with a passphrase the
    file is sealed.
    """
    if path.exists():
        raise LedgerError(f"{path}: is there already; name a new file")
    part = path.with_name(f".{path.name}.part")
    settings = {key: value for key, value in ledger.settings().items() if key not in LEFT_BEHIND}
    kept = _kept(recordings)
    version = FORMAT_VERSION if SETTING in settings else FORMAT_WITH_FILES if kept else FORMAT_WITHOUT_FILES
    header = {"format": FORMAT, "version": version, "hushpoint": __version__, "settings": settings}
    total, rows, count = hashlib.sha256(), 0, 0
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as raw:
            sealing = Sealing(raw, passphrase) if passphrase else None
            with gzip.GzipFile(fileobj=sealing or raw, mode="wb", compresslevel=_QUICK, mtime=0) as packed:
                for record in _lines(header, ledger.stored(), kept):
                    packed.write(record)
                    total.update(record)
                    count += 1
                    rows += record.startswith(b'{"row"')
                packed.write(_line({"rows": count - 1, "sha256": total.hexdigest()}))
            if sealing:
                sealing.finish()
            raw.flush()
            os.fsync(raw.fileno())
        part.rename(path)
        _keep_name(path.parent)
    except OSError as error:
        with suppress(OSError):
            part.unlink()
        raise LedgerError(f"{path}: cannot be written: {error.strerror}") from error
    return rows


def read_backup(path: Path, *, passphrase: str | None = None) -> tuple[list[Stored], dict[str, str]]:
    """Read and check a small backup; raises LedgerError in one line for anything but a whole, unaltered one."""
    settings = check_backup(path, passphrase=passphrase)
    return list(_rows(path, passphrase, {})), settings


def check_backup(path: Path, *, passphrase: str | None = None) -> dict[str, str]:
    """Read a backup through, row by row, and return its settings; raises LedgerError unless it is whole, unaltered."""
    settings: dict[str, str] = {}
    found = verify_rows(_rows(path, passphrase, settings))
    if found.first_altered is not None:
        raise LedgerError(f"{path}: row {found.first_altered} is altered: {found.reason}")
    return settings


def _rows(path: Path, passphrase: str | None, settings: dict[str, str]) -> Iterator[Stored]:
    """Yield a backup's rows, `settings` filled before the first; raises LedgerError at the end unless it is whole."""
    total, count = hashlib.sha256(), 0
    last = b""
    try:
        for line in _read_lines(path, passphrase):
            if count:
                total.update(last)
            else:
                settings |= _settings(path, json.loads(line))
            if count > 1 and not last.startswith(_FILE):
                yield _stored(json.loads(last))
            last = line
            count += 1
        foot = json.loads(last)
        if foot["sha256"] != total.hexdigest() or foot["rows"] != count - 2:
            raise LedgerError(f"{path}: its digest does not fit: the file was altered or cut short")
    except _UnknownKindError as unknown:
        raise LedgerError(f"{path}: holds rows of kind {unknown}: it needs a newer Hushpoint than this one") from None
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError, OverflowError) as error:
        raise LedgerError(f"{path}: is no Hushpoint backup") from error


def _settings(path: Path, header: dict[str, Any]) -> dict[str, str]:
    if header["format"] != FORMAT:
        raise KeyError("format")
    version = int(header["version"])
    if version > FORMAT_VERSION:
        raise LedgerError(f"{path}: is of format {version}, newer than this Hushpoint reads ({FORMAT_VERSION})")
    return {str(key): str(value) for key, value in header["settings"].items()}


def restore_backup(
    ledger: SqlLedger, path: Path, *, passphrase: str | None = None, recordings: Path | None = None
) -> int:
    """Bring a backup into an empty ledger, all or nothing; return how many rows came.

    Its digest is checked while it is read and every row once they are in, in one transaction; `check_backup` refuses a
    bad one before a ledger is made. Files of recordings are unpacked beside their place first, and moved there once the
    rows are in.
    """
    if ledger.last():
        raise LedgerError("the ledger is not empty: restore into an empty one")
    settings: dict[str, str] = {}
    rows = _rows(path, passphrase, settings)
    if recordings is None:
        return ledger.bring_in(rows, settings)
    beside = recordings.with_name(f".{recordings.name}.part")
    try:
        shutil.rmtree(beside, ignore_errors=True)
        for line in _read_lines(path, passphrase):
            if line.startswith(_FILE):
                _unpack(beside, json.loads(line))
        count = ledger.bring_in(rows, settings)
        if beside.is_dir():
            recordings.mkdir(parents=True, exist_ok=True, mode=0o700)
            for file in beside.iterdir():
                file.replace(recordings / file.name)
            beside.rmdir()
    except (OSError, ValueError, LookupError, TypeError) as error:
        shutil.rmtree(beside, ignore_errors=True)
        said = getattr(error, "strerror", None) or "the backup holds a file that is none of ours"
        raise LedgerError(f"{recordings}: cannot be written: {said}") from error
    except LedgerError:
        shutil.rmtree(beside, ignore_errors=True)
        raise
    return count


def _read_lines(path: Path, passphrase: str | None) -> Iterator[bytes]:
    """Yield a backup's lines, unsealed and unpacked."""
    try:
        if is_sealed(path):
            if passphrase is None:
                raise LedgerError(f"{path}: is encrypted; name the file of its passphrase with --passphrase-file")
            unsealed = io.BufferedReader(Unsealing(path, passphrase), 1 << 16)
            with unsealed, gzip.GzipFile(fileobj=unsealed) as packed:
                yield from iter(lambda: packed.readline(LONGEST_LINE), b"")
        else:
            with gzip.open(path, "rb") as packed:
                yield from iter(lambda: packed.readline(LONGEST_LINE), b"")
    except (OSError, EOFError, zlib.error) as error:
        said = getattr(error, "strerror", None) or "it is cut short or no backup"
        raise LedgerError(f"{path}: cannot be read: {said}") from error


def _kept(recordings: Path | None) -> list[Path]:
    if recordings is None or not recordings.is_dir():
        return []
    return sorted(one for one in recordings.iterdir() if one.is_file() and _FILE_NAME.fullmatch(one.name))


def _unpack(folder: Path, piece: dict[str, str]) -> None:
    """Add one piece to its file."""
    if not _FILE_NAME.fullmatch(piece["file"]):
        raise ValueError("file")
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    handle = os.open(folder / piece["file"], os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    with os.fdopen(handle, "ab") as file:
        file.write(base64.b64decode(piece["data"], validate=True))


def _keep_name(folder: Path) -> None:
    """Make the file's new name in its folder last through a loss of power too."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _lines(header: dict[str, Any], rows: Iterator[Stored], kept: list[Path]) -> Iterator[bytes]:
    yield _line(header)
    for stored in rows:
        row = stored.row
        yield _line(
            {
                "row": [row.seq, row.at, str(row.kind), row.version, row.room, row.who, row.ref, row.digest, row.chain],
                "payload": _payload(stored),
            }
        )
    for path in kept:
        with suppress(FileNotFoundError), path.open("rb") as file:  # erased since the list was made
            while piece := file.read(_PIECE):
                yield _line({"file": path.name, "data": base64.b64encode(piece).decode()})


def _line(record: dict[str, Any]) -> bytes:
    return json.dumps(record, ensure_ascii=True, separators=(",", ":")).encode() + b"\n"


def _payload(stored: Stored) -> list[str | None] | None:
    if stored.sealed is not None:
        return ["", stored.sealed.text, stored.sealed.secret]
    return None if stored.text is None else [stored.salt, stored.text]


def _stored(record: dict[str, Any]) -> Stored:
    """Return a row whose text is not read: digests are of the text."""
    seq, at, kind, version, room, who, ref, digest, chain = record["row"]
    salt, text, *secret = record["payload"] or (None, None)
    if kind not in _KINDS:
        raise _UnknownKindError(str(kind)[:40].encode("ascii", "replace").decode())
    row = Row(int(seq), at, _KINDS[kind], int(version), room, who, ref, None, digest, chain)
    if secret:
        return Stored(row, None, None, Sealed(str(text), str(secret[0])))
    return Stored(row, salt, text)
