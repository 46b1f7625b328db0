"""The whole app over a store on disk, at a day that is set: for scenes that go on months later."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import uvicorn
from playwright.sync_api import Browser, Page, Route, expect

from evidence_scenes import Clock
from hushpoint.ledger.records import Ledger
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from hushpoint.wiring import Settings, build

PASSWORD = "ten letters or more"
WAIT_MS = 30_000


@dataclass(frozen=True)
class DatedSite:
    """A running app: where it answers, its data folder, its store and the clock of both."""

    here: str
    data: Path
    ledger: Ledger
    clock: Clock


@contextmanager
def served_on(folder: Path, day: str) -> Iterator[DatedSite]:
    """Serve the whole app from this process; `clock.day` sets the day for the journal and the pages."""
    clock = Clock(day)
    ledger = open_sqlite(folder / FILE_NAME, clock=clock)
    app = build(Settings(data_dir=folder), ledger)
    app.state.context.clock = lambda: datetime.fromisoformat(f"{clock.day}T09:00:00").replace(tzinfo=UTC)
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    yield DatedSite(f"http://localhost:{port}", folder, ledger, clock)
    server.should_exit = True
    thread.join(timeout=5)


def offline(chromium: Browser, site: DatedSite, asked: list[str]) -> Page:
    """A page of its own on a laptop without a network: whatever is asked of elsewhere is refused and noted."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800}, accept_downloads=True)

    def refused(route: Route) -> None:
        asked.append(route.request.url)
        route.abort()

    context.route(lambda url: not url.startswith(site.here), refused)
    page = context.new_page()
    page.set_default_timeout(WAIT_MS)
    return page


def as_lecturer(page: Page, site: DatedSite) -> None:
    """Set the password, or come in with it."""
    page.goto(f"{site.here}/class")
    page.get_by_label("Password", exact=True).fill(PASSWORD)
    page.get_by_role("button", name="Set password").or_(page.get_by_role("button", name="Come in")).click()
    expect(page.get_by_role("heading", name="Your classes")).to_be_visible()
