"""What is folded from a class's journal once and then kept up to date: a term's logs are slow to read."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from typing import Generic, Protocol, Self, TypeVar

from hushpoint.desk.classes import ON_THE_BOARD, board_rows
from hushpoint.ledger.records import Kind, Ledger, Row


class Folded(Protocol):
    """A state that rows are folded into."""

    def take(self, rows: Iterable[Row]) -> None:
        """Fold further rows, in order."""

    def copy(self) -> Self:
        """Return a state that is not changed when this one is brought up to date."""
        ...


State = TypeVar("State", bound=Folded)


class Kept(Generic[State]):
    """Gives a class's state as it stands; safe from several threads."""

    def __init__(self, ledger: Ledger, new: Callable[[], State], kinds: Iterable[Kind] = ON_THE_BOARD) -> None:
        self._ledger = ledger
        self._new = new
        self._kinds = tuple(kinds)
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[State, int]] = {}

    def now(self, code: str) -> State:
        """Return a class's state as of this moment, the caller's own."""
        with self._lock:
            # taken out until it is whole again: a reading that breaks off half way is begun anew
            state, seen = self._kept.pop(code, (self._new(), 0))
            up_to = self._ledger.last()
            if up_to > seen:
                state.take(board_rows(self._ledger, code, seen, up_to, self._kinds))
            self._kept[code] = (state, up_to)
            return state.copy()
