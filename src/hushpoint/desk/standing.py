"""Rows that stand: what was taken back stays in the journal, and every page passes it over."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from hushpoint.ledger.records import Kind, Ledger, Row


def taken_back(ledger: Ledger) -> frozenset[int]:
    """Return the numbers of the rows that were taken back."""
    rows = ledger.rows(kinds=[Kind.ACT_UNDONE])
    return frozenset(seq for row in rows if row.body is not None for seq in row.body["rows"])


def standing(
    ledger: Ledger, kinds: Iterable[Kind], *, room: str | None = None, who: str | None = None, after: int = 0
) -> Iterator[Row]:
    """Yield the rows of these kinds that were not taken back, in order."""
    gone = taken_back(ledger)
    return (row for row in ledger.rows(kinds=kinds, room=room, who=who, after=after) if row.seq not in gone)
