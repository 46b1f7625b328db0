"""From the front door to the first useful act, tap by tap, as a stranger on a phone at the invented college."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Page, expect

from hushpoint.desk import demo
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from serving import Site, start, stop

MOST_TAPS = 3


@pytest.fixture(scope="module")
def college(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A real server over the invented college."""
    folder, now = tmp_path_factory.mktemp("college"), datetime.now(UTC)
    clock = demo.DemoClock(now)
    ledger = open_sqlite(folder / FILE_NAME, clock=clock)
    demo.build_demo(ledger, clock, now)
    ledger.close()
    running = start(folder)
    yield running
    stop(running)


class Taps:
    """A thumb that counts."""

    def __init__(self, tab: Page) -> None:
        self.tab, self.count = tab, 0

    def on(self, role: str, name: str) -> None:
        """Tap a link or button by a pattern of its name; the password is typed where it is asked for."""
        tapped = self.tab.get_by_role(role, name=re.compile(name)).first  # type: ignore[arg-type]
        expect(tapped).to_be_visible()  # of the page that comes, not of the one that goes
        asked = self.tab.get_by_label("Password")
        if asked.count():
            asked.fill(demo.PASSWORD)
        tapped.click()
        self.count += 1


@pytest.mark.parametrize(
    ("way", "then", "there"),
    [
        ("Teach a class now", (("link", r"^[A-Z]{4}$"),), "Wall for the projector"),
        ("Measure a client", (("button", "Begin"),), "NEXT"),
        ("Check a gauge", (("link", "Check G6"),), "Check gauge G6"),
        ("Sign off", (("link", "Ines Invented"),), "Ines Invented"),
    ],
)
def test_each_way_takes_at_most_three_taps(
    college: Site, tab: Page, way: str, then: tuple[tuple[str, str], ...], there: str
) -> None:
    """A stranger taps the way, comes in, and taps once more."""
    tab.goto(college.here)
    taps = Taps(tab)
    taps.on("link", way)
    taps.on("button", "Come in")
    for role, name in then:
        taps.on(role, name)
    expect(tab.get_by_text(there).first).to_be_visible()
    assert taps.count <= MOST_TAPS


def test_a_recording_is_chosen_on_the_second_tap(college: Site, tab: Page) -> None:
    """The third is "Listen to it"."""
    tab.goto(college.here)
    taps = Taps(tab)
    taps.on("link", "Read a recording")
    taps.on("button", "Come in")
    expect(tab.get_by_role("button", name="Listen to it")).to_be_visible()
    assert taps.count + 1 <= MOST_TAPS


def test_somebody_alone_is_at_an_arm_in_two_taps(college: Site, tab: Page) -> None:
    """Practise alone, next person: the set-up."""
    tab.goto(college.here)
    taps = Taps(tab)
    taps.on("button", "Practise alone")
    taps.on("link", "Next person")
    expect(tab.get_by_text("Set up", exact=False).first).to_be_visible()
    assert taps.count <= MOST_TAPS


def test_the_places_are_one_line_on_a_phone_and_open_by_keyboard(college: Site, tab: Page) -> None:
    """At 360 px the head is one row of 44 px; the menu opens with Enter and holds every place, the open one marked."""
    tab.goto(f"{college.here}/class?next=/kit")
    tab.get_by_label("Password").fill(demo.PASSWORD)
    tab.get_by_role("button", name="Come in").click()
    box = tab.locator("header.top").bounding_box()
    assert box is not None
    assert box["height"] <= 46
    assert tab.evaluate("document.documentElement.scrollWidth") <= 360
    tab.locator("header.top summary").focus()
    tab.keyboard.press("Enter")
    menu = tab.locator("header.top details")
    names = ["Start", "Practise", "Class", "Clients", "Kit", "Evidence", "Recordings", "Agreement"]
    assert menu.get_by_role("link").all_inner_texts() == names
    expect(menu.get_by_role("link", name="Kit")).to_have_attribute("aria-current", "page")
    tab.keyboard.press("Tab")
    tab.keyboard.press("Enter")
    expect(tab.get_by_role("heading", name="What are you here to do?")).to_be_visible()
