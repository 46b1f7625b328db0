"""One portable file for everything in a ledger: gzip of JSON lines, checked before a row of it is believed.

Line 1 is a header, then one line a row, then a foot with the digest of all lines before it. It goes from SQLite to
PostgreSQL and back. The key that signs cookies stays behind: whoever restores signs in again.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import os
import zlib
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from hushpoint import __version__
from hushpoint.ledger.records import Kind, LedgerError, Row, Stored
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.verify import verify_rows

FORMAT = "hushpoint-backup"
FORMAT_VERSION = 1
LEFT_BEHIND = frozenset({"cookie_key"})
LONGEST_LINE = 20_000_000


def write_backup(ledger: SqlLedger, path: Path) -> int:
    """Write everything to a new file, mode 0600, whole or not at all; return how many rows it holds."""
    if path.exists():
        raise LedgerError(f"{path}: is there already; name a new file")
    part = path.with_name(f".{path.name}.part")
    settings = {key: value for key, value in ledger.settings().items() if key not in LEFT_BEHIND}
    header = {"format": FORMAT, "version": FORMAT_VERSION, "hushpoint": __version__, "settings": settings}
    total, count = hashlib.sha256(), 0
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as raw:
            with gzip.GzipFile(fileobj=raw, mode="wb", mtime=0) as packed:
                for record in _lines(header, ledger.stored()):
                    packed.write(record)
                    total.update(record)
                    count += 1
                packed.write(_line({"rows": count - 1, "sha256": total.hexdigest()}))
            raw.flush()
            os.fsync(raw.fileno())
        part.rename(path)
        _keep_name(path.parent)
    except OSError as error:
        with suppress(OSError):
            part.unlink()
        raise LedgerError(f"{path}: cannot be written: {error.strerror}") from error
    return count - 1


def read_backup(path: Path) -> tuple[list[Stored], dict[str, str]]:
    """Read and check a backup; raises LedgerError in one line for anything but a whole, unaltered one."""
    total = hashlib.sha256()
    lines: list[bytes] = []
    try:
        with gzip.open(path, "rb") as packed:
            while line := packed.readline(LONGEST_LINE):
                lines.append(line)
    except (OSError, EOFError, zlib.error) as error:
        said = getattr(error, "strerror", None) or "it is cut short or no backup"
        raise LedgerError(f"{path}: cannot be read: {said}") from error
    try:
        for line in lines[:-1]:
            total.update(line)
        header, foot = json.loads(lines[0]), json.loads(lines[-1])
        if header["format"] != FORMAT:
            raise KeyError("format")
        version = int(header["version"])
        if version > FORMAT_VERSION:
            raise LedgerError(f"{path}: is of format {version}, newer than this Hushpoint reads ({FORMAT_VERSION})")
        if foot["sha256"] != total.hexdigest() or foot["rows"] != len(lines) - 2:
            raise LedgerError(f"{path}: its digest does not fit: the file was altered or cut short")
        rows = [_stored(json.loads(line)) for line in lines[1:-1]]
        settings = {str(key): str(value) for key, value in header["settings"].items()}
        found = verify_rows(rows)
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError, OverflowError) as error:
        raise LedgerError(f"{path}: is no Hushpoint backup") from error
    if found.first_altered is not None:
        raise LedgerError(f"{path}: row {found.first_altered} is altered: {found.reason}")
    return rows, settings


def restore_backup(ledger: SqlLedger, path: Path) -> int:
    """Bring a backup into an empty ledger, all or nothing; return how many rows came."""
    rows, settings = read_backup(path)
    return ledger.bring_in(rows, settings)


def _keep_name(folder: Path) -> None:
    """Make the file's new name in its folder last through a loss of power too."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _lines(header: dict[str, Any], rows: Iterator[Stored]) -> Iterator[bytes]:
    yield _line(header)
    for stored in rows:
        row = stored.row
        yield _line(
            {
                "row": [row.seq, row.at, str(row.kind), row.version, row.room, row.who, row.ref, row.digest, row.chain],
                "payload": None if stored.text is None else [stored.salt, stored.text],
            }
        )


def _line(record: dict[str, Any]) -> bytes:
    return json.dumps(record, ensure_ascii=True, separators=(",", ":")).encode() + b"\n"


def _stored(record: dict[str, Any]) -> Stored:
    seq, at, kind, version, room, who, ref, digest, chain = record["row"]
    salt, text = record["payload"] or (None, None)
    body = None if text is None else json.loads(text)
    return Stored(Row(int(seq), at, Kind(kind), int(version), room, who, ref, body, digest, chain), salt, text)
