"""A real server in a process of its own, and a real Chromium."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from serving import Site, start, stop

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP classroom.test 127.0.0.1",
]
PASSWORD = "ten letters or more"


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A real server over a ledger of its own."""
    running = start(tmp_path_factory.mktemp("site"))
    yield running
    stop(running)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """A real Chromium."""
    if not CHROMIUM.exists():
        pytest.skip(f"no Chromium at {CHROMIUM}")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def tab(chromium: Browser) -> Iterator[Page]:
    """A phone-sized page of its own, without anybody's cookies."""
    context = chromium.new_context(viewport={"width": 360, "height": 640})
    page = context.new_page()
    page.set_default_timeout(8000)
    yield page
    context.close()


@pytest.fixture(scope="session")
def lecturer(site: Site, chromium: Browser) -> Iterator[Page]:
    """The lecturer's page, signed in."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.set_default_timeout(8000)
    page.goto(f"{site.here}/class")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Set password").click()
    page.get_by_role("heading", name="Your classes").wait_for()
    yield page
    context.close()
