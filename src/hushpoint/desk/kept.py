"""What is folded from a class's journal once and then kept up to date: a term's logs are slow to read."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable
from typing import Generic, Protocol, Self, TypeVar

from hushpoint.ledger.records import Ledger, Row

MOST_KEPT = 24
"""So many classes are held at the same time, the one not looked at for longest goes first (design choice)."""


class Folded(Protocol):
    """A state that rows are folded into."""

    def take(self, rows: Iterable[Row]) -> None:
        """Fold further rows, in order."""

    def copy(self) -> Self:
        """Return a state that is not changed when this one is brought up to date."""
        ...


State = TypeVar("State", bound=Folded)
Read = Callable[[Ledger, str, int, int], Iterable[Row]]
"""Gives a class's rows after one number up to another."""


class Kept(Generic[State]):
    """Gives a class's state as it stands; safe from several threads, and in each of several processes."""

    def __init__(self, ledger: Ledger, new: Callable[[], State], read: Read, most: int = MOST_KEPT) -> None:
        self._ledger = ledger
        self._new = new
        self._read = read
        self._most = most
        self._lock = threading.Lock()
        self._kept: OrderedDict[str, tuple[State, int]] = OrderedDict()
        self._turns: dict[str, threading.Lock] = {}

    def at_hand(self, code: str) -> State | None:
        """Return a class's state as of this moment where it is held; None where all its rows would have to be read."""
        with self._lock:
            held = code in self._kept
        return self.now(code) if held else None

    def now(self, code: str) -> State:
        """Return a class's state as of this moment, the caller's own."""
        with self._lock:
            turn = self._turns.setdefault(code, threading.Lock())
        with turn:  # one class's first reading keeps no other waiting
            with self._lock:
                # taken out until it is whole again: a reading that breaks off half way is begun anew
                state, seen = self._kept.pop(code, (None, 0))
            state = self._new() if state is None else state
            up_to = self._ledger.last()
            if up_to > seen:
                state.take(self._read(self._ledger, code, seen, up_to))
            with self._lock:
                self._kept[code] = (state, up_to)
                if len(self._kept) > self._most:
                    self._kept.popitem(last=False)
            return state.copy()
