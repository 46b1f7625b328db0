"""A whole listening paper on a phone at a plain http address: twelve heard, sealed, handed in, marked, opened."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

from bench_driver import WAIT_MS, Served, served
from hushpoint.desk import classes, papers
from hushpoint.ledger.records import Kind
from hushpoint.web.check import DEVICE_COOKIE

pytestmark = pytest.mark.browser
PASSWORD = "ten letters or more"
PHONE = {"viewport": {"width": 360, "height": 640}, "has_touch": True, "is_mobile": True}


@pytest.fixture(scope="module")
def paper_site(tmp_path_factory: pytest.TempPathFactory):
    """The whole app, served from here with its ledger at hand."""
    with served(tmp_path_factory.mktemp("paper")) as running:
        yield running


@pytest.fixture
def phone(chromium: Browser):
    """A small phone, touched."""
    with chromium.new_context(**PHONE) as context:
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        yield page


def begin(site: Served, phone: Page, *, marking: str) -> tuple[str, papers.Paper]:
    """Set a paper, join its class on a phone whose check went well, and begin."""
    base = site.at("classroom.test")
    code = classes.open_class(site.ledger, name="Papers", policy_id="PALPATED_30")
    setting = papers.Setting("Week 8", marking=marking)
    paper = papers.set_paper(site.ledger, room=code, setting=setting, seed=21)
    phone.goto(f"{base}/join/{code}")
    phone.fill("#name", "Ines Invented")
    phone.get_by_role("button", name="Join", exact=True).tap()
    phone.get_by_role("link", name="Listening papers").tap()
    expect(phone.get_by_role("link", name="Check this device")).to_be_visible()
    signed = site.app.state.context.sign({"profile": "headphones", "on": "2026-03-02"})
    phone.context.add_cookies([{"name": DEVICE_COOKIE, "value": signed, "url": base}])
    phone.reload()
    phone.get_by_role("button", name="Begin").tap()
    phone.wait_for_url("**/practise/attempts/*")
    return code, papers.paper_of(site.ledger, code, paper)


def hear_and_seal(phone: Page, paper: papers.Paper, form: int, places: range) -> None:
    """Play each measurement, hear its beginning, write its key and seal."""
    keys = list(papers.keys_of(paper, form))
    for place in places:
        expect(phone.locator("#play-words")).to_have_text(f"Measurement {place} of 12")
        expect(phone.locator("#play")).to_be_enabled()
        phone.tap("#play")
        phone.wait_for_function("() => hushpoint.facts().playing")
        expect(phone.locator("#plays-left")).to_have_text("Played. Write what you heard, then seal.")
        phone.fill("#systolic", str(keys[place - 1].systolic_mmhg))
        phone.fill("#diastolic", str(keys[place - 1].diastolic_mmhg))
        phone.tap("#seal")


def test_a_whole_paper_marked_at_once(paper_site: Served, phone: Page) -> None:
    """Twelve measurements, each played once, the network gone for a while and the page loaded anew in between."""
    phone.on("pageerror", lambda fault: pytest.fail(str(fault)))
    code, paper = begin(paper_site, phone, marking="at_once")
    phone.tap("#to-first")
    hear_and_seal(phone, paper, 1, range(1, 5))
    # the answer waits through lost network and reload, and is sent once
    expect(phone.locator("#play-words")).to_have_text("Measurement 5 of 12")
    expect(phone.locator("#play")).to_be_enabled()
    phone.tap("#play")
    phone.wait_for_function("() => hushpoint.facts().playing")
    phone.context.route("**/answer", lambda route: route.abort())
    key = list(papers.keys_of(paper, 1))[4]
    phone.fill("#systolic", str(key.systolic_mmhg))
    phone.fill("#diastolic", str(key.diastolic_mmhg))
    phone.tap("#seal")
    expect(phone.locator("#banner")).to_contain_text("Your answer waits here; it will be sent once.")
    phone.reload()
    phone.context.unroute("**/answer")
    phone.tap("#to-first")
    hear_and_seal(phone, paper, 1, range(6, 13))
    phone.wait_for_url("**/result")
    expect(phone.locator(".verdict")).to_contain_text("Rule met")
    expect(phone.locator(".verdict")).to_contain_text("24 of 24 within 2 mmHg")
    assert len(list(paper_site.ledger.rows(kinds=[Kind.PAPER_ANSWERED], room=code))) == 12
    assert len(list(paper_site.ledger.rows(kinds=[Kind.PAPER_PLAYED], room=code))) == 12
    # a retake is on another form
    phone.get_by_role("link", name="Another attempt").tap()
    phone.get_by_role("button", name="Another attempt, on a new form").tap()
    expect(phone.locator("h1").first).to_contain_text("form 2")


def test_results_stay_covered_until_the_lecturer_opens_them(paper_site: Served, phone: Page, chromium: Browser) -> None:
    """Handed in before everything is written; the lecturer opens the results; both see them."""
    code, paper = begin(paper_site, phone, marking="at_end")
    phone.tap("#to-first")
    hear_and_seal(phone, paper, 1, range(1, 2))
    expect(phone.locator("#play-words")).to_have_text("Measurement 2 of 12")
    phone.get_by_text("Hand in now").tap()
    phone.get_by_role("button", name="Hand in what is sealed").tap()
    phone.wait_for_url("**/result")
    expect(phone.locator("main")).to_contain_text("The result comes when your lecturer opens it")
    lecturer = chromium.new_context(viewport={"width": 1280, "height": 800}).new_page()
    lecturer.set_default_timeout(WAIT_MS)
    lecturer.goto(f"{paper_site.at('localhost')}/class")
    lecturer.get_by_label("Password").fill(PASSWORD)
    lecturer.get_by_role("button", name="Set password").click()
    lecturer.goto(f"{paper_site.at('localhost')}/class/{code}/papers/{paper.id}")
    expect(lecturer.get_by_role("row", name="Ines Invented")).to_contain_text("handed in")
    lecturer.get_by_role("button", name="Open the results").click()
    lecturer.get_by_role("link", name="not yet").click()
    expect(lecturer.locator("main")).to_contain_text("2 of 24 within 2 mmHg")
    phone.reload()
    expect(phone.locator(".verdict")).to_contain_text("Not yet")
    expect(phone.locator("table")).to_contain_text("nothing written")
    lecturer.context.close()
