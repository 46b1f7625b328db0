"""An act filmed in a real Chromium: each tap counted, each moment timed, a picture after each tap.

A tap is one press: on a link, a button, a tick, a file to choose, a code to scan. A field is one that was typed into.
Seconds run from the open door; they are a script's, whose hands are quick, and a person takes longer.
"""

from __future__ import annotations

import io
import re
import time
from dataclasses import dataclass, field
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Locator, Page

PHONE_PX, LAPTOP_PX = (360, 640), (1280, 800)
COLOURS = 48
"""Of a kept picture: ink, paper and one accent need no more, and it stays below 60 kB."""
MOST_BYTES = 60_000
PAGE = Path(__file__).resolve().parents[1] / "docs" / "first-acts.md"


@dataclass
class Film:
    """One act: what was done, and when; every picture in `frames`, the named ones in `kept` as well."""

    name: str
    frames: Path
    kept: Path
    taps: int = 0
    fields: int = 0
    steps: list[tuple[str, int, int, float]] = field(default_factory=list)
    pictures: list[tuple[str, str]] = field(default_factory=list)
    began_s: float = 0.0

    def door(self, page: Page, address: str) -> None:
        """Open the door; the clock runs from here."""
        page.goto(address)
        self.began_s = self.began_s or time.monotonic()

    def tap(self, what: Locator, says: str, *, waits_for: Locator | None = None) -> None:
        """Tap, and wait for what the tap brings; `says` is the line of the table."""
        what.click()
        self.tapped(what.page, says, waits_for)

    def choose(self, what: Locator, file: Path) -> None:
        """Choose a file: one tap on its name."""
        what.set_input_files(file)
        self.tapped(what.page, f"choose {file.suffix.removeprefix('.').upper()}")

    def tapped(self, page: Page, says: str, waits_for: Locator | None = None) -> None:
        """Count a tap that was made."""
        self.taps += 1
        if waits_for is not None:
            waits_for.first.wait_for()
        self.steps.append((says, self.taps, self.fields, time.monotonic() - self.began_s))
        page.screenshot(path=self.frames / f"{self.name}-tap-{self.taps:02d}.png", animations="disabled")

    def type(self, what: Locator, text: str) -> None:
        """Type into a field."""
        what.fill(text)
        self.fields += 1

    def keep(self, page: Page, shows: str, at: Locator | None = None) -> None:
        """Keep a picture for the manual, with `at` scrolled to the top of it."""
        if at is None:
            page.evaluate("scrollTo(0, 0)")
        else:
            at.evaluate("(one) => one.scrollIntoView({block: 'start', behavior: 'instant'})")
        drawn = Image.open(io.BytesIO(page.screenshot(animations="disabled"))).convert("RGB")
        name = f"act-{self.name}-{len(self.pictures) + 1}.png"
        drawn.quantize(COLOURS, dither=Image.Dither.NONE).save(self.kept / name, optimize=True)
        assert (self.kept / name).stat().st_size < MOST_BYTES
        self.pictures.append((name, shows))

    def told(self) -> str:
        """Return the act as the manual shows it: a table of what was done, then the pictures."""
        rows = [f"| {says} | {taps} | {fields} | {at_s:.1f} |" for says, taps, fields, at_s in self.steps]
        heads = ["| What one does | Taps | Fields | Seconds |", "|---|---|---|---|"]
        shown = [f"\n![{shows}](pictures/{name})" for name, shows in self.pictures]
        return "\n".join([*heads, *rows, *shown])


def stated(act: str) -> tuple[int, int]:
    """Return the taps and fields that the manual states for an act."""
    row = re.search(rf"^\| {re.escape(act)} \|.*\| (\d+) \| (\d+) \|$", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    assert row is not None
    return int(row[1]), int(row[2])


def opened(chromium: Browser, *, phone: bool = False) -> Page:
    """Return a page that nobody has used: a phone's, or a laptop's."""
    width, height = PHONE_PX if phone else LAPTOP_PX
    size = {"width": width, "height": height}
    context = chromium.new_context(viewport=size, has_touch=phone, is_mobile=phone)  # type: ignore[arg-type]
    page = context.new_page()
    page.set_default_timeout(20_000)
    return page
