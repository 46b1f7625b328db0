"""An event loop in a thread of its own: a worker that drives browsers too has one running in its main thread."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")


def in_own_loop(act: Callable[[], Coroutine[Any, Any, T]]) -> T:
    """Run a coroutine function to its end and return what it returns, whatever runs in this thread."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(lambda: asyncio.run(act())).result()
