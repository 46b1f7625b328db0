"""The boards of the classes, folded from the journal once and then kept up to date: a term's logs are slow to read."""

from __future__ import annotations

import threading

from hushpoint.desk.classes import Board, board_rows
from hushpoint.ledger.records import Ledger


class Boards:
    """Gives a class's board as it stands; safe from several threads."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[Board, int]] = {}

    def now(self, code: str) -> Board:
        """Return a class's board as of this moment, the caller's own."""
        with self._lock:
            # taken out until it is whole again: a reading that breaks off half way is begun anew
            board, seen = self._kept.pop(code, (Board(), 0))
            up_to = self._ledger.last()
            board.take(board_rows(self._ledger, code, seen, up_to))
            self._kept[code] = (board, up_to)
            return board.copy()
