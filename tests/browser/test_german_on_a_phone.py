"""German on a phone of 360 px: nothing runs off the side, scripts speak German, and kPa stands beside mmHg."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from serving import Site

pytestmark = pytest.mark.browser
PAGES = (
    "/class",
    "/client",
    "/kit",
    "/kit/due",
    "/evidence",
    "/recordings",
    "/agreement",
    "/access",
    "/policy",
    "/cuff",
)


@pytest.fixture
def german(chromium: Browser, site: Site, lecturer: Page) -> Iterator[Page]:
    """A phone whose browser asks for German, with the lecturer's session."""
    context = chromium.new_context(viewport={"width": 360, "height": 740}, locale="de-DE")
    context.add_cookies(lecturer.context.cookies())
    page = context.new_page()
    page.set_default_timeout(8000)
    yield page
    context.close()


def test_long_words_run_off_no_side(german: Page, site: Site) -> None:
    """Every place of the app is in German and no wider than the phone."""
    for path in ("/", *PAGES):
        german.goto(f"{site.here}{path}")
        expect(german.locator("html")).to_have_attribute("lang", "de")
        expect(german.locator("main h1").first).to_be_visible()
        assert german.evaluate("document.documentElement.scrollWidth") <= 360, path


def test_a_led_visit_speaks_german_and_shows_kpa_beside(german: Page, site: Site) -> None:
    """The script's own words, a comma where a decimal is typed, and the unit chosen in the foot."""
    german.goto(f"{site.here}/client")
    german.get_by_label("Drücke in").select_option("kPa")
    german.get_by_role("button", name="Übernehmen").click()
    expect(german.locator("html")).to_have_attribute("data-pressures", "kPa")
    german.get_by_role("button", name="Beginnen").click()
    expect(german.locator("#next-do")).to_have_text("Nach Einwilligung fragen")
    german.get_by_role("button", name="Die Person willigt ein").click()
    expect(german.locator("#next-do")).to_have_text("Nach Notfallzeichen fragen")
    assert german.evaluate("document.documentElement.scrollWidth") <= 360


def test_the_choice_in_the_foot_turns_the_page_back_to_english(german: Page, site: Site) -> None:
    """By hand, on the page one stands on."""
    german.goto(f"{site.here}/policy")
    german.get_by_label("Sprache").select_option("en")
    german.get_by_role("button", name="Übernehmen").click()
    expect(german.get_by_role("heading", name="Teaching policies")).to_be_visible()
    expect(german).to_have_url(re.compile(r"/policy$"))
