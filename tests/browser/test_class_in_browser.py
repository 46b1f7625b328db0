"""Class, board and wall in a real Chromium: flows, live events, widths, accessibility light and dark."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from bench_logs import bench_log
from looks import IN_EVERY_LOOK
from serving import Site

pytestmark = pytest.mark.browser
AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"


def opened(lecturer: Page, site: Site, name: str) -> str:
    """Open a class in the browser and return its code."""
    lecturer.goto(f"{site.here}/class")
    lecturer.get_by_label("Name of the class").fill(name)
    lecturer.get_by_role("button", name="Open", exact=True).click()
    lecturer.wait_for_url(re.compile(r"/class/[A-Z]{4}$"))
    return lecturer.url.rsplit("/", 1)[1]


def join(tab: Page, site: Site, code: str, name: str) -> None:
    """Join on a phone by the class network's plain address."""
    tab.goto(f"{site.classroom}/")
    tab.get_by_label("Class code").fill(code.lower())
    tab.get_by_role("button", name="Join the class").click()
    tab.get_by_label("Your name, as on the class list").fill(name)
    tab.get_by_role("button", name="Join", exact=True).click()
    tab.wait_for_url("**/practise")


def measure(tab: Page) -> dict[str, Any]:
    """Send one finished measurement from the learner's own page, as the bench does."""
    log = json.dumps(bench_log((124, 82)))
    found: dict[str, Any] = tab.evaluate(
        """async (log) => {
          const headers = {"content-type": "application/json"};
          const send = (path, body) => fetch(path, {method: "POST", headers, body});
          const begun = await (await send("/practise/measurements", JSON.stringify({ref: String(Math.random()),
            guided: false, again: null}))).json();
          const choices = Object.fromEntries(begun.rows.map((row) => [row.id, row.choices[0].id]));
          const set = await send(`/practise/measurements/${begun.measurement}/set-up`, JSON.stringify({choices}));
          const filed = await send(`/practise/measurements/${begun.measurement}/log`, log);
          return {set: set.status, filed: filed.status};
        }""",
        log,
    )
    return found


def test_reading_reaches_board_and_wall_while_they_are_open(
    site: Site, lecturer: Page, tab: Page, chromium: Browser
) -> None:
    """Joined and measured on a phone: the open board shows name and reading, the open wall counts alone."""
    code = opened(lecturer, site, "Live")
    wall = lecturer.context.new_page()
    wall.goto(f"{site.here}/class/{code}/wall")
    join(tab, site, code, "Ines Invented")
    expect(lecturer.get_by_role("link", name="Ines Invented", exact=True)).to_be_visible()
    assert measure(tab) == {"set": 200, "filed": 201}
    expect(lecturer.get_by_text("124/82")).to_be_visible(timeout=1000)
    expect(wall.locator("#board")).to_contain_text("1 readings")
    assert "Ines" not in wall.content()
    wall.close()


def test_roster_then_erasure_by_hand(site: Site, lecturer: Page) -> None:
    """A pasted list appears on the board; an erased learner leaves it."""
    code = opened(lecturer, site, "List")
    lecturer.get_by_label("Paste names, one a line").fill("Bram Invented\nAsha Invented")
    lecturer.get_by_role("button", name="Look at the list").click()
    lecturer.get_by_role("button", name="Add 2 to the list").click()
    expect(lecturer.get_by_text("2 names added")).to_be_visible()
    lecturer.get_by_role("link", name="Bram Invented", exact=True).click()
    lecturer.get_by_label("Erase everything about this learner").check()
    lecturer.get_by_role("button", name="Erase").click()
    lecturer.wait_for_url(f"**/class/{code}")
    expect(lecturer.get_by_role("link", name="Bram Invented", exact=True)).to_have_count(0)
    expect(lecturer.get_by_role("link", name="Asha Invented", exact=True)).to_be_visible()


