"""One person with two tabs: what waits in both is stored once, and what one tab has done the other says."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from bench_driver import Served, new_learner, served
from hushpoint.desk import access, classes, pairs, policies, visits
from hushpoint.ledger.records import Kind

pytestmark = [pytest.mark.browser, pytest.mark.hard]
PASSWORD = "ten letters or more"
NAME = "classroom.test"
ASKED = "consent,urgent,signs,disease,habit,plan,about,today,arms,size,kit,rest,posture,pulse,feel"
WAIT_MS = 60_000


@pytest.fixture
def school(tmp_path: Path) -> Iterator[Served]:
    """A running app with a lecturer's password."""
    with served(tmp_path) as running:
        access.set_password(running.ledger, PASSWORD)
        yield running


@pytest.fixture
def device(chromium: Browser) -> Iterator[BrowserContext]:
    """One device: its tabs share what the browser keeps."""
    with chromium.new_context(viewport={"width": 360, "height": 640}) as context:
        context.set_default_timeout(WAIT_MS)
        yield context


def nothing_waits(tab: Page, key: str) -> None:
    """Wait until the device has nothing left to send."""
    tab.wait_for_function("(key) => (localStorage.getItem(key) ?? '[]') === '[]'", arg=key)


def test_a_measurement_that_waits_in_two_tabs_is_filed_once(school: Served, device: BrowserContext) -> None:
    """Both tabs send the same log at the same moment, as often as the network comes and goes."""
    learner = new_learner(device, "keyboard")
    learner.join_alone(school.at(NAME))
    learner.set_up()
    learner.feel()
    learner.pump(140)
    learner.open_fully()
    learner.wait_for_entry()
    other = device.new_page()
    other.goto(f"{school.at(NAME)}/practise/bench")
    device.set_offline(True)
    learner.write("120", "80")
    for away in (False, True, False):
        for tab in (learner.page, other):
            tab.evaluate("() => void dispatchEvent(new Event('online'))")
        device.set_offline(away)
    nothing_waits(other, "hushpoint.outbox")
    learner.judgement()
    assert len(list(school.ledger.rows(kinds=[Kind.MEASUREMENT_FILED]))) == 1


def test_a_pair_sealed_in_one_tab_is_sealed_in_the_other(school: Served, device: BrowserContext) -> None:
    """The second tab's other numbers are not taken: it is told in one line, and what was sealed first stands."""
    room = classes.open_class(school.ledger, name="Group A", policy_id="PALPATED_30")
    first, second = device.new_page(), device.new_page()
    first.goto(f"{school.at(NAME)}/join/{room}")
    first.get_by_label("Your name, as on the class list").fill("Ines Invented")
    first.get_by_role("button", name="Join", exact=True).click()
    first.wait_for_url("**/practise")
    who = next(row.who for row in school.ledger.rows(kinds=[Kind.LEARNER_JOINED]))
    pair = pairs.open_pair(school.ledger, room=room, opening=pairs.Opening(who))
    for tab, systolic in ((first, "124"), (second, "126")):
        tab.goto(f"{school.at(NAME)}/practise/pairs/{pair}")
        tab.get_by_label("systolic", exact=True).first.fill(systolic)
        tab.get_by_label("diastolic", exact=True).first.fill("80")
    first.get_by_role("button", name="Seal", exact=True).click()
    expect(first.get_by_text("Sealed. Waiting.")).to_be_visible()
    seal = second.get_by_role("button", name="Seal", exact=True)
    if seal.is_visible():  # it may have heard of it already
        seal.click(timeout=5000)
    expect(second.get_by_text("Sealed. Waiting.")).to_be_visible()
    nothing_waits(second, "hushpoint.acts")
    assert pairs.book_of(school.ledger, room).find(pair).learner.written == (124, 80)
    assert len(list(school.ledger.rows(kinds=[Kind.PAIR_SEALED]))) == 1


def test_readings_of_a_visit_written_in_two_tabs_without_a_network(school: Served, device: BrowserContext) -> None:
    """Each tab's reading waits beside the other's; both are stored once, and both tabs then show both."""
    policies.set_emergency_number(school.ledger, "000")
    visit = visits.begin(school.ledger, policy_id="NHFA_2016")
    now = datetime.now(UTC)
    told = {"consent": True, "symptoms": [], "steps": ASKED}
    visits.act(school.ledger, visit, {"ref": "asked-all", "at": now.isoformat(), "told": told}, now)
    first, second = device.new_page(), device.new_page()
    first.goto(f"{school.at(NAME)}/class")
    first.get_by_label("Password").fill(PASSWORD)
    first.get_by_role("button", name="Come in").click()
    first.get_by_role("heading", name="Your classes").wait_for()
    for tab in (first, second):
        tab.goto(f"{school.at(NAME)}/client/{visit}")
        expect(tab.locator("#systolic")).to_be_visible()
    device.set_offline(True)
    for tab, systolic in ((first, "150"), (second, "146")):
        tab.locator("#systolic").fill(systolic)
        tab.locator("#diastolic").fill("90")
        tab.get_by_role("button", name="Write reading").click()
        expect(tab.get_by_text("What you write waits here; it will be sent once.")).to_be_visible()
    device.set_offline(False)
    for tab in (first, second):
        tab.evaluate("() => void dispatchEvent(new Event('online'))")
    nothing_waits(first, f"hushpoint.visit.{visit}")
    for tab in (first, second):
        tab.evaluate("() => void document.dispatchEvent(new Event('visibilitychange'))")
        expect(tab.locator("#taken-rows tr")).to_have_count(2)
    rows = list(school.ledger.rows(kinds=[Kind.READING_TAKEN]))
    assert [(row.body or {})["systolic"] for row in rows] == [150, 146]
