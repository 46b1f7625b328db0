"""Hearing of new rows from PostgreSQL itself, whichever process on whichever machine stored them.

Every append tells the newest row's number on one channel, as a part of its own transaction: the number arrives once the
rows can be read. Nothing depends on hearing it: whoever listens looks at the journal too, at once after each connection
and again after every wait, so that a lost connection costs time and no row.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import psycopg
import sqlalchemy as sa

CONNECT_S = 5
_ALIVE: dict[str, Any] = {"keepalives_idle": 10, "keepalives_interval": 5, "keepalives_count": 3}
"""A host that went away without a word is noticed within half a minute."""


class Listener:
    """One connection that listens, made anew when it was lost; used by one thread at a time."""

    def __init__(self, url: sa.URL, channel: str) -> None:
        self._given = url.set(drivername="postgresql").render_as_string(hide_password=False)
        self._channel = channel
        self._connection: psycopg.Connection[Any] | None = None
        self._lock = threading.Lock()
        self._closed = threading.Event()

    def wait(self, wait_s: float, enough: Callable[[], bool]) -> None:
        """Wait until a number is told; return at once where there is `enough` already, asked once it is listening.

        Raises psycopg.Error where the database cannot be reached.
        """
        with self._lock:
            if self._closed.is_set():
                return
            if self._connection is None:
                made = psycopg.connect(self._given, autocommit=True, connect_timeout=CONNECT_S, **_ALIVE)
                self._connection = made
                made.execute(f"LISTEN {self._channel}")
            if enough():
                return
            try:
                for _ in self._connection.notifies(timeout=wait_s, stop_after=1):
                    pass
            except psycopg.Error:
                self._drop()
                raise
            if self._closed.is_set():
                self._drop()

    def close(self) -> None:
        """End the connection: at once where nobody waits on it, else when that wait ends."""
        self._closed.set()
        if self._lock.acquire(blocking=False):
            try:
                self._drop()
            finally:
                self._lock.release()

    def _drop(self) -> None:
        if self._connection is not None:
            with suppress(psycopg.Error):
                self._connection.close()
            self._connection = None