def test_joining_by_keyboard_alone(site: Site, lecturer: Page, tab: Page) -> None:
    """Typing and Enter are enough to join."""
    code = opened(lecturer, site, "Keys")
    tab.goto(f"{site.classroom}/join/{code}")
    for _ in range(12):
        tab.keyboard.press("Tab")
        if tab.evaluate("document.activeElement.id") == "name":
            break
    tab.keyboard.type("Noor Invented")
    tab.keyboard.press("Enter")
    tab.wait_for_url("**/practise")


@IN_EVERY_LOOK
def test_every_page_is_accessible_and_fits(site: Site, lecturer: Page, scheme: str, width: int, tmp_path: Path) -> None:
    """By axe (WCAG 2.2 AA) no fault, no sideways scrolling, targets of 44 px, light weight."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm ci)")
    code = opened(lecturer, site, "Looks")
    lecturer.get_by_label("Paste names, one a line").fill("Wren Invented\nYara Invented")
    lecturer.get_by_role("button", name="Look at the list").click()
    lecturer.get_by_role("button", name="Add 2 to the list").click()
    who = lecturer.locator("tr[data-who]").first.get_attribute("data-who")
    lecturer.set_viewport_size({"width": width, "height": 800})
    lecturer.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    paths = ["/", "/join/" + code, "/class", f"/class/{code}", f"/class/{code}/wall", f"/class/{code}/learner/{who}"]
    paths += [f"/class/{code}/rounds", f"/class/{code}/rounds/wall", f"/class/{code}/papers"]
    faults = []
    for path in [*paths, "/agreement", "/policy", "/nowhere"]:
        lecturer.goto(f"{site.here}{path}")
        lecturer.evaluate(AXE.read_text(encoding="utf-8"))
        tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
        found = lecturer.evaluate("(tags) => axe.run({runOnly: tags})", tags)
        faults += [(path, one["id"], one["nodes"][0]["html"][:160]) for one in found["violations"]]
        if lecturer.evaluate("document.documentElement.scrollWidth > innerWidth"):
            faults.append((path, "scrolls sideways", ""))
        small = lecturer.evaluate(
            """[...document.querySelectorAll("button, a.button, .top a, input, select, textarea, td a, th a, summary")]
              .filter((one) => one.getClientRects().length && !(one.type === "checkbox" || one.type === "radio"))
              .filter((one) => one.getBoundingClientRect().height < 43.5)
              .map((one) => one.outerHTML.slice(0, 120))"""
        )
        faults += [(path, "lower than 44 px", one) for one in small]
    lecturer.set_viewport_size({"width": 1280, "height": 800})
    assert faults == []


def test_agreement_page_by_hand(site: Site, tab: Page, tmp_path: Path) -> None:
    """A file chosen by hand gives table and picture on a phone."""
    rows = "measurement,observer,systolic,diastolic\n"
    rows += "1,J,120,80\n1,R,124,80\n2,J,130,84\n2,R,130,86\n3,J,110,70\n3,R,112,70\n"
    (tmp_path / "readings.csv").write_text(rows, encoding="utf-8")
    tab.goto(f"{site.classroom}/agreement")
    tab.get_by_label("Readings, CSV").set_input_files(tmp_path / "readings.csv")
    tab.get_by_role("button", name="Compare").click()
    expect(tab.get_by_role("heading", name="R minus J")).to_be_visible()
    assert tab.evaluate("document.querySelector('figure img').naturalWidth") > 100
    assert tab.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_page_weight(site: Site, tab: Page) -> None:
    """Page and style of the door, fetched for the first time, stay far below 120 kB."""
    tab.goto(f"{site.classroom}/", wait_until="networkidle")
    sizes = tab.evaluate(
        """[...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")]
          .map((one) => one.decodedBodySize)"""
    )
    print(f"door: {sum(sizes)} bytes")
    assert 5_000 < sum(sizes) < 60_000
