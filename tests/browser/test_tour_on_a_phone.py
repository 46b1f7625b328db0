"""The tour of the invented college on a phone, from the front door to its end."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from hushpoint.desk.tour import STOPS
from serving import Site, start_demo, stop


@pytest.fixture
def college(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """`hushpoint demo` as anybody starts it."""
    running = start_demo(tmp_path_factory.mktemp("college"))
    yield running
    stop(running)


def test_the_tour_goes_by_next_alone_and_can_be_left(college: Site, tab: Page) -> None:
    """Nine stops, one tap each; nothing scrolls sideways at 360 px; then the front door offers it again."""
    tab.goto(college.here)
    tab.get_by_role("button", name="Take the tour").click()
    strip = tab.get_by_role("complementary", name="Tour")
    for number in range(1, len(STOPS) + 1):
        expect(strip).to_contain_text(f"Tour, {number} of {len(STOPS)}")
        assert tab.evaluate("document.documentElement.scrollWidth") <= 360
        if number < len(STOPS):
            strip.get_by_role("button", name="Next").click()
    strip.get_by_role("button", name="Leave the tour").click()
    expect(tab.get_by_role("button", name="Take the tour")).to_be_visible()
