"""The scene of the gauge 6 low by hand in a real Chromium: the same list as by command, decided, on phone and desk."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from hushpoint.ledger.store import open_ledger
from looks import IN_EVERY_LOOK
from recall_scene import NOTED, furnish
from serving import Site, start, stop

pytestmark = pytest.mark.browser
AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Site, str]]:
    """A server over a ledger with the scene, and the gauge's id."""
    data = tmp_path_factory.mktemp("recall")
    ledger = open_ledger(data, None)
    bad, _ = furnish(ledger)
    ledger.close()
    running = start(data)
    yield running, bad.id
    stop(running)


@pytest.fixture(scope="module")
def desk_page(scene: tuple[Site, str], chromium: Browser) -> Iterator[Page]:
    """The lecturer, signed in."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.set_default_timeout(8000)
    page.goto(f"{scene[0].here}/class")
    page.get_by_label("Password").fill("ten letters or more")
    page.get_by_role("button", name="Set password").click()
    page.get_by_role("heading", name="Your classes").wait_for()
    yield page
    context.close()


def by_command(site: Site) -> list[dict[str, object]]:
    """The lines that the command prints."""
    program = [sys.executable, "-c", "from hushpoint.cli.main import run; run()"]
    answer = subprocess.run(
        [*program, "recall", "G4", "--data", str(site.data), "--json"], capture_output=True, text=True, check=True
    )
    lines: list[dict[str, object]] = json.loads(answer.stdout)["lines"]
    return lines


def test_scene_by_hand_as_by_command(scene: tuple[Site, str], desk_page: Page) -> None:
    """From the gauge's page to the list; a letter for the one of today, a note for fourteen; both ways agree."""
    site, gauge = scene
    desk_page.goto(f"{site.here}/kit/{gauge}")
    desk_page.get_by_role("link", name="What it touched while it was off").click()
    boxes = desk_page.locator('input[name="line"]')
    expect(boxes.first).to_be_visible()
    shown = [str(box.get_attribute("value")) for box in boxes.all()]
    assert shown == [line["line"] for line in by_command(site)]
    for key, value in (("K17", "180/112"), ("K09", "162/98"), ("K05", "142/90"), ("K12", "140/94")):
        expect(desk_page.locator("tr", has=desk_page.locator(f'[value="visit:visit{key}"]'))).to_contain_text(value)
    desk_page.locator('[value="visit:visitK17"]').check()
    desk_page.get_by_label("What was decided").select_option("letter")
    desk_page.get_by_label("Why, without names").fill("asked to come today")
    desk_page.get_by_role("button", name="Record the decision").click()
    expect(desk_page.locator("tr", has_text="K17")).to_contain_text("letter sent")
    for code in NOTED:
        desk_page.locator(f'[value="visit:visit{code}"]').check()
    desk_page.get_by_label("What was decided").select_option("annotate")
    desk_page.get_by_label("Why, without names").fill("6 low, no change")
    desk_page.get_by_role("button", name="Record the decision").click()
    expect(desk_page.get_by_role("link", name="Not decided (16)")).to_be_visible()
    decided = {line["code"]: line["decided"] for line in by_command(site) if line["decided"]}
    assert set(decided) == {"K17", *NOTED}
    assert decided["K17"]["decision"] == "letter"  # type: ignore[index]


@IN_EVERY_LOOK
def test_the_list_is_accessible_and_fits(scene: tuple[Site, str], desk_page: Page, scheme: str, width: int) -> None:
    """By axe (WCAG 2.2 AA) no fault; no sideways scrolling."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm ci)")
    desk_page.set_viewport_size({"width": width, "height": 800})
    desk_page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    desk_page.goto(f"{scene[0].here}/kit/recall/{scene[1]}")
    desk_page.evaluate(AXE.read_text(encoding="utf-8"))
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
    found = desk_page.evaluate("(tags) => axe.run({runOnly: tags})", tags)
    assert [(one["id"], one["nodes"][0]["html"][:160]) for one in found["violations"]] == []
    assert desk_page.evaluate("document.documentElement.scrollWidth <= innerWidth")
