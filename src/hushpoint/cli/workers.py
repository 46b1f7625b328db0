"""Several processes behind one port: begun, watched, begun again when one is lost, and stopped together."""

from __future__ import annotations

import logging
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Sequence
from multiprocessing.connection import wait

from hushpoint.errors import HushpointError

STOP_S = 8.0
"""Longer than a worker takes to stop with streams open; one that still runs is killed [s]."""
TOO_SOON_S = 5.0
MOST_IN_A_ROW = 5
"""So many workers lost within TOO_SOON_S of their beginning, and the whole server stops."""
_log = logging.getLogger("hushpoint")


class WorkersError(HushpointError):
    """The workers do not stay up."""


def tended(acts: Sequence[Callable[[], None]]) -> None:
    """Run each act in a process of its own until this one is asked to stop.

    A worker that ends unasked is begun again; raises WorkersError where they keep ending.
    """
    fork = multiprocessing.get_context("fork")
    asked: list[int] = []
    for asking in (signal.SIGTERM, signal.SIGINT):
        signal.signal(asking, lambda number, _frame: asked.append(number))

    def begin(act: Callable[[], None]) -> tuple[multiprocessing.process.BaseProcess, Callable[[], None], float]:
        process = fork.Process(target=_work, args=(act,), daemon=True)
        process.start()
        return process, act, time.monotonic()

    running = [begin(act) for act in acts]
    in_a_row = 0
    try:
        while not asked:
            wait([process.sentinel for process, _, _ in running], timeout=0.2)
            for place, (process, act, since) in enumerate(running):
                if process.is_alive() or asked:
                    continue
                in_a_row = in_a_row + 1 if time.monotonic() - since < TOO_SOON_S else 1
                _log.error("a worker ended with status %s and is begun again", process.exitcode)
                if in_a_row >= MOST_IN_A_ROW:
                    raise WorkersError("the workers end as soon as they begin; see the lines above")
                running[place] = begin(act)
    finally:
        for process, _, _ in running:
            process.terminate()
        until = time.monotonic() + STOP_S
        for process, _, _ in running:
            process.join(max(0.0, until - time.monotonic()))
            if process.is_alive():
                process.kill()


def _work(act: Callable[[], None]) -> None:
    threading.Thread(target=_end_with, args=(os.getppid(),), daemon=True).start()
    for asking in (signal.SIGTERM, signal.SIGINT):
        signal.signal(asking, signal.SIG_DFL)
    try:
        act()
    except HushpointError as refusal:
        _log.error("%s", refusal)
        raise SystemExit(1) from None


def _end_with(parent: int) -> None:
    """Stop this worker when the process that tends it is gone, so that the port is free again."""
    while os.getppid() == parent:
        time.sleep(1.0)
    os.kill(os.getpid(), signal.SIGTERM)
