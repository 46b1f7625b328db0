"""Storing an act exactly once, whoever sends it again."""

from __future__ import annotations

from hushpoint.ledger.records import AlreadyStoredError, Entry, Ledger, Row


def append_once(ledger: Ledger, entry: Entry) -> tuple[Row, bool]:
    """Store an entry, or return the one that is stored already, and whether it was."""
    try:
        return ledger.append(entry)[0], False
    except AlreadyStoredError as stored:
        return stored.row, True
