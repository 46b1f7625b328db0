"""A recording in a real Chromium: taken in, seen with its range, heard with the needle moving, kept, compared."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from serving import Site

pytestmark = pytest.mark.browser
AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"


@pytest.fixture(autouse=True)
def unhurried(lecturer: Page) -> Iterator[None]:
    """The first recording brings the whole of scipy and matplotlib in: a busy machine takes its time over it."""
    lecturer.set_default_timeout(40_000)
    yield
    lecturer.set_default_timeout(8000)


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A rendered recording's WAV; its CSV and truth lie beside it."""
    folder = tmp_path_factory.mktemp("rendered")
    program = Path(sys.executable).with_name("hushpoint")
    subprocess.run([program, "render", "--seed", "40", "--out", folder], check=True, capture_output=True)
    return next(folder.glob("*.wav"))


def take_in(lecturer: Page, site: Site, rendered: Path) -> str:
    """Choose both files and send them; return the recording's address."""
    lecturer.goto(f"{site.here}/recordings")
    lecturer.get_by_label("Sound (.wav").set_input_files(rendered)
    lecturer.get_by_label("Cuff pressure, CSV").set_input_files(rendered.with_suffix(".csv"))
    lecturer.get_by_role("button", name="Listen to it").click()
    lecturer.wait_for_url(re.compile(r"/recordings/[0-9a-f]{20}$"))
    return lecturer.url


def facts(lecturer: Page) -> dict[str, Any]:
    """Return where the needle was drawn, and what was played by which clock."""
    found: dict[str, Any] = lecturer.evaluate(
        """() => { const {trace, player, context} = window.hushpoint.facts();
          return {trace, playing: player?.playing ?? false, started_s: player?.started_s, from_s: player?.from_s,
            speed: player?.speed, latency_s: context?.outputLatency || context?.baseLatency || 0,
            now_s: context?.currentTime, angle: document.querySelector(".dial-needle").getAttribute("transform"),
            last: trace.at(-1)}; }"""
    )
    return found


def pressure_at(rendered: Path, at_s: list[float]) -> np.ndarray[Any, Any]:
    """Return what the CSV says the cuff's pressure was [mmHg]."""
    rows = np.loadtxt(rendered.with_suffix(".csv"), delimiter=",", skiprows=1)
    return np.interp(at_s, rows[:, 0], rows[:, 1])


def test_taken_in_seen_heard_kept_and_compared(site: Site, lecturer: Page, rendered: Path) -> None:
    """The whole way by hand; the needle stands at the pressure of the moment that is heard."""
    address = take_in(lecturer, site, rendered)
    for end in ("systolic", "diastolic"):
        expect(lecturer.locator(f'[data-end="{end}"]')).to_contain_text("mmHg")
        expect(lecturer.get_by_role("img", name=re.compile(f"^{end} between"))).to_be_visible()
    assert lecturer.evaluate("document.querySelector('figure img').decode().then(() => true)")
    lecturer.get_by_role("button", name="Before systolic").click()
    lecturer.wait_for_function("() => window.hushpoint.facts().trace.length > 60")
    found = facts(lecturer)
    assert found["playing"]
    trace = found["trace"][5:]
    places = [one["place_s"] for one in trace]
    assert places[-1] - places[0] > 0.5
    assert np.abs(pressure_at(rendered, places) - [one["mmhg"] for one in trace]).max() < 0.5
    # what is drawn is what has reached the ear by then: the context's clock less the time to the ear
    for one in trace[-20:]:
        assert one["place_s"] == pytest.approx(found["from_s"] + one["context_s"] - found["started_s"], abs=1e-6)
    assert found["now_s"] - found["last"]["context_s"] > found["latency_s"] - 0.02
    turned = float(re.findall(r"rotate\(([-\d.]+)", found["angle"])[0])
    assert turned == pytest.approx(-160 + found["last"]["mmhg"] * 320 / 300, abs=0.6)
    lecturer.get_by_label("Half speed").check()
    lecturer.wait_for_timeout(700)
    slow = facts(lecturer)
    assert slow["speed"] == 0.5
    late = slow["trace"][-15:]
    went = late[-1]["place_s"] - late[0]["place_s"]
    assert went == pytest.approx(0.5 * (late[-1]["context_s"] - late[0]["context_s"]), abs=1e-6)
    lecturer.get_by_role("button", name="Pause").click()
    expect(lecturer.get_by_role("button", name="Play", exact=True)).to_be_visible()

    lecturer.get_by_label("Label").fill("K17")
    lecturer.get_by_role("button", name="Keep as a measurement").click()
    expect(lecturer.get_by_role("heading", name="K17")).to_be_visible()
    for code, systolic, diastolic in (("A", "126", "84"), ("B", "130", "86")):
        lecturer.get_by_label("Observer: a short code").fill(code)
        lecturer.locator("#systolic-observed").fill(systolic)
        lecturer.locator("#diastolic-observed").fill(diastolic)
        lecturer.get_by_role("button", name="Add the reading").click()
        expect(lecturer.locator("#observers").get_by_role("rowheader", name=code)).to_be_visible()
    assert lecturer.url.split("?")[0] == address
    lecturer.get_by_role("link", name="How far do observers and ear agree?").click()
    expect(lecturer.get_by_role("heading", name="ear minus A")).to_be_visible()
    expect(lecturer.get_by_role("heading", name="B minus A")).to_be_visible()


