"""A reading from the bench reaches the lecturer's board while the class is still measuring."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page

from bench_driver import Learner
from serving import Site

pytestmark = pytest.mark.browser
WAIT_MS = 1000
"""A reading is on the board within this time of being acknowledged (asked of the whole system, not a speed test)."""


def test_a_reading_is_on_the_board_within_a_second(site: Site, chromium: Browser, lecturer: Page) -> None:
    """What a learner writes on the bench stands on the open board within a second of its acknowledgement."""
    lecturer.goto(f"{site.here}/class")
    lecturer.get_by_label("Name of the class").fill("Bench and board")
    lecturer.get_by_role("button", name="Open", exact=True).click()
    lecturer.wait_for_url(re.compile(r"/class/[A-Z]{4}$"))
    code = lecturer.url.rsplit("/", 1)[1]
    with chromium.new_context(viewport={"width": 360, "height": 560}) as context:
        page = context.new_page()
        page.goto(f"{site.classroom}/join/{code}")
        page.get_by_label("Your name, as on the class list").fill("Ines Invented")
        page.get_by_role("button", name="Join", exact=True).click()
        page.wait_for_url("**/practise")
        page.goto(f"{site.classroom}/practise/bench")
        learner = Learner(page, "keyboard")
        learner.set_up()
        learner.feel()
        learner.pump(140)
        learner.open_fully()
        learner.wait_for_entry()
        with page.expect_response("**/log") as answer:
            learner.write("117", "71")
        assert answer.value.status == 201
        lecturer.get_by_text("117/71").wait_for(timeout=WAIT_MS)
