"""Settings to a running app. Importing this opens nothing; `build` does."""

from __future__ import annotations

import gc
import logging
import threading
import time
from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

from starlette.applications import Starlette

from hushpoint.desk import access, bench, pairs
from hushpoint.desk.recordings import RecordingFiles
from hushpoint.ledger.records import ErasedPersonError, Ledger, LedgerError, UnkeepableError
from hushpoint.ledger.scheduled import BackupPlan, Backups
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import open_ledger
from hushpoint.web.app import make_app
from hushpoint.web.context import Context

log = logging.getLogger("hushpoint")
LONGEST_PAUSE_S = 0.05
"""A full collection that takes longer is not to be as long again [s] (design choice)."""
_FULL = 2
"""The generation of a full collection."""
AGAIN_S = 2.0
"""How soon a judgement is tried again while the ledger cannot be used [s]."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How the app is to run; each field is described in docs/reference.md."""

    data_dir: Path
    database_url: str | None = None
    host: str = "127.0.0.1"
    port: int = 8100
    invented: bool = False
    demo_password: str = ""
    addresses: tuple[str, ...] = ()
    names: frozenset[str] | None = None
    https_only: bool = False
    passphrase: str | None = field(default=None, repr=False)
    codes_only: bool = False
    backup: BackupPlan | None = None
    metrics_token: str = field(default="", repr=False)


class ShortPauses:
    """Keeps Python's collector of circular garbage from going through all that the app holds again and again.

    With the pairs of eight large classes in memory one full collection stops every answer for half a second. What is
    left right after one that took long is no garbage, and is set aside from later ones; the app lets go of what it
    holds without circles, so that it is freed all the same.
    """

    def __init__(self, longest_s: float = LONGEST_PAUSE_S) -> None:
        self._longest_s = longest_s
        self._begun_s = 0.0

    def start(self) -> None:
        """Watch full collections from now on."""
        gc.callbacks.append(self._watch)

    def stop(self) -> None:
        """Leave the collector as it was found."""
        gc.callbacks.remove(self._watch)
        gc.unfreeze()

    def _watch(self, phase: str, info: dict[str, int]) -> None:
        if info["generation"] < _FULL:
            return
        if phase == "start":
            self._begun_s = time.perf_counter()
        elif time.perf_counter() - self._begun_s > self._longest_s:
            gc.freeze()


class Grader:
    """Grades filed measurements one after another, after they were acknowledged, away from the event loop."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._stopping = threading.Event()
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="grader")

    def start(self) -> None:
        """Grade whatever was filed and not graded when the app last stopped."""
        self._worker.submit(self._catch_up)

    def soon(self, measurement: str) -> None:
        """Grade a measurement that was filed."""
        self._worker.submit(self._grade, measurement)

    def stop(self) -> None:
        """Finish the one in hand; the rest is found again at the next start."""
        self._stopping.set()
        self._worker.shutdown(wait=True, cancel_futures=True)

    def _catch_up(self) -> None:
        try:
            left = bench.ungraded(self._ledger)
        except LedgerError:  # the next start looks again
            log.error("what was filed and not judged could not be looked up")  # noqa: TRY400 - no data in logs
            return
        for measurement in left:
            self._grade(measurement)

    def _grade(self, measurement: str) -> None:
        told = False
        try:
            while not self._stopping.is_set():
                try:
                    bench.grade(self._ledger, measurement)
                except (ErasedPersonError, UnkeepableError):
                    raise
                except LedgerError as trouble:  # a database that is away comes back: the measurement waits for it
                    if not told:
                        log.error("a judgement has to wait: %s", trouble)  # noqa: TRY400 - one line
                    told = True
                    self._stopping.wait(AGAIN_S)
                else:
                    return
        except Exception as error:  # one that cannot be graded must not stop the others
            log.error("measurement left ungraded: %s", type(error).__name__)  # noqa: TRY400 - no data in logs


def build(settings: Settings, ledger: Ledger | None = None) -> Starlette:
    """Open the ledger and return the app over it; the app closes it when it stops."""
    kept = (
        ledger
        if ledger is not None
        else open_ledger(settings.data_dir, settings.database_url, passphrase=settings.passphrase)
    )
    grader = Grader(kept)
    context = Context(
        kept,
        cookie_key=access.cookie_key(kept),
        grade_soon=grader.soon,
        recordings=RecordingFiles(settings.data_dir),
        invented=settings.invented,
        demo_password=settings.demo_password,
        addresses=settings.addresses,
        codes_only=settings.codes_only,
        metrics_token=settings.metrics_token,
    )

    pauses = ShortPauses()
    backups = Backups(kept, settings.backup) if settings.backup and isinstance(kept, SqlLedger) else None

    @asynccontextmanager
    async def running(_app: Starlette) -> AsyncIterator[None]:
        pauses.start()
        grader.start()
        if backups is not None:
            backups.start()
        context.live_readings.warm(pairs.LECTURER)
        try:
            yield
        finally:
            grader.stop()
            if backups is not None:
                backups.stop()
            context.live_readings.stop()
            kept.close()
            pauses.stop()

    app = make_app(context, names=settings.names, https_only=settings.https_only)
    app.router.lifespan_context = running
    return app
