"""Wrong passwords cost time, address by address: a guesser waits, the lecturer is never locked out elsewhere."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from starlette.exceptions import HTTPException

FREE = 3
"""So many wrong guesses cost nothing."""
GUESS_S = 1.0
"""Each further one costs this much more, up to MOST_S."""
MOST_S = 4.0
FORGET_S = 60.0
MOST_WAITING = 4
MOST_ADDRESSES = 1000
MOST_AT_ONCE = 2
"""Passwords compared at the same moment: each comparison takes 64 MB."""


@dataclass(slots=True)
class _Address:
    wrong: int = 0
    last_s: float = 0.0
    waiting: int = 0
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)


class Guesses:
    """One guess at a time from an address, so that many at once gain nothing."""

    def __init__(self) -> None:
        self._addresses: dict[str, _Address] = {}
        self._comparing = asyncio.Semaphore(MOST_AT_ONCE)

    @asynccontextmanager
    async def turn(self, address: str) -> AsyncIterator[None]:
        """Wait for one's turn; raises HTTPException 429 where too many wait already."""
        if len(self._addresses) > MOST_ADDRESSES:
            self._addresses = {key: one for key, one in self._addresses.items() if one.waiting}
        one = self._addresses.setdefault(address, _Address())
        if one.waiting >= MOST_WAITING:
            raise HTTPException(
                429,
                "Too many sign-ins at once from this device. Wait a few seconds, then try again.",
                {"Retry-After": str(int(MOST_S))},
            )
        one.waiting += 1
        try:
            async with one.lock:
                if time.monotonic() - one.last_s > FORGET_S:
                    one.wrong = 0
                await asyncio.sleep(max(0.0, min(MOST_S, GUESS_S * (one.wrong + 1 - FREE))))
                async with self._comparing:
                    yield
        finally:
            one.waiting -= 1

    def tell(self, address: str, *, right: bool) -> None:
        """Count a wrong guess; a right one clears the count."""
        one = self._addresses.setdefault(address, _Address())
        one.wrong, one.last_s = (0 if right else one.wrong + 1), time.monotonic()
