"""The ledger in memory: for tests and for trying things out. Gone when the process ends."""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from itertools import islice

from hushpoint.ledger.chain import ERASED, GENESIS, check_person, entry_text, seal
from hushpoint.ledger.records import (
    AlreadyStoredError,
    Clock,
    Entry,
    ErasedPersonError,
    Head,
    Kind,
    Row,
    Stored,
    Verification,
    is_about,
    utc_now,
)
from hushpoint.ledger.turns import turn_here
from hushpoint.ledger.verify import erasure_entry, verify_rows


class MemoryLedger:
    """Keeps the ledger's contract in plain lists behind one lock."""

    def __init__(self, clock: Clock = utc_now) -> None:
        self._clock = clock
        self._lock = threading.RLock()
        self._grown = threading.Condition(self._lock)
        self._rows: list[Stored] = []
        self._refs: dict[tuple[str, str], int] = {}
        self._settings: dict[str, str] = {}
        self._erased: set[str] = set()

    def append(self, *entries: Entry) -> list[Row]:
        """Store all entries or none; see `Ledger.append`."""
        texts = [entry_text(entry) for entry in entries]
        with self._lock:
            if any(entry.who in self._erased for entry in entries):
                raise ErasedPersonError(ERASED)
            fresh: dict[tuple[str, str], int] = {}
            stored: list[Stored] = []
            at = self._clock()
            before = self._rows[-1].row.chain if self._rows else GENESIS
            for seq, (entry, text) in enumerate(zip(entries, texts, strict=True), len(self._rows) + 1):
                if entry.ref is not None:
                    key = (str(entry.kind), entry.ref)
                    found = self._refs.get(key)
                    if found is not None:
                        raise AlreadyStoredError(self._rows[found - 1].row)
                    if key in fresh:
                        raise AlreadyStoredError(stored[fresh[key] - len(self._rows) - 1].row)
                    fresh[key] = seq
                stored.append(seal(entry, text, seq, at, before))
                before = stored[-1].row.chain
            self._rows += stored
            self._refs |= fresh
            self._grown.notify_all()
            return [one.row for one in stored]

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
        with self._lock:
            found = [
                one.row
                for one in self._rows[after:]
                if (wanted is None or one.row.kind in wanted)
                and (room is None or one.row.room == room)
                and (who is None or one.row.who == who)
                and (ref is None or one.row.ref == ref)
            ]
        yield from found[:limit]

    def last(self) -> int:
        """Return the newest seq."""
        return len(self._rows)

    def newer(self, after: int, wait_s: float) -> int:
        """Wait for a row; see `Ledger.newer`."""
        with self._grown:
            self._grown.wait_for(lambda: len(self._rows) > after, wait_s)
            return len(self._rows)

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
        """Hold a named turn; see `Ledger.turn`."""
        return turn_here(what)

    def kept(self, seqs: Iterable[int], *, read: bool = True) -> list[Stored]:
        """Return these rows with salt and text; see `Ledger.kept`."""
        with self._lock:
            return [self._rows[seq - 1] for seq in sorted(set(seqs)) if 1 <= seq <= len(self._rows)]

    def erase(self, who: str, *, why: str) -> int:
        """Erase a person's payloads; see `Ledger.erase`."""
        check_person(who)
        with self._lock:
            seqs = [
                one.row.seq
                for one in self._rows
                if one.row.who == who and one.row.kind != Kind.PERSON_ERASED and one.row.body is not None
            ]
            if not seqs:
                return 0
            self.append(erasure_entry(who, seqs, why))
            self._erased.add(who)
            for seq in seqs:
                one = self._rows[seq - 1]
                self._rows[seq - 1] = Stored(replace(one.row, body=None), None, None)
            return len(seqs)

    def verify(self) -> Verification:
        """Recompute every digest and the chain."""
        with self._lock:
            return verify_rows(self.stored())

    def stored(self) -> Sequence[Stored]:
        """Return every row with its salt and text, in order of seq: for verify and backup."""
        with self._lock:
            return list(self._rows)

    def setting(self, key: str) -> str | None:
        """Return a named text, None where unset."""
        return self._settings.get(key)

    def set_setting(self, key: str, value: str) -> None:
        """Set a named text."""
        self._settings[key] = value

    def keep_setting(self, key: str, value: str) -> str:
        """Set a named text unless it is set already; return what stands."""
        with self._lock:
            return self._settings.setdefault(key, value)

    def close(self) -> None:
        """Nothing to let go of."""
