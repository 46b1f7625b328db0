"""Every state of the bench on a phone: accessible light and dark, nothing to scroll from bulb to empty cuff."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from bench_driver import Learner
from serving import Site

pytestmark = pytest.mark.browser
AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
SMALL = """[...document.querySelectorAll("button, .big, input, summary, [role=slider]")]
  .filter((one) => one.getClientRects().length && !["checkbox", "radio"].includes(one.type))
  .filter((one) => one.getBoundingClientRect().height < 43.5)
  .map((one) => one.outerHTML.slice(0, 120))"""
REACHED = """["hint", "state", "dial", "bulb", "valve", "open-fully"].filter((id) => {
  const box = document.getElementById(id).getBoundingClientRect();
  return box.top < 0 || box.left < 0 || box.bottom > innerHeight || box.right > innerWidth;
})"""
SCROLLED = """(({ scrollHeight, clientHeight, scrollTop }) => scrollTop > 0 || scrollHeight > clientHeight)(
  document.getElementById("hands"))"""


@pytest.fixture
def phone(chromium: Browser) -> Iterator[Page]:
    """A small phone, touched."""
    shape = {"viewport": {"width": 360, "height": 560}, "has_touch": True, "is_mobile": True}
    with chromium.new_context(**shape, reduced_motion="reduce") as context:  # colours change at once
        yield context.new_page()


class Looker:
    """Looks at a page in each state and keeps what is wrong with it."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.faults: list[tuple[str, ...]] = []

    def look(self, state: str) -> None:
        """Check contrast, names and roles light and dark, sideways scrolling, and the height of what is touched."""
        self.page.evaluate("(code) => { if (!window.axe) (0, eval)(code); }", AXE.read_text(encoding="utf-8"))
        for scheme in ("light", "dark"):
            self.page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            found = self.page.evaluate("(tags) => axe.run({runOnly: tags})", TAGS)
            self.faults += [
                (state, scheme, one["id"], one["nodes"][0]["html"][:160], one["nodes"][0]["failureSummary"][:200])
                for one in found["violations"]
            ]
        if self.page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            self.faults.append((state, "scrolls sideways"))
        self.faults += [(state, "lower than 44 px", one) for one in self.page.evaluate(SMALL)]

    def within_reach(self, state: str) -> None:
        """Check that the whole of dial, bulb and valve is in sight and nothing can be scrolled."""
        self.faults += [(state, "out of sight", one) for one in self.page.evaluate(REACHED)]
        if self.page.evaluate(SCROLLED):
            self.faults.append((state, "scrolls"))


def test_every_state_is_accessible_and_fits_a_phone(site: Site, phone: Page) -> None:
    """One guided measurement at 360 x 560, looked at in all its states by axe (WCAG 2.2 AA), light and dark."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm ci)")
    learner, looker = Learner(phone, "touch"), Looker(phone)
    learner.join_alone(site.classroom)
    looker.look("begin")
    learner.press("#begin-guided")
    phone.wait_for_selector("#rows fieldset")
    looker.look("case")
    learner.choose_rightly()
    looker.look("ready")
    learner.press("#start")
    phone.wait_for_selector("#pulse-skip")
    looker.look("pulse")
    learner.press("#pulse-skip")
    looker.within_reach("feeling")
    learner.pump(120)
    looker.within_reach("felt away")
    learner.open_fully()
    phone.wait_for_selector("#palpated")
    looker.look("palpated")
    phone.fill("#palpated", "118")
    learner.press("#felt button[type=submit]")
    learner.until("hushpoint.facts().doing === 'listen'")
    learner.turn_valve(-100)
    looker.look("waiting")
    looker.within_reach("waiting")
    learner.pump(150)
    looker.within_reach("pumped")
    learner.turn_valve(72)
    learner.until("hushpoint.facts().run.now_mmhg < 90")
    looker.within_reach("releasing")
    learner.open_fully()
    learner.wait_for_entry()
    looker.look("writing")
    learner.write("118", "74")
    learner.judgement()
    phone.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    looker.look("judged")
    phone.goto(site.classroom + "/practise")
    looker.look("own readings")
    phone.goto(site.classroom + "/practise/check")
    learner.press("#play")
    learner.press("#not-heard")
    looker.look("device check")
    learner.press("#heard")
    looker.look("device check, taps")
    assert learner.faults == []
    assert looker.faults == [], "\n".join(map(str, looker.faults))
