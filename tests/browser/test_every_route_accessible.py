"""Every page of the permission table, by axe and by keyboard, as whoever may see it, on a phone and on a laptop."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, Page

from permission_rows.rows import ASKERS
from school import TABLE, School, furnished

pytestmark = pytest.mark.browser
AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
ORDER = ("lecturer", "learner", "assessor", "practitioner", "auditor", "stranger")
ONE_IN = 15
"""In `make test` one page in so many, at 360, light; `make hard` looks at all, twice as wide and dark too."""
MOST_TABS = 400
REACHABLE = """() => {
  const seen = (one) => one.checkVisibility({visibilityProperty: true, opacityProperty: false})
    && one.getClientRects().length > 0 && !one.closest("[inert]");
  const groups = new Set();
  const found = [];
  for (const one of document.querySelectorAll(
      "a[href], button, input, select, textarea, summary, iframe, [tabindex]:not([tabindex='-1'])")) {
    if (one.matches(":disabled, [type=hidden]") || one.tabIndex < 0 || !seen(one)) continue;
    if (one.type === "radio") {
      const group = `${one.form?.id ?? ""}:${one.name}`;
      if (groups.has(group)) continue;
      groups.add(group);
      one.dataset.keys = `radio ${group}`;
    } else one.dataset.keys = `${found.length} ${one.outerHTML.slice(0, 110)}`;
    found.push(one.dataset.keys);
  }
  document.activeElement?.blur();
  return found;
}"""
FOCUSED = """() => {
  const one = document.activeElement;
  if (!one || one === document.body) return null;
  const style = getComputedStyle(one);
  const ring = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 1;
  const key = one.type === "radio" ? `radio ${one.form?.id ?? ""}:${one.name}` : one.dataset.keys ?? "";
  const own = one.matches("audio, video"); // the browser draws the focus on its own controls inside
  return {key, ring: own || ring || style.boxShadow !== "none", html: one.outerHTML.slice(0, 110)};
}"""


@dataclass
class Served:
    """A furnished school behind a real socket."""

    school: School
    port: int


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Serve the furnished school from this process."""
    with furnished(tmp_path_factory.mktemp("school")) as school:
        server = uvicorn.Server(uvicorn.Config(school.app, port=0, log_level="error", lifespan="off"))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.02)
        yield Served(school, server.servers[0].sockets[0].getsockname()[1])
        server.should_exit = True
        thread.join(timeout=10)


def pages(school: School, *, one_in: int = 1) -> Iterator[tuple[str, str]]:
    """Yield every page with each role that may look at it, or one in so many."""
    for role, path in list(_addresses(school))[::one_in]:
        if school.device(role).get(path).headers.get("content-type", "").startswith("text/html"):
            yield role, path


def _addresses(school: School) -> Iterator[tuple[str, str]]:
    for (method, route), asked in TABLE.items():
        if method != "GET" or route == "/static" or route.endswith(("/events", "/now")):  # parts of a page
            continue
        path = route.format(**school.words)
        may = [role for role in ORDER if asked.statuses()[role] == 200]
        assert set(may) <= set(ASKERS)
        yield from ((role, path) for role in may)


WIDEST = """() => [...document.querySelectorAll("body *")].reduce((one, other) =>
    other.getBoundingClientRect().right > one.getBoundingClientRect().right ? other : one).outerHTML.slice(0, 200)"""


def faults_of(page: Page) -> list[str]:
    """Look at a page by axe, for sideways scrolling, and go through it by Tab."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("(tags) => axe.run({runOnly: tags})", TAGS)["violations"]
    faults = [f"axe {one['id']}: {one['nodes'][0]['html'][:160]}" for one in found]
    if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
        faults.append(f"scrolls sideways: {page.evaluate(WIDEST)}")
    return faults + _by_keyboard(page)


def _by_keyboard(page: Page) -> list[str]:
    """Press Tab through the page: whatever can be used is reached, and the focus is seen on each."""
    wanted: list[str] = page.evaluate(REACHABLE)
    reached: dict[str, bool] = {}
    hidden: list[str] = []
    for _ in range(min(MOST_TABS, 3 * len(wanted) + 20)):
        page.keyboard.press("Tab")
        now: dict[str, Any] | None = page.evaluate(FOCUSED)
        if now is None:  # past the end: a page that puts the focus somewhere goes on from its beginning
            continue
        if now["key"] in reached:  # a date has several places to stop at; the page begun anew is the end
            if now["key"] == next(iter(reached)) and len(reached) > 1:
                break
            continue
        reached[now["key"]] = True
        if not now["ring"]:
            hidden.append(now["html"])
    missed = [one for one in wanted if one not in reached][: MOST_TABS - len(reached)]
    return [f"not reached by Tab: {one}" for one in missed] + [f"focus not seen: {one}" for one in hidden]


def look_at(served: Served, chromium: Browser, asked: list[tuple[str, str]], width: int, scheme: Any) -> None:
    """Look at pages, each role in a browser of its own; nothing may be found."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm ci)")
    base, faults, looked = f"http://localhost:{served.port}", [], 0
    for role in dict.fromkeys(role for role, _ in asked):
        size = {"width": width, "height": 800 if width > 500 else 640}
        with chromium.new_context(viewport=size, color_scheme=scheme) as context:  # type: ignore[arg-type]
            cookies = served.school.cookies_of(role)
            context.add_cookies([{"name": name, "value": value, "url": base} for name, value in cookies.items()])
            page = context.new_page()
            page.set_default_timeout(15_000)
            page.route("**/practise/pairs/waiting", lambda route: route.abort())  # it would open a pair by itself
            for path in [path for one, path in asked if one == role]:
                page.goto(f"{base}{path}")
                faults += [f"{role} {path} {fault}" for fault in faults_of(page)]
                looked += 1
    print(f"\n{looked} pages at {width}, {scheme}")
    assert faults == [], "\n".join(faults)


def test_some_pages_on_a_phone(served: Served, chromium: Browser) -> None:
    """A slice of all pages, each by axe and by keyboard."""
    look_at(served, chromium, list(pages(served.school, one_in=ONE_IN)), 360, "light")


@pytest.mark.hard
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_every_page_as_everybody_who_may_see_it(served: Served, chromium: Browser, width: int, scheme: str) -> None:
    """Every page of the permission table for every role that may see it."""
    asked = list(pages(served.school))
    assert len(asked) > 60
    look_at(served, chromium, asked, width, scheme)
