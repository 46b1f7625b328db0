"""Scene 1 in Chromium: 24 learners, six gauges, an hour, their phones, no internet, nothing identifiable projected."""

from __future__ import annotations

import re
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from serving import Site

pytestmark = pytest.mark.browser
NAMES = [f"{name} Invented" for name in (
    "Ada", "Bo", "Cy", "Di", "Ed", "Flo", "Gus", "Hal", "Ida", "Jo", "Kai", "Lu",
    "Mo", "Ned", "Ola", "Pip", "Quin", "Ros", "Sam", "Tia", "Uli", "Val", "Wes", "Xan",
)]  # fmt: skip


def test_an_hour_at_six_gauges(site: Site, chromium: Browser, lecturer: Page) -> None:
    """Six fours, 15 readings each: 90, three or four a learner; watchers have 12 to hear; no name shown."""
    asked: set[str] = set()
    lecturer.context.on("request", lambda request: asked.add(urlsplit(request.url).hostname or ""))
    lecturer.goto(f"{site.here}/class")
    lecturer.get_by_label("Name of the class").fill("An hour")
    lecturer.get_by_role("button", name="Open", exact=True).click()
    lecturer.wait_for_url(re.compile(r"/class/[A-Z]{4}$"))
    code = lecturer.url.rsplit("/", 1)[1]
    lecturer.get_by_label("Paste names, one a line").fill("\n".join(NAMES))
    lecturer.get_by_role("button", name="Look at the list").click()
    lecturer.get_by_role("button", name="Add 24 to the list").click()
    lecturer.goto(f"{site.here}/class/{code}/papers")
    lecturer.get_by_label("What learners see it called").fill("Twelve to hear")
    lecturer.get_by_role("button", name="Set the paper").click()
    expect(lecturer.get_by_text("Twelve to hear").first).to_be_visible()

    lecturer.goto(f"{site.here}/class/{code}/rotation")
    for label, number in (("Minutes", "60"), ("Gauges that work", "6"), ("Minutes for one reading", "4")):
        expect(lecturer.get_by_label(label, exact=True)).to_have_value(number)
    lecturer.get_by_label("I have everyone's agreement on paper").check()
    lecturer.get_by_role("button", name="Plan it").click()
    running = lecturer.locator("#rotation")
    expect(running).to_contain_text("Everyone here tests at least 3 times")
    expect(running).not_to_contain_text("Fewer than 3 tests")
    lecturer.get_by_role("button", name="Start the clock").click()
    expect(running).to_contain_text("Reading 1 of 15")
    now = running.locator("table").first.locator("tbody tr")
    expect(now).to_have_count(6)
    roles = [now.nth(place).locator("td").all_inner_texts() for place in range(6)]
    here = [re.sub(r", (left|right) arm$", "", one) for row in roles for one in row[:4]]
    assert sorted(here) == sorted(NAMES)

    phone = chromium.new_context(viewport={"width": 360, "height": 640}).new_page()
    phone.goto(f"{site.classroom}/join/{code}")
    phone.get_by_label("Your name, as on the class list").fill(roles[0][3])
    phone.get_by_role("button", name="Join", exact=True).click()
    phone.wait_for_url("**/practise")
    phone.goto(f"{site.classroom}/practise/rotation")
    expect(phone.locator(".turn")).to_contain_text("You watch")
    phone.get_by_role("link", name="While you watch: 12 measurements to hear, with earphones").click()
    expect(phone.get_by_text("Twelve to hear").first).to_be_visible()

    for wall in (f"/class/{code}/rotation/wall", f"/class/{code}/wall"):
        lecturer.goto(f"{site.here}{wall}")
        expect(lecturer.locator("main")).to_contain_text(re.compile(r"[A-F]"))
        assert "Invented" not in lecturer.content()
    assert asked == {"localhost"}
    phone.context.close()
