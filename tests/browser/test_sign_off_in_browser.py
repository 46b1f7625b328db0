"""Scene 9 in Chromium: a name is found, the record read, the decision signed, the bundle taken and verified."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

from evidence_scenes import REFERENCES, SCENE_NINE
from hushpoint.desk.bundle_check import verify_bundle
from serving import Site


def test_twenty_pairs_are_signed_and_leave_as_a_bundle(lecturer: Page, site: Site) -> None:
    """Twenty pairs from a file meet 90/95; an adjustment that says why is refused, the rest stays; then signed."""
    page = lecturer
    page.goto(f"{site.here}/class")
    page.get_by_label("Name of the class").fill("Group nine")
    page.get_by_role("button", name="Open", exact=True).click()
    page.get_by_role("heading", name="Group nine").wait_for()
    code = page.url[-4:]
    request = page.request
    request.post(f"{site.here}/class/{code}/roster", form={"names": "Ines Nine", "add": "yes"})
    lines = ["learner,systolic,diastolic,reference_systolic,reference_diastolic,client,at,inflation"]
    for place, ((upper, lower), (high, low)) in enumerate(zip(REFERENCES, SCENE_NINE, strict=False)):
        numbers = f"{upper + high},{lower + low},{upper},{lower}"
        lines.append(f"Ines Nine,{numbers},K{place:02d},2026-11-02T10:{place:02d},same")
    page.goto(f"{site.here}/class/{code}/pairs/import")
    sheet = {"name": "pairs.csv", "mimeType": "text/csv", "buffer": "\n".join(lines).encode()}
    page.get_by_label("Pairs, CSV").set_input_files(files=[sheet])  # type: ignore[list-item]
    page.get_by_role("button", name="Look at the file").click()
    page.get_by_role("button", name="Store 20 pairs").click()
    page.wait_for_load_state()
    page.goto(f"{site.here}/evidence")
    page.get_by_label("Find a name").fill("nine")
    page.get_by_role("button", name="Find").click()
    page.get_by_role("link", name="Ines Nine", exact=True).click()
    page.get_by_role("heading", name="What the record shows").wait_for()
    shown = page.locator("main").inner_text()
    assert "Competent by this rule" in shown
    assert "systolic: 18 of 20 within 5 mmHg" in shown
    assert "more clean reading" in shown
    page.get_by_label("Competent", exact=True).check()
    page.get_by_label("Reasons").fill("twenty fair pairs")
    page.get_by_label("Assessor", exact=True).fill("L. Okafor")
    page.get_by_label("Adjustment: what was changed, never why").fill("hearing loss")
    page.get_by_role("button", name="Sign", exact=True).click()
    page.get_by_role("alert").wait_for()
    assert page.get_by_label("Reasons").input_value() == "twenty fair pairs"
    page.get_by_label("Adjustment: what was changed, never why").fill("amplified stethoscope head")
    page.get_by_role("button", name="Sign", exact=True).click()
    page.get_by_text("Adjustment: amplified stethoscope head. The rule was the same.").wait_for()
    with page.expect_download() as took:
        page.get_by_role("link", name="Evidence bundle (ZIP)").click()
    found = verify_bundle(Path(took.value.path()).read_bytes())
    assert (found.problems, [one["follows"] for one in found.decisions]) == ([], [True])
    page.goto(f"{site.here}/class/{code}/wall")
    assert "Nine" not in page.locator("main").inner_text().replace("Group nine", "")
