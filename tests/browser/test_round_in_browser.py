"""A round with three browsers and twenty-one other phones: together within 100 ms, sealed, opened without names."""

from __future__ import annotations

import re

import httpx2
import pytest
from playwright.sync_api import Browser, Page, expect

from bench_driver import WAIT_MS, Served, served
from hushpoint.desk import classes, rounds
from hushpoint.ledger.records import Kind

pytestmark = pytest.mark.browser
PASSWORD = "ten letters or more"
ASKED_MS = 100.0
OTHERS = 21
SLOW_MS = 80
"""How much later one phone's answers come."""
PHONE = {"viewport": {"width": 360, "height": 640}, "has_touch": True, "is_mobile": True}


@pytest.fixture(scope="module")
def round_site(tmp_path_factory: pytest.TempPathFactory):
    """The whole app, served from here with its ledger at hand."""
    with served(tmp_path_factory.mktemp("round")) as running:
        yield running


def lecturers_page(site: Served, chromium: Browser) -> Page:
    """Sign in as the lecturer and return the page."""
    page = chromium.new_context(viewport={"width": 1280, "height": 800}).new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(f"{site.at('localhost')}/class")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name=re.compile("Set password|Come in")).click()
    page.get_by_role("heading", name="Your classes").wait_for()
    return page


def phone_in(site: Served, chromium: Browser, code: str, name: str) -> Page:
    """Join on a phone at the class network's plain address and open the round."""
    page = chromium.new_context(**PHONE).new_page()
    page.set_default_timeout(WAIT_MS)
    page.goto(f"{site.at('classroom.test')}/join/{code}")
    page.fill("#name", name)
    page.get_by_role("button", name="Join", exact=True).tap()
    page.wait_for_url("**/practise")
    page.get_by_role("link", name="Round with the class").tap()
    page.wait_for_url("**/practise/round")
    return page


def other_phone(site: Served, code: str, place: int) -> httpx2.Client:
    """Join as a program does, over HTTP."""
    client = httpx2.Client(base_url=site.at("localhost"), timeout=60)
    assert client.post(f"/join/{code}", data={"name": f"Other {place} Invented"}).status_code == 303
    return client


def test_a_round_of_three_browsers_and_twenty_one_other_phones(round_site: Served, chromium: Browser) -> None:
    """Started within 100 ms of each other, sealed once each, spread on the wall without a name, own error on phones."""
    ledger = round_site.ledger
    code = classes.open_class(ledger, name="Round", policy_id="PALPATED_30")
    lecturer = lecturers_page(round_site, chromium)
    phones = [phone_in(round_site, chromium, code, f"Phone {place} Invented") for place in range(3)]
    slow = phones[2].context.new_cdp_session(phones[2])  # one phone far from the access point
    slow.send("Network.enable")
    answers = {"offline": False, "latency": SLOW_MS, "downloadThroughput": 2e6, "uploadThroughput": 2e6}
    slow.send("Network.emulateNetworkConditions", answers)
    lecturer.goto(f"{round_site.at('localhost')}/class/{code}/rounds")
    wall = lecturer.context.new_page()
    wall.goto(f"{round_site.at('localhost')}/class/{code}/rounds/wall")
    lecturer.get_by_label("What they will hear").select_option("low")
    lecturer.get_by_role("button", name="Open a round").click()
    for phone in phones:
        phone.get_by_role("button", name="Earphones in: get ready").tap()
        expect(phone.locator("#play-words")).to_have_text("Ready. Wait for the start.")
    expect(lecturer.locator("#board")).to_contain_text("3 phones are ready")
    found = rounds.newest(ledger, code)
    assert found is not None

    lecturer.get_by_role("button", name="Start").click()
    for phone in phones:
        expect(phone.locator("#play-words")).to_have_text("Listen", timeout=20_000)
    starts = [phone.evaluate("hushpoint.facts()") for phone in phones]
    started = [one["started_ms"] for one in starts]
    due = starts[0]["starts_at_ms"]
    print(
        f"three browsers started within {max(started) - min(started):.1f} ms of each other, "
        f"{min(started) - due:+.1f} to {max(started) - due:+.1f} ms of the time set"
    )
    assert max(started) - min(started) < ASKED_MS

    key = found.key
    for place, phone in enumerate(phones):
        phone.fill("#systolic", str(key.systolic_mmhg + 2 * place))
        phone.fill("#diastolic", str(key.diastolic_mmhg))
        phone.get_by_role("button", name="Seal").tap()
        expect(phone.locator("#sealed-words")).to_have_text("Nobody sees it. Wait until the answers are open.")
    others = [other_phone(round_site, code, place) for place in range(OTHERS)]
    here = f"/practise/rounds/{found.id}"
    for place, other in enumerate(others):
        assert other.get(f"{here}/sound.wav?for=phone").headers["content-type"] == "audio/wav"
        assert other.post(f"{here}/ready", json={"profile": "phone"}).status_code == 201
        if place < 14:
            reading = {"systolic": key.systolic_mmhg - 10 + place, "diastolic": key.diastolic_mmhg}
            answers = [other.post(f"{here}/answer", json={"reading": reading}).status_code for _ in range(2)]
            assert answers == [201, 200]
    expect(wall.locator("#board")).to_contain_text("17 of 24 sealed")
    assert str(key.systolic_mmhg) not in wall.locator("main").inner_text()

    lecturer.get_by_role("button", name="Open the answers").click()
    expect(wall.locator(".ruler")).to_have_count(2)
    expect(wall.locator("#board")).to_contain_text("Last digits")
    assert "Invented" not in wall.locator("main").inner_text()
    expect(phones[1].locator("#opened-lines")).to_contain_text(re.compile("systolic: truth .* high|exact|low"))
    error = rounds.own_result(rounds.round_of(ledger, code, found.id), _who(ledger, "Phone 1 Invented"))
    expect(phones[1].locator("#opened-lines")).to_contain_text(error["ends"]["systolic"]["off"])
    sealed = [row.who for row in ledger.rows(kinds=[Kind.ROUND_SEALED])]
    assert len(sealed) == len(set(sealed)) == 17
    for other in others:
        other.close()
    for page in (*phones, lecturer):
        page.context.close()


def _who(ledger, name: str) -> str:
    """The id of a learner by name."""
    return next(row.who for row in ledger.rows(kinds=[Kind.LEARNER_JOINED]) if row.body and row.body["name"] == name)
