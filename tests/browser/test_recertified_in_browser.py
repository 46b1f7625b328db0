"""Scene 10 in Chromium: signed 10 March, lapsed 10 September, renewed by the second form of a listening paper."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest
from playwright.sync_api import Browser, Page, expect

from evidence_scenes import REFERENCES, SCENE_NINE, pairs_from_paper, signing
from evidence_site import DatedSite, as_lecturer, offline, served_on
from hushpoint.desk import classes, decisions, papers

pytestmark = pytest.mark.browser


@pytest.fixture
def due(tmp_path_factory: pytest.TempPathFactory, chromium: Browser) -> Iterator[tuple[DatedSite, Page, str, str]]:
    """A learner signed on 10 March by twenty pairs; the lecturer opens the list on 14 September."""
    with served_on(tmp_path_factory.mktemp("renewal"), "2026-03-10") as site:
        code = classes.open_class(site.ledger, name="Group ten", policy_id="PALPATED_30")
        who = classes.join(site.ledger, room=code, name="Ines Ten")
        pairs_from_paper(site.ledger, code, who, SCENE_NINE, REFERENCES, "2026-03-10")
        decisions.sign(site.ledger, room=code, learner=who, signing=signing(), today=date(2026, 3, 10))
        site.clock.day = "2026-09-14"
        page = offline(chromium, site, [])
        as_lecturer(page, site)
        yield site, page, code, who
        page.context.close()


def form_typed_in(site: DatedSite, page: Page, code: str, paper: str, off: list[int]) -> int:
    """Take a form out, and type what was heard in the room, the 24 answers off by `off`; return the form's number."""
    page.goto(f"{site.here}/class/{code}/papers/{paper}")
    page.get_by_role("button", name="Take a form out").click()
    expect(page.get_by_role("heading", name="Type what was written on paper")).to_be_visible()
    number = int(page.url.rpartition("/")[2])
    keys = papers.keys_of(papers.paper_of(site.ledger, code, paper), number)
    for place, key in enumerate(keys, start=1):
        upper = int(key.systolic_mmhg) + off[2 * place - 2]
        lower = int(key.diastolic_mmhg) + off[2 * place - 1]
        page.locator(f"#pair_{place}").fill(f"{upper}/{lower}")
    page.get_by_role("button", name="Look at it as read").click()
    page.get_by_role("button", name="Seal and mark: it stays so").click()
    expect(page.get_by_text("Ines Ten: stored and marked.")).to_be_visible()
    return number


def judged(site: DatedSite, page: Page, code: str, who: str) -> None:
    """Open the learner's record and choose the rule of the fixed truth."""
    page.goto(f"{site.here}/evidence/{code}/{who}")
    page.get_by_label("Pass rule").select_option("NHANES_2003")
    page.get_by_label("Asked besides").select_option("every")
    page.get_by_role("button", name="Show", exact=True).click()
    expect(page.get_by_label("Pass rule")).to_have_value("NHANES_2003")


def sign(page: Page, decision: str, reasons: str) -> None:
    """Decide and sign."""
    page.get_by_label(decision, exact=True).check()
    page.get_by_label("Reasons").fill(reasons)
    page.get_by_label("Assessor", exact=True).fill("L. Okafor")
    page.get_by_role("button", name="Sign", exact=True).click()
    expect(page.locator("#decisions")).to_contain_text(reasons)


def test_lapsed_not_renewed_by_21_of_24_and_renewed_by_23(due: tuple[DatedSite, Page, str, str]) -> None:
    """Attempt 1: 21 within 2, all within 4, 22 asked; attempt 2 on another form: 23 and 24; current to 14 March."""
    site, page, code, who = due
    page.goto(f"{site.here}/evidence/{code}")
    expect(page.get_by_role("row", name="Ines Ten")).to_contain_text("Signed 10 Mar 2026, lapsed 10 Sep 2026")
    page.goto(f"{site.here}/class/{code}/papers")
    page.get_by_label("What learners see it called").fill("Recheck")
    page.get_by_role("button", name="Set the paper").click()
    expect(page.get_by_role("heading", name="Recheck")).to_be_visible()
    paper = page.url.rpartition("/")[2]
    first = form_typed_in(site, page, code, paper, [4, -4, 4] + [0] * 21)
    judged(site, page, code, who)
    main = page.locator("main")
    expect(main.locator(".verdict").first).to_contain_text("Not yet")
    expect(main).to_contain_text("systolic and diastolic: 21 of 24 within 2 mmHg, 22 asked")
    expect(main).to_contain_text("24 of 24 within 4 mmHg, 24 asked")
    sign(page, "Not yet competent", "21 of 24, 22 asked: a new form")
    expect(page.locator("#decisions article").first).to_contain_text("attempt 1")
    expect(main).to_contain_text("lapsed 10 Sep 2026")
    second = form_typed_in(site, page, code, paper, [4] + [0] * 23)
    assert second != first
    judged(site, page, code, who)
    expect(main.locator(".verdict").first).to_contain_text("Competent by this rule")
    expect(main).to_contain_text("systolic and diastolic: 23 of 24 within 2 mmHg, 22 asked")
    expect(main).to_contain_text("24 of 24 within 4 mmHg, 24 asked")
    sign(page, "Competent", "23 and 24 of 24 on another form")
    expect(page.locator("#decisions article").first).to_contain_text("attempt 2")
    expect(main).to_contain_text("Signed 14 Sep 2026, current to 14 Mar 2027")
    page.goto(f"{site.here}/evidence/{code}")
    expect(page.get_by_role("row", name="Ines Ten")).to_contain_text("current to 14 Mar 2027")
