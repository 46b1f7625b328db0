"""Every page of the evidence area in Chromium: WCAG 2.2 AA by axe, no sideways scrolling, signed by keyboard alone."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from evidence_scenes import REFERENCES, SCENE_NINE, pairs_from_paper, paper_taken, signing
from evidence_site import DatedSite, as_lecturer, offline, served_on
from hushpoint.desk import classes, decisions, papers, pass_rules, units
from looks import IN_EVERY_LOOK
from permission_rows.evidence import OWN_RULES, UNIT

pytestmark = pytest.mark.browser
AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
DAY = "2026-03-10"


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory, chromium: Browser) -> Iterator[tuple[DatedSite, Page, str, str]]:
    """A learner with pairs, a paper, a decision amended and appealed; a unit and an own rule adopted."""
    with served_on(tmp_path_factory.mktemp("everybody"), DAY) as site:
        ledger = site.ledger
        code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
        who = classes.join(ledger, room=code, name="Ines")
        pairs_from_paper(ledger, code, who, SCENE_NINE, REFERENCES, DAY)
        signed = decisions.sign(ledger, room=code, learner=who, signing=signing(), today=date(2026, 3, 10))
        act = {"room": code, "learner": who, "row": signed.row, "by": "L. Okafor"}
        decisions.amend(ledger, **act, name="noise", new="loud", why="left out", ref="m")
        decisions.appeal(ledger, **act, grounds="the noise", outcome="open", ref="p")
        pass_rules.adopt(ledger, OWN_RULES.encode(), "own.csv")
        units.adopt(ledger, UNIT.encode(), "unit.csv")
        paper = papers.set_paper(ledger, room=code, setting=papers.Setting("Recheck"), seed=5)
        paper_taken(ledger, code, who, paper, DAY, [0] * 24)
        page = offline(chromium, site, [])
        as_lecturer(page, site)
        yield site, page, code, who
        page.context.close()


def shown(site: DatedSite, page: Page, code: str, who: str) -> Iterator[str]:
    """Go from page to page of the area, each in the state with most on it; yield what it is."""
    for path in (
        "/evidence",
        f"/evidence/{code}/{who}",
        f"/evidence/{code}/{who}/feedback",
        "/evidence/check?store=yes",
        f"/class/{code}/papers",
    ):
        page.goto(f"{site.here}{path}")
        expect(page.locator("h1").first).to_be_visible()
        page.evaluate("document.querySelectorAll('main details').forEach((one) => { one.open = true; })")
        yield path
    for path, text, button in (("/evidence/rules", OWN_RULES, "Show odds"), ("/evidence/units", UNIT, "Show")):
        page.goto(f"{site.here}{path}")
        page.get_by_label("or its text").fill(text)
        page.get_by_role("button", name=button, exact=True).click()
        expect(page.get_by_role("button", name="Adopt")).to_be_visible()
        yield path
    page.goto(f"{site.here}/evidence/check")
    file = {"name": "b.zip", "mimeType": "application/zip", "buffer": b"no bundle"}
    page.get_by_label("Evidence bundle (ZIP)").set_input_files(files=[file])  # type: ignore[list-item]
    page.get_by_role("button", name="Check the bundle").click()
    expect(page.get_by_role("status")).to_contain_text("Altered")
    yield "/evidence/check with a bundle"


@IN_EVERY_LOOK
def test_pages_are_accessible_and_fit(desk: tuple[DatedSite, Page, str, str], width: int, scheme: str) -> None:
    """By axe no fault; no page is wider than the screen."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm ci)")
    site, page, code, who = desk
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    faults = []
    for path in shown(site, page, code, who):
        page.evaluate(AXE.read_text(encoding="utf-8"))
        found = page.evaluate("(tags) => axe.run({runOnly: tags})", TAGS)
        faults += [(path, one["id"], one["nodes"][0]["html"][:120]) for one in found["violations"]]
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            faults.append((path, "wider than the screen", ""))
    assert faults == []


def test_a_decision_is_signed_by_keyboard_alone(desk: tuple[DatedSite, Page, str, str]) -> None:
    """Tab leads through every field in order, Space chooses, Enter signs; what has the focus shows it."""
    site, page, code, who = desk
    page.goto(f"{site.here}/evidence/{code}/{who}")
    page.get_by_label("Not yet competent", exact=True).focus()
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.type("one more set")
    met: list[str] = []
    for _ in range(24):
        page.keyboard.press("Tab")
        name, kind, ring = page.evaluate(
            "(({name, type, textContent}) => [name || textContent, type, "
            "getComputedStyle(document.activeElement).outlineStyle])(document.activeElement)"
        )
        if name not in met:
            met.append(name)
        assert kind == "date" or ring != "none", name  # the parts of a date are marked by the browser itself
        if name == "assessor":
            page.keyboard.type("L. Okafor")
        if name == "Sign":
            break
    assert met == [
        "setting", "noise", "place", "adjustment", "assessor", "credential", "second_assessor", "second_says",
        "signed_on", "feedback_on", "retain_months", "identity_checked", "learner_declares", "Sign",
    ]  # fmt: skip
    page.keyboard.press("Enter")
    expect(page.locator("#decisions")).to_contain_text("one more set")
