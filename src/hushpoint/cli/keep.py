"""`hushpoint verify`, `password`, `backup` and `restore`."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import typer

from hushpoint.cli.told import note, tell
from hushpoint.ledger.backup import check_backup, restore_backup, write_backup
from hushpoint.ledger.sealed_file import passphrase_in
from hushpoint.ledger.store import open_ledger

DEFAULT_DATA = Path("hushpoint-data")
INVENTED_MARK = "INVENTED"
"""The file in a data folder that says that nobody in it exists (`hushpoint demo` writes it)."""
RECORDINGS = "recordings"
"""The folder of kept recordings in the data folder (desk/recordings.py)."""


def verify_ledger(
    *, data: Path | None, database: str | None, as_json: bool, passphrase_file: Path | None = None
) -> int:
    """Print what `verify` found; return the exit status, 1 where a row was altered."""
    passphrase = passphrase_in(passphrase_file) if passphrase_file else None
    ledger = open_ledger(data or DEFAULT_DATA, database, create=False, passphrase=passphrase)
    try:
        found = ledger.verify()
        last = ledger.last()
    finally:
        ledger.close()
    whole = found.first_altered is None
    if as_json:
        tell(
            json.dumps(
                {
                    "whole": whole,
                    "rows": last,
                    "erased": found.erased,
                    "first_altered": found.first_altered,
                    "reason": found.reason,
                    "head": found.head,
                    "unopened": found.unopened,
                }
            )
        )
    elif whole:
        tell(f"whole: {last} rows, {found.erased} of them erased on request; head {found.head}")
        if found.unopened:
            tell(
                f"{found.unopened} rows hold encrypted names and were not opened: their order was checked, what they "
                "say was not; with --passphrase-file it is"
            )
    else:
        tell(f"altered: row {found.first_altered}: {found.reason}; the {found.rows} rows before it are whole")
    return 0 if whole else 1


def new_password(*, data: Path | None, database: str | None, role: str) -> None:
    """Ask for a new password, twice on a screen, once from a pipe, and set it."""
    from hushpoint.desk import access

    ledger = open_ledger(data or DEFAULT_DATA, database, create=False)
    try:
        access.has_password(ledger, role)  # an unknown role is refused before anything is asked
        if sys.stdin.isatty():
            said = typer.prompt("New password", hide_input=True, confirmation_prompt=True, err=True)
        else:
            said = sys.stdin.readline().rstrip("\r\n")
        access.change_password(ledger, said, role)
    finally:
        ledger.close()
    note(f"the {role}'s password is set; whoever was signed in as {role} is signed out")


def backup_ledger(file: Path, *, data: Path | None, database: str | None, passphrase_file: Path | None) -> None:
    """Write a backup of an existing ledger."""
    passphrase = passphrase_in(passphrase_file) if passphrase_file else None
    folder = data or DEFAULT_DATA
    ledger = open_ledger(folder, database, create=False)
    try:
        rows = write_backup(ledger, file, passphrase=passphrase, recordings=folder / RECORDINGS)
    finally:
        ledger.close()
    note(f"{rows} rows kept in {file}")


def restore_ledger(file: Path, *, data: Path | None, database: str | None, passphrase_file: Path | None) -> None:
    """Bring a backup into an empty ledger, made where it is missing."""
    passphrase = passphrase_in(passphrase_file) if passphrase_file else None
    folder = data or DEFAULT_DATA
    check_backup(file, passphrase=passphrase)  # refused before a ledger is made
    ledger = open_ledger(folder, database)
    try:
        rows = restore_backup(ledger, file, passphrase=passphrase, recordings=folder / RECORDINGS)
    finally:
        ledger.close()
    note(f"{rows} rows brought in from {file}")
