"""A rotation in a real Chromium: planned, started, changed in mid-class; phones turn, no name is on the wall."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from serving import Site

pytestmark = pytest.mark.browser
NAMES = ["Ines Invented", "Tomo Invented", "Ada Invented", "Ben Invented", "Cleo Invented", "Dag Invented",
         "Edda Invented", "Finn Invented"]  # fmt: skip
PHONES = 3


def test_a_rotation_is_changed_in_mid_class(site: Site, chromium: Browser, lecturer: Page) -> None:
    """Somebody leaves while a reading runs: one tap, and every phone shows its own new turn; no name on the wall."""
    lecturer.goto(f"{site.here}/class")
    lecturer.get_by_label("Name of the class").fill("Rotation")
    lecturer.get_by_role("button", name="Open", exact=True).click()
    lecturer.wait_for_url(re.compile(r"/class/[A-Z]{4}$"))
    code = lecturer.url.rsplit("/", 1)[1]
    lecturer.get_by_label("Paste names, one a line").fill("\n".join(NAMES))
    lecturer.get_by_role("button", name="Look at the list").click()
    lecturer.get_by_role("button", name="Add 8 to the list").click()
    lecturer.get_by_role("link", name="Rotation").click()

    phones = []
    for name in NAMES[:PHONES]:
        phone = chromium.new_context(viewport={"width": 360, "height": 640}).new_page()
        phone.goto(f"{site.classroom}/join/{code}")
        phone.get_by_label("Your name, as on the class list").fill(name)
        phone.get_by_role("button", name="Join", exact=True).click()
        phone.wait_for_url("**/practise")
        phone.goto(f"{site.classroom}/practise/rotation")
        expect(phone.locator("#rotation")).to_contain_text("No rotation is planned")
        phones.append(phone)
    # one of them says no in private, and a page of theirs is all that shows it
    phones[0].goto(f"{site.classroom}/practise/measured")
    phones[0].get_by_role("button", name="Do not measure me").click()
    expect(phones[0].locator(".verdict")).to_contain_text("Not measured")
    phones[0].goto(f"{site.classroom}/practise/rotation")

    # without agreement on paper there is nobody to measure: told what to do, nothing planned
    lecturer.get_by_label("Minutes", exact=True).fill("60")
    lecturer.get_by_label("Gauges that work").fill("2")
    lecturer.get_by_role("button", name="Plan it").click()
    expect(lecturer.get_by_role("alert")).to_contain_text("ask for agreement")
    lecturer.get_by_label("I have everyone's agreement on paper").check()
    lecturer.get_by_role("button", name="Plan it").click()
    expect(lecturer.locator("#rotation")).to_contain_text("at least 3 times")
    lecturer.get_by_role("button", name="Start the clock").click()
    expect(lecturer.locator("#rotation")).to_contain_text("Reading 1 of 15")
    for phone in phones:
        expect(phone.locator("#rotation")).to_contain_text("Reading 1 of 15")
        expect(phone.locator(".turn")).to_contain_text("You ")
    assert "measured by" not in phones[0].locator("#rotation").inner_text()

    wall = lecturer.context.new_page()
    wall.goto(f"{site.here}/class/{code}/rotation/wall")
    expect(wall.locator("#rotation")).to_contain_text("Reading 1 of 15")
    assert wall.locator(".letters li").all_inner_texts() == ["A", "B"]
    assert "Invented" not in wall.content()

    # the second learner leaves: their group is planned anew, the other goes on with its reading
    lecturer.get_by_text("Somebody who is here now left").click()
    lecturer.get_by_role("button", name="Tomo Invented left").click()
    expect(lecturer.get_by_role("button", name="Tomo Invented is back")).to_be_visible()
    expect(phones[1].locator("#rotation")).to_contain_text("You are marked as away")
    for phone in (phones[0], phones[2]):
        expect(phone.locator("#rotation")).not_to_contain_text("Tomo")
        expect(phone.locator(".turn")).to_contain_text("You ")
    assert "Tomo" not in lecturer.locator("#rotation table").first.inner_text()
    lecturer.get_by_role("button", name="Tomo Invented is back").click()
    expect(phones[1].locator("#rotation .rotation-group")).to_contain_text("Group")
    lecturer.get_by_role("button", name="Hold the clock").click()
    expect(wall.locator("#rotation")).to_contain_text("held")
    sheet = lecturer.request.get(f"{site.here}/class/{code}/rotation/sheet.pdf")
    assert sheet.body().startswith(b"%PDF")
    wall.close()
    for phone in phones:
        phone.context.close()
