"""Turns within one process: whoever looks first and stores then has to be alone for that long."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

_TURNS: dict[str, threading.Lock] = {}


@contextmanager
def turn_here(what: str) -> Iterator[None]:
    """Hold a named turn in this process, over whichever ledger: two may be open on one file."""
    with _TURNS.setdefault(what, threading.Lock()):
        yield
