"""Scene 3 in Chromium: 14 of 30 systolics end in 0; a reading habit to review, told beside the verdict, no failure."""

from __future__ import annotations

import io

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from serving import Site

pytestmark = pytest.mark.browser
ENDS_IN_0 = [120, 110, 130, 140, 150, 120, 110, 160, 130, 120, 140, 110, 120, 130]
OTHERS = [112, 124, 126, 138, 142, 144, 146, 148, 152, 164, 128, 118, 116, 134, 132, 122]


def test_fourteen_zeros_of_thirty_ask_to_review_the_habit(lecturer: Page, site: Site) -> None:
    """Expected 6, p 0.0009, from 12 on at 1 %: on the pairs, the evidence and the feedback, with the rule met."""
    page = lecturer
    page.goto(f"{site.here}/class")
    page.get_by_label("Name of the class").fill("Group three")
    page.get_by_role("button", name="Open", exact=True).click()
    expect(page.get_by_role("heading", name="Group three")).to_be_visible()
    code = page.url[-4:]
    page.request.post(f"{site.here}/class/{code}/roster", form={"names": "Zora Three", "add": "yes"})
    lines = ["learner,systolic,diastolic,reference_systolic,reference_diastolic,client,at,inflation"]
    for place, upper in enumerate(ENDS_IN_0 + OTHERS):
        off = 2 * (place % 3 == 0)
        lower = 64 + 2 * (place % 15)
        lines.append(f"Zora Three,{upper},{lower},{upper - off},{lower},K{place:02d},2026-11-02T10:{place:02d},same")
    page.goto(f"{site.here}/class/{code}/pairs/import")
    sheet = {"name": "pairs.csv", "mimeType": "text/csv", "buffer": "\n".join(lines).encode()}
    page.get_by_label("Pairs, CSV").set_input_files(files=[sheet])  # type: ignore[list-item]
    page.get_by_role("button", name="Look at the file").click()
    page.get_by_role("button", name="Store 30 pairs").click()
    expect(page.get_by_role("button", name="Store 30 pairs")).to_have_count(0)
    page.goto(f"{site.here}/evidence/{code}")
    page.get_by_role("link", name="Zora Three", exact=True).click()
    main = page.locator("main")
    habit = "14 of 30 even readings, 6 expected, p 0.0009, from 12 on at 1 %"
    expect(main).to_contain_text(f"Review the reading habit, systolic: zeros stand out clearly: {habit}")
    expect(main).to_contain_text("A habit of the pen, no part of the verdict.")
    expect(main).to_contain_text("Competent by this rule")
    page.get_by_role("link", name="Feedback page: one fix").click()
    expect(page.locator(".verdict")).to_contain_text("Review the reading habit")
    expect(page.locator(".verdict")).to_contain_text(habit)
    told = page.get_by_role("link", name="Print it (PDF)").get_attribute("href") or ""
    sheet_of_paper = PdfReader(io.BytesIO(page.request.get(f"{site.here}{told}").body()))
    assert len(sheet_of_paper.pages) == 1
    words = " ".join(sheet_of_paper.pages[0].extract_text().split())
    assert "Review the reading habit" in words
    assert "14 of 30 even readings" in words
    page.get_by_role("link", name="Evidence of Zora Three").click()
    page.get_by_role("link", name="Pairs", exact=True).click()
    expect(main).to_contain_text(f"review the reading habit: zeros stand out clearly: {habit}")
    assert "fail" not in main.inner_text().casefold()
