"""Whose error, by the lecturer: from an empty class to who reads high, on a phone and on a laptop, axe clean."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from serving import Site

pytestmark = pytest.mark.browser
AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"
HEAD = "learner,systolic,diastolic,reference_systolic,reference_diastolic\n"


@pytest.fixture
def code(lecturer: Page, site: Site) -> str:
    """A class with three names on its list."""
    lecturer.set_viewport_size({"width": 1280, "height": 800})
    lecturer.goto(f"{site.here}/class")
    lecturer.get_by_label("Name of the class").fill("Whose")
    lecturer.get_by_role("button", name="Open", exact=True).click()
    lecturer.wait_for_url(re.compile(r"/class/[A-Z]{4}$"))
    lecturer.get_by_label("Paste names, one a line").fill("Ines Invented\nTomo Invented\nPia Invented")
    lecturer.get_by_role("button", name="Look at the list").click()
    lecturer.get_by_role("button", name="Add 3 to the list").click()
    expect(lecturer.get_by_text("3 names added")).to_be_visible()
    return re.findall(r"/class/([A-Z]{4})", lecturer.url)[0]


def axe_clean(page: Page, path: Path) -> None:
    """Nothing sideways and nothing that axe finds, on a phone and on a laptop."""
    for width in (360, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        if AXE.exists():
            page.evaluate(AXE.read_text(encoding="utf-8"))
            found = page.evaluate("axe.run().then(found => found.violations.map(one => one.id + ': ' + one.help))")
            assert found == []
        page.screenshot(path=path / f"{width}.png", full_page=True)


def test_from_an_empty_class_to_who_reads_high(site: Site, lecturer: Page, code: str, tmp_path: Path) -> None:
    """Empty, the page says what helps; then Ines, 6 less 0.25 high, is first in the table and has a page of her own."""
    lecturer.goto(f"{site.here}/class/{code}")
    lecturer.get_by_role("link", name="Whose error?").click()
    expect(lecturer.get_by_role("heading", name="Nothing to compare yet")).to_be_visible()
    axe_clean(lecturer, tmp_path)
    lines = [
        f"{name} Invented,{110 + 4 * turn + off + 2 * (turn % 3 - 1)},{70 + off},{110 + 4 * turn},70\n"
        for turn in range(8)
        for name, off in (("Ines", 6), ("Tomo", 0), ("Pia", 0))
    ]
    (tmp_path / "pairs.csv").write_text(HEAD + "".join(lines), encoding="utf-8")
    lecturer.get_by_role("link", name="take in a file").click()
    lecturer.get_by_label(re.compile("CSV")).set_input_files(tmp_path / "pairs.csv")
    lecturer.get_by_role("button", name=re.compile("Look")).click()
    lecturer.get_by_role("button", name=re.compile("Store")).click()
    lecturer.goto(f"{site.here}/class/{code}/whose")
    first = lecturer.get_by_role("region", name="Observers, systolic").locator("tbody tr").first
    expect(first).to_contain_text("Ines Invented")
    expect(first).to_contain_text("+5.8")
    todo = lecturer.locator("section", has=lecturer.get_by_role("heading", name="Next", exact=True))
    expect(todo.get_by_role("link", name="Ines Invented")).to_be_visible()
    expect(todo).to_contain_text("5.8 high on systolic, 6.0 high on diastolic. Listen together on one release.")
    expect(todo).not_to_contain_text("Tomo")
    drawn = lecturer.locator("picture img").first
    expect(drawn).to_be_visible()
    assert drawn.evaluate("one => one.decode().then(() => one.naturalWidth)") > 0
    axe_clean(lecturer, tmp_path)
    lecturer.get_by_label("Whose bias is called 0").select_option(label="Ines Invented")
    lecturer.get_by_role("button", name="Compare").click()
    expect(lecturer.get_by_role("region", name="Observers, systolic")).to_contain_text("is the zero")
    lecturer.get_by_role("link", name="Ines Invented").first.click()
    expect(lecturer.get_by_role("heading", name="How the numbers were written")).to_be_visible()
    lecturer.goto(f"{site.here}/whose")
    expect(lecturer.get_by_role("link", name=f"Ines Invented ({code})").first).to_be_visible()
