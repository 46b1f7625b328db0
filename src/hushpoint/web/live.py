"""News of the journal for open streams: one look a process, however many streams, and each woken for its own rows."""

from __future__ import annotations

import asyncio
import logging
import threading
import time
from collections.abc import AsyncIterator, Callable, Collection
from dataclasses import dataclass, field
from typing import TypeVar

import anyio
from starlette.requests import Request

from hushpoint.ledger.records import Head, Kind, Ledger, LedgerError
from hushpoint.web.context import off_loop, role_of

WAIT_S = 2.0
"""However quiet the database is, the journal is looked at this often: news that was lost costs so much time [s]."""
AGAIN_S = 0.5
"""How soon a database that does not answer is asked again [s]."""
PACE_S = 0.25
"""A stream is told at most this often: a class that files at once redraws a board four times a second [s]."""
STILL_IN_S = 2.0
"""How often an open stream looks whether its session has ended [s]."""
BATCH = 5000
_log = logging.getLogger("hushpoint")

Answer = TypeVar("Answer")


@dataclass(eq=False, slots=True)
class _Stream:
    """An open stream: what concerns it, and how it is woken."""

    room: str
    kinds: Collection[Kind]
    loop: asyncio.AbstractEventLoop
    woken: asyncio.Event = field(default_factory=asyncio.Event)

    def concerns(self, head: Head) -> bool:
        """Tell whether a row is of its class and of a kind it shows; an erasure of a person may be of any class."""
        return head.kind is Kind.PERSON_ERASED or (head.room == self.room and head.kind in self.kinds)


class News:
    """Looks for new rows while any stream is open, in a thread of its own, and wakes the streams they concern.

    A row is found by its number, so none is missed: not one stored by another process, nor one stored while the
    database could not be reached.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._lock = threading.Lock()
        self._streams: set[_Stream] = set()
        self._looking = False

    @property
    def open(self) -> int:
        """How many streams are open."""
        return len(self._streams)

    async def changes(
        self, request: Request, look: Callable[[], Answer], *, room: str, kinds: Collection[Kind]
    ) -> AsyncIterator[Answer]:
        """Yield what `look` finds, at once and whenever a class got rows of these kinds, until the session ends.

        `look` runs in a thread. While the store cannot be used the stream stays open, and goes on when it can.
        """
        role, looked = await off_loop(lambda: role_of(request)), time.monotonic()
        mine = _Stream(room, kinds, asyncio.get_running_loop())
        mine.woken.set()
        self._begin(mine)
        try:
            while True:
                if mine.woken.is_set():
                    mine.woken.clear()
                    try:
                        found = await off_loop(look)
                    except LedgerError:
                        mine.woken.set()
                    else:
                        yield found
                    await anyio.sleep(PACE_S)
                if role and time.monotonic() - looked >= STILL_IN_S:
                    if await _role_now(request, role) != role:
                        return
                    looked = time.monotonic()
                await _woken(mine)
        finally:
            with self._lock:
                self._streams.discard(mine)

    def _begin(self, stream: _Stream) -> None:
        with self._lock:
            self._streams.add(stream)
            if not self._looking:
                self._looking = True
                threading.Thread(target=self._look, name="news", daemon=True).start()

    def _look(self) -> None:
        seen, well = -1, True
        while True:
            with self._lock:
                if not self._streams:
                    self._looking = False
                    return
            try:
                if seen < 0:  # what was stored before this look began, after a stream first drew
                    seen = self._ledger.last()
                    self._wake(None)
                else:
                    seen = self._read_on(seen)
                well = True
            except LedgerError as trouble:
                if well:
                    _log.error("news of the journal has to wait: %s", trouble)
                well = False
                time.sleep(AGAIN_S)

    def _read_on(self, seen: int) -> int:
        newest = self._ledger.newer(seen, WAIT_S)
        while seen < newest:
            heads = self._ledger.heads(after=seen, limit=BATCH)
            if not heads:
                break
            self._wake(heads)
            seen = heads[-1].seq
        return seen

    def _wake(self, heads: list[Head] | None) -> None:
        """Wake the streams that these rows concern; all of them for None."""
        with self._lock:
            streams = list(self._streams)
        for stream in streams:
            if heads is None or any(map(stream.concerns, heads)):
                try:
                    stream.loop.call_soon_threadsafe(stream.woken.set)
                except RuntimeError:  # its loop has ended, and it with it
                    with self._lock:
                        self._streams.discard(stream)


def news_of(request: Request) -> News:
    """Return the app's news."""
    news: News = request.app.state.news
    return news


async def _woken(stream: _Stream) -> None:
    """Wait until a stream is woken, at most until its session is to be looked at."""
    with anyio.move_on_after(STILL_IN_S):
        await stream.woken.wait()


async def _role_now(request: Request, otherwise: str) -> str:
    """Look at the session; while the store cannot be asked, it goes on."""
    try:
        return await off_loop(lambda: role_of(request))
    except LedgerError:
        return otherwise
