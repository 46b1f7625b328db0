"""`hushpoint encrypt`, and the passphrase of encrypted names wherever a command needs it."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import typer

from hushpoint.cli.keep import DEFAULT_DATA
from hushpoint.cli.told import note
from hushpoint.ledger.records import LedgerError
from hushpoint.ledger.sealed_file import checked_passphrase, passphrase_in
from hushpoint.ledger.store import open_ledger

LOST = "A lost passphrase is lost: nobody can read the names again. Readings, codes and verdicts stay."


def encrypt_names(
    *, data: Path | None, database: str | None, passphrase_file: Path | None, new_file: Path | None, lost: bool
) -> None:
    """Turn encryption of names on, change its passphrase, or begin anew after it was lost; raises LedgerError."""
    if lost and new_file:
        raise LedgerError("--lost: goes with --passphrase-file, the new one; the old one is not asked for")
    folder = data or DEFAULT_DATA
    passphrase = passphrase_in(passphrase_file) if passphrase_file else asked("Passphrase of the names", twice=True)
    new = passphrase_in(new_file) if new_file else None
    ledger = open_ledger(folder, database, create=False)
    try:
        if lost:
            ledger.give_up_names(passphrase)
            _say("earlier names and notes stay unreadable; new ones are encrypted under the new passphrase")
        elif new is not None:
            ledger.open_names(passphrase)
            ledger.change_passphrase(new)
            _say(f"the new passphrase opens the names; the old one does so in earlier backups alone. {LOST}")
        else:
            count = ledger.encrypt_names(passphrase)
            alone = ledger.scrub()
            _say(f"names and notes are encrypted from now on, and those of {count} earlier rows. {LOST}")
            if not alone:
                _say("another program holds the ledger open: stop the server, then run this again to clear its files")
            for path in copies_in_the_open(folder):
                _say(f"{path}: holds names in the open, as backups from before do; delete it")
    finally:
        ledger.close()


def names_passphrase(folder: Path, database: str | None, file: Path | None, *, codes_only: bool) -> str | None:
    """Return the passphrase to serve with, None where none is needed; raises LedgerError, one line.

    Where a file names one and names are not encrypted yet, they are from here on.
    """
    if codes_only and file:
        raise LedgerError("--codes-only: goes without --passphrase-file")
    passphrase = passphrase_in(file) if file else None
    ledger = open_ledger(folder, database)
    try:
        if passphrase is None:
            if codes_only or not ledger.names_encrypted:
                return None
            if not sys.stdin.isatty():
                raise LedgerError(
                    "names are encrypted in this ledger: start with --passphrase-file, or with --codes-only to go on "
                    "with codes in the place of names"
                )
            passphrase = asked("Passphrase of the names", twice=False)
        if ledger.names_encrypted:
            ledger.open_names(passphrase)
        else:
            count = ledger.encrypt_names(passphrase)
            ledger.scrub()
            _say(f"names and notes are encrypted from now on, and those of {count} earlier rows. {LOST}")
    finally:
        ledger.close()
    return passphrase


def asked(words: str, *, twice: bool) -> str:
    """Return a passphrase typed at the screen; raises LedgerError where nobody sits there, or for its length."""
    if sys.stdin.isatty():
        return checked_passphrase(
            str(typer.prompt(words, hide_input=True, confirmation_prompt=twice, err=True)), "the passphrase"
        )
    raise LedgerError("name the file of the passphrase with --passphrase-file")


def copies_in_the_open(folder: Path) -> Iterator[Path]:
    """Yield what migrations left beside the ledger: copies of it as it was."""
    yield from sorted((*folder.glob("*.before-*"), *folder.glob("before-*.hushpoint.gz")))


def _say(line: str) -> None:
    note(line)
