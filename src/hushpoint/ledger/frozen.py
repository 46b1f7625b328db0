"""Some rows of a journal as a ledger of their own, to be folded and never written: a bundle, or a look back."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from itertools import islice
from typing import NoReturn

from hushpoint.ledger.records import Entry, Head, Kind, LedgerError, Row, Stored, Verification, is_about


class FrozenLedger:
    """Gives the rows it was made of, in order of seq; every writing is refused."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self._rows = tuple(sorted(rows, key=lambda row: row.seq))

    def rows(
        self,
        *,
        after: int = 0,
        kinds: Iterable[Kind] | None = None,
        room: str | None = None,
        who: str | None = None,
        ref: str | None = None,
        limit: int | None = None,
    ) -> Iterator[Row]:
        """Yield rows; see `Ledger.rows`."""
        wanted = None if kinds is None else frozenset(kinds)
        found = [
            row
            for row in self._rows
            if row.seq > after
            and (wanted is None or row.kind in wanted)
            and (room is None or row.room == room)
            and (who is None or row.who == who)
            and (ref is None or row.ref == ref)
        ]
        yield from found[:limit]

    def last(self) -> int:
        """Return the newest seq held."""
        return self._rows[-1].seq if self._rows else 0

    def newer(self, after: int, wait_s: float) -> int:
        """Refuse: nothing is added."""
        self._refuse()

    def heads(
        self,
        *,
        after: int = 0,
        limit: int | None = None,
        kinds: Iterable[Kind] | None = None,
        room: str | None = None,
        who: str | None = None,
        about: Collection[str] | None = None,
    ) -> list[Head]:
        """Return heads; see `Ledger.heads`."""
        found = self.rows(after=after, kinds=kinds, room=room, who=who)
        narrowed = (row for row in found if about is None or is_about(row.ref, about))
        return [Head(row.seq, row.kind, row.room, row.ref) for row in islice(narrowed, limit)]

    def turn(self, what: str) -> AbstractContextManager[None]:
        """Refuse: nothing is stored."""
        self._refuse()

    def setting(self, key: str) -> str | None:
        """Return None: settings stay with the store."""
        return None

    def close(self) -> None:
        """Nothing to let go of."""

    def append(self, *entries: Entry) -> list[Row]:
        """Refuse."""
        self._refuse()

    def kept(self, seqs: Iterable[int], *, read: bool = True) -> list[Stored]:
        """Refuse: salts are not among what is held."""
        self._refuse()

    def erase(self, who: str, *, why: str) -> int:
        """Refuse."""
        self._refuse()

    def verify(self) -> Verification:
        """Refuse: a part of a chain is verified where it came from."""
        self._refuse()

    def set_setting(self, key: str, value: str) -> None:
        """Refuse."""
        self._refuse()

    def keep_setting(self, key: str, value: str) -> str:
        """Refuse."""
        self._refuse()

    def _refuse(self) -> NoReturn:
        raise LedgerError("this is a part of a journal, to be read alone")
