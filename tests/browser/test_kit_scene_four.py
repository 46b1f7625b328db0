"""The kit in a real Chromium: a gauge added, good on 1 May, found 6 low on 22 May; how its pages look."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from playwright.sync_api import Browser, Page, expect

from looks import IN_EVERY_LOOK
from serving import Site, start, stop

pytestmark = pytest.mark.browser
AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"
STEPS = (0, 60, 100, 150, 200, 250, 300)


@pytest.fixture(scope="module")
def kit_site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A server of this module's own: its first run sets the password."""
    running = start(tmp_path_factory.mktemp("kit"))
    yield running
    stop(running)


@pytest.fixture(scope="module")
def desk(kit_site: Site, chromium: Browser) -> Iterator[Page]:
    """The lecturer's page, signed in."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.set_default_timeout(8000)
    page.goto(f"{kit_site.here}/class")
    page.get_by_label("Password").fill("ten letters or more")
    page.get_by_role("button", name="Set password").click()
    page.get_by_role("heading", name="Your classes").wait_for()
    yield page
    context.close()


def add(desk: Page, site: Site, kind: str, label: str, **more: str) -> None:
    """Add an item by hand."""
    desk.goto(f"{site.here}/kit")
    desk.get_by_text(f"Add a {kind}").click()
    form = desk.locator(f"form:has(input[name=type][value={kind}])")
    form.get_by_label("Label, as written on it").fill(label)
    for name, value in more.items():
        form.get_by_label(re.compile(name)).fill(value)
    form.get_by_role("button", name=f"Add the {kind}").click()
    expect(desk.get_by_role("link", name=label, exact=True)).to_be_visible()


def check(desk: Page, site: Site, label: str, error_mmhg: int, at: str) -> None:
    """Check a gauge at the bench by the keyboard's digits; its errors stand beside the rows while they are typed."""
    desk.goto(f"{site.here}/kit")
    desk.get_by_role("link", name=label, exact=True).click()
    desk.get_by_role("link", name="Check this gauge").click()
    desk.get_by_label("Reference", exact=True).fill("M1, invented")
    desk.get_by_label("Its certificate (number, date)").fill("12/2026")
    desk.get_by_label("Its certificate error, mmHg").fill("0.5")
    desk.get_by_label("Rule", exact=True).select_option("in_use")
    desk.get_by_label("Checked on").fill(at)
    for step in STEPS:
        for going in ("up", "down"):
            shown = step + (error_mmhg if step else 0)
            desk.get_by_label(f"gauge, going {going}, step {step}", exact=True).fill(str(shown))
    beside = desk.locator("tr[data-row] .told").nth(2)
    expect(beside).to_have_text("−6 outside" if error_mmhg == -6 else "0")
    desk.get_by_role("button", name="Work it out").click()
    expect(desk.get_by_text("Nothing is stored yet")).to_be_visible()
    desk.get_by_role("button", name="Store this check").click()
    desk.get_by_role("link", name="Certificate (PDF)").wait_for()


@pytest.fixture(scope="module")
def furnished(kit_site: Site, desk: Page) -> Page:
    """A gauge with a check, and a cuff."""
    add(desk, kit_site, "gauge", "G7")
    add(desk, kit_site, "cuff", "C2", **{"Bladder width": "13", "Bladder length": "23"})
    check(desk, kit_site, "G7", 0, "2026-05-01T10:00")
    return desk


def test_scene_four_checked_good_then_six_low(kit_site: Site, desk: Page) -> None:
    """Within its limits on 1 May; outside on 22 May: out of use, 136 stands for 142, a certificate says it all."""
    add(desk, kit_site, "gauge", "G4")
    check(desk, kit_site, "G4", 0, "2026-05-01T10:00")
    expect(desk.get_by_text("Within its limits", exact=True)).to_be_visible()
    check(desk, kit_site, "G4", -6, "2026-05-22T10:00")
    expect(desk.get_by_text("Outside its limits: take it out of use")).to_be_visible()
    expect(desk.get_by_text("6 low at 60 going up", exact=False)).to_be_visible()
    row = desk.get_by_role("row", name=re.compile("^144 150.0"))
    expect(row).to_contain_text("148.3 to 151.7")
    expect(desk.get_by_text("never to hide a failed gauge").first).to_be_visible()
    assert desk.evaluate("(async () => { const i = document.querySelector('figure img'); await i.decode(); "
                         "return i.naturalWidth; })()") > 300  # fmt: skip
    answer = desk.context.request.get(f"{desk.url}/certificate.pdf")
    text = " ".join(pypdf.PdfReader(io.BytesIO(answer.body())).pages[0].extract_text().split())
    assert "Outside its limits: take it out of use" in text
    assert "M1, invented; certificate: 12/2026" in text
    desk.goto(f"{kit_site.here}/kit")
    expect(desk.locator("tr", has_text="G4")).to_contain_text("out of use")


@IN_EVERY_LOOK
def test_the_kits_pages_are_accessible_and_fit(kit_site: Site, furnished: Page, scheme: str, width: int) -> None:
    """By axe (WCAG 2.2 AA) no fault, no sideways scrolling, targets of 44 px."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm ci)")
    desk = furnished
    desk.goto(f"{kit_site.here}/kit")
    item = str(desk.get_by_role("link", name="G7", exact=True).get_attribute("href"))
    desk.goto(f"{kit_site.here}{item}")
    checked = str(desk.locator("tbody th a").first.get_attribute("href"))
    desk.set_viewport_size({"width": width, "height": 800})
    desk.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    faults = []
    short = item.removeprefix("/kit")
    paths = ["/kit", item, f"{item}/check", checked, f"{item}/timed", "/kit/due", "/cuff?arm=36", f"/k{short}"]
    for path in paths:
        desk.goto(f"{kit_site.here}{path}")
        desk.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        desk.evaluate(AXE.read_text(encoding="utf-8"))
        tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
        found = desk.evaluate("(tags) => axe.run({runOnly: tags})", tags)
        faults += [(path, one["id"], one["nodes"][0]["html"][:160]) for one in found["violations"]]
        if desk.evaluate("document.documentElement.scrollWidth > innerWidth"):
            faults.append((path, "scrolls sideways", ""))
        small = desk.evaluate(
            """[...document.querySelectorAll("button, a.button, .top a, input, select, textarea, td a, th a, summary")]
              .filter((one) => one.getClientRects().length && !(one.type === "checkbox" || one.type === "radio"))
              .filter((one) => one.getBoundingClientRect().height < 43.5)
              .map((one) => one.outerHTML.slice(0, 120))"""
        )
        faults += [(path, "lower than 44 px", one) for one in small]
    desk.set_viewport_size({"width": 1280, "height": 800})
    assert faults == []