def test_too_large_is_told_before_it_is_sent(site: Site, lecturer: Page, tmp_path: Path) -> None:
    """A file beyond the limit stays here: one line says how large it is and what to do."""
    big = tmp_path / "big.wav"
    with big.open("wb") as file:
        file.truncate(31_000_000)
    lecturer.goto(f"{site.here}/recordings")
    lecturer.get_by_label("Sound (.wav").set_input_files(big)
    lecturer.get_by_role("button", name="Listen to it").click()
    expect(lecturer.get_by_role("alert")).to_contain_text("31.0 MB; at most 30 MB")
    assert lecturer.url == f"{site.here}/recordings"


def test_recordings_are_accessible_and_fit(site: Site, lecturer: Page, rendered: Path) -> None:
    """By axe (WCAG 2.2 AA) no fault, no sideways scrolling, targets of 44 px, on a phone and a desk, light and dark."""
    if not AXE.exists():
        pytest.skip("axe-core is not installed (npm ci)")
    address = take_in(lecturer, site, rendered)
    lecturer.get_by_label("Label").fill("K18")
    lecturer.get_by_role("button", name="Keep as a measurement").click()
    faults = []
    for width, scheme in ((360, "light"), (1280, "dark")):
        lecturer.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        lecturer.set_viewport_size({"width": width, "height": 800})
        for path in ("/recordings", "/recordings/agreement", address[len(site.here) :] + "?systolic=126&diastolic=90"):
            lecturer.goto(f"{site.here}{path}")
            lecturer.evaluate(AXE.read_text(encoding="utf-8"))
            tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
            found = lecturer.evaluate("(tags) => axe.run({runOnly: tags})", tags)
            faults += [(path, width, one["id"], one["nodes"][0]["html"][:160]) for one in found["violations"]]
            if lecturer.evaluate("document.documentElement.scrollWidth > innerWidth"):
                faults.append((path, width, "scrolls sideways", ""))
            small = lecturer.evaluate(
                """[...document.querySelectorAll("button, a.button, input, select, td a, th a, summary")]
                  .filter((one) => one.getClientRects().length && !["checkbox", "radio"].includes(one.type))
                  .filter((one) => one.getBoundingClientRect().height < 43.5)
                  .map((one) => one.outerHTML.slice(0, 120))"""
            )
            faults += [(path, width, "lower than 44 px", one) for one in small]
    lecturer.set_viewport_size({"width": 1280, "height": 800})
    lecturer.emulate_media(color_scheme="light")
    assert faults == []
