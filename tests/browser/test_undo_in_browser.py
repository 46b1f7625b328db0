"""The most common slips in a real Chromium: one tap on the next page, and everything is as it was."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from hushpoint.guideline.clinical_policies import clinical_policies
from hushpoint.guideline.own_policy import policy_text
from serving import Site

pytestmark = pytest.mark.browser


def taken_back(page: Page, done: str) -> None:
    """Read the quiet line, tap Undo, and read that it was taken back."""
    line = page.locator("form.did")
    expect(line).to_contain_text(f"Done: {done}.")
    line.get_by_role("button", name="Undo").click()
    expect(page.locator("form.did")).to_contain_text(f"Taken back: {done}.")
    expect(page.locator("form.did").get_by_role("button")).to_have_count(0)


def test_the_lecturers_slips_are_taken_back(site: Site, lecturer: Page, tmp_path: Path) -> None:
    """A setting, a list, a learner, a round, a technique sheet, a gauge, a visit, a policy."""
    page = lecturer
    page.goto(f"{site.here}/class")
    page.get_by_label("Name of the class").fill("Slips")
    page.get_by_role("button", name="Open", exact=True).click()
    page.wait_for_url(re.compile(r"/class/[A-Z]{4}$"))
    code = page.url.rsplit("/", 1)[1]

    page.get_by_label("Name of the class").fill("Slips and trips")
    page.get_by_role("button", name="Keep the change").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Slips and trips")
    taken_back(page, f"class {code} has another name or policy")
    expect(page.get_by_role("heading", level=1)).not_to_contain_text("trips")

    page.get_by_label("Paste names, one a line").fill("Ines Invented\nTomo Invented")
    page.get_by_role("button", name="Look at the list").click()
    page.get_by_role("button", name="Add 2 to the list").click()
    expect(page.locator("form.did")).to_contain_text("names added to the list: 2")
    page.get_by_role("link", name="Ines Invented", exact=True).click()
    page.get_by_role("button", name="Take off the list").click()
    expect(page.get_by_role("heading", name="Off the list")).to_be_visible()
    taken_back(page, "a learner is taken off the list")
    expect(page.get_by_role("heading", name="Off the list")).to_have_count(0)

    page.goto(f"{site.here}/class/{code}/rounds")
    page.get_by_role("button", name="Open a round").click()
    taken_back(page, "a round is opened")
    expect(page.locator("main")).to_contain_text("The round was cancelled")

    page.goto(f"{site.here}/client")
    page.get_by_role("button", name="Begin").first.click()
    page.wait_for_url(re.compile(r"/client/[0-9a-f]+$"))
    client = page.locator("form.did").inner_text().split()[4]
    taken_back(page, f"a visit of {client} is begun")
    expect(page).to_have_url(f"{site.here}/client")

    own = tmp_path / "own.csv"
    own.write_text(policy_text(clinical_policies()["NHFA_2016"], "OUR_OWN"), encoding="utf-8")
    page.goto(f"{site.here}/client/policy")
    page.locator("input[type=file]").set_input_files(own)
    page.get_by_role("button", name=re.compile("[Aa]dopt")).click()
    taken_back(page, "policy OUR_OWN is adopted")

    page.goto(f"{site.here}/undo")
    expect(page.get_by_role("button", name="Undo: names added to the list: 2").first).to_be_visible()


def test_kit_slips_are_taken_back(site: Site, lecturer: Page) -> None:
    """A gauge retired, and a cuff wiped, by mistake."""
    page = lecturer
    for kind, label in (("gauge", "U3"), ("stethoscope", "U4")):
        page.request.post(f"{site.here}/kit/add", form={"type": kind, "label": label})
    page.goto(f"{site.here}/kit")
    page.get_by_role("link", name="U3", exact=True).first.click()
    page.get_by_text("Retire it").click()
    page.get_by_label("Why").fill("dropped")
    page.get_by_role("button", name="Retire U3").click()
    expect(page.locator("main")).to_contain_text("Retired")
    taken_back(page, "U3 is retired")
    expect(page.get_by_role("link", name="Check this gauge")).to_be_visible()
    page.get_by_role("button", name="Wiped now").click()
    taken_back(page, "U3 is logged as wiped")
    expect(page.locator("main")).to_contain_text("not on record")


def test_a_learners_consent_is_taken_back_without_scripts(site: Site, chromium: Browser, lecturer: Page) -> None:
    """On a phone of 360 px whose browser runs no script: the line, one tap, and nothing was said."""
    lecturer.goto(f"{site.here}/class")
    lecturer.get_by_label("Name of the class").fill("Consent")
    lecturer.get_by_role("button", name="Open", exact=True).click()
    lecturer.wait_for_url(re.compile(r"/class/[A-Z]{4}$"))
    code = lecturer.url.rsplit("/", 1)[1]
    context = chromium.new_context(viewport={"width": 360, "height": 640}, java_script_enabled=False, has_touch=True)
    phone = context.new_page()
    phone.set_default_timeout(8000)
    phone.goto(f"{site.classroom}/join/{code}")
    phone.get_by_label("Your name, as on the class list").fill("Ines Invented")
    phone.get_by_role("button", name="Join", exact=True).click()
    phone.wait_for_url("**/practise")
    phone.goto(f"{site.classroom}/practise/measured")
    phone.get_by_label("on my right arm").check()
    phone.get_by_role("button", name="Keep this").click()
    expect(phone.locator("main")).to_contain_text("Right arm only")
    box = phone.get_by_role("button", name="Undo").bounding_box()
    assert box is not None
    assert box["height"] >= 44
    taken_back(phone, "your answer about being measured is kept")
    expect(phone.locator("main")).to_contain_text("You have not said yet")
    context.close()
