"""A learner's hands in a real browser: joins, sets up, pumps, releases and writes, by mouse, touch or keyboard."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn
from playwright.sync_api import BrowserContext, Page
from starlette.applications import Starlette

from hushpoint.guideline.cuffs import cuff_for
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.wiring import Settings, build

ORIGINS = ("localhost", "classroom.test")
"""A secure origin, and plain http on a name as in a classroom; both lead to this machine."""
GOOD_SET_UP = {
    "asking": "asked",
    "rest": "five_quiet",
    "posture": "supported",
    "arm": "desk",
    "marker": "felt",
    "snug": "two_fingertips",
    "head": "over_artery",
    "ears": "tapped_live",
}
NEEDLE = "hushpoint.facts().trace.at(-1)?.mmhg ?? 0"
COMING = "(({ run, clock_s }) => run.pressureAt(clock_s + 0.8))(hushpoint.facts())"
"""Where the pressure goes once the bulb's air is in: a busy machine draws the needle too late to pump by."""
WAIT_MS = 60_000
"""How long anything may take on a busy machine; what is asked about time is measured, not waited for."""


@dataclass(frozen=True)
class Served:
    """A running app: its port, the ledger behind it, and the app itself."""

    port: int
    ledger: MemoryLedger
    app: Starlette

    def at(self, origin: str) -> str:
        """Return the address on one of the origins."""
        return f"http://{origin}:{self.port}"


@contextmanager
def served(folder: Path) -> Iterator[Served]:
    """Serve the whole app from this process until done."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=folder), ledger)
    config = uvicorn.Config(app, port=0, log_level="error")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield Served(server.servers[0].sockets[0].getsockname()[1], ledger, app)
    server.should_exit = True
    thread.join(timeout=5)


class Learner:
    """One learner at one page."""

    def __init__(self, page: Page, by: str) -> None:
        self.page = page
        self.by = by
        self.faults: list[str] = []
        page.on("pageerror", lambda fault: self.faults.append(str(fault)))
        page.set_default_timeout(WAIT_MS)

    def join_alone(self, base: str) -> None:
        """Come in without a class at this address and open the bench."""
        self.page.goto(f"{base}/")
        self.page.evaluate("fetch('/join/alone', {method: 'POST'}).then((answer) => answer.text())")
        self.page.goto(f"{base}/practise/bench")

    def press(self, selector: str) -> None:
        """Press a control with the means of this learner."""
        if self.by == "touch":
            self.page.tap(selector)
        elif self.by == "mouse":
            self.page.click(selector)
        else:
            self.page.focus(selector)
            self.page.keyboard.press("Enter")

    def set_up(self, *, guided: bool = False) -> None:
        """Meet the person, choose what is right, and start."""
        self.press("#begin-guided" if guided else "#begin-unguided")
        self.page.wait_for_selector("#rows fieldset")
        self.choose_rightly()
        self.press("#start")

    def choose_rightly(self) -> None:
        """Choose what is right in every row, and set up so."""
        for row, choice in GOOD_SET_UP.items():
            self.choose(f"#row-{row} input[value={choice}]")
        arm_cm = re.search(r"(\d+) cm", self.page.inner_text("#row-cuff legend"))
        assert arm_cm is not None
        self.choose(f"#row-cuff input[value={cuff_for(float(arm_cm[1])).id}]")
        self.press("#set-up button[type=submit]")
        self.page.wait_for_selector("#start")

    def choose(self, selector: str) -> None:
        """Choose a radio button."""
        if self.by == "keyboard":
            self.page.focus(selector)
            self.page.keyboard.press("Space")
        else:
            self.press(selector)

    def until(self, condition: str, *, seconds: float = 2 * WAIT_MS / 1000) -> None:
        """Wait until a condition holds on the page (its rules forbid the usual waiting by text)."""
        end = time.monotonic() + seconds
        while not self.page.evaluate(condition):
            if time.monotonic() > end:
                raise TimeoutError(condition)
            self.page.wait_for_timeout(30)

    def pump(self, to_mmhg: float) -> None:
        """Squeeze quickly until the pressure comes to be there."""
        end = time.monotonic() + WAIT_MS / 1000
        while float(self.page.evaluate(COMING)) < to_mmhg:
            if time.monotonic() > end:
                raise TimeoutError(f"pumping to {to_mmhg}")
            if self.by == "keyboard":
                self.page.keyboard.press("Space")
            else:
                self.press("#bulb")
            self.page.wait_for_timeout(60)

    def turn_valve(self, percent: float) -> None:
        """Open the valve by so many percent of its travel (down opens)."""
        if self.by == "keyboard":
            for _ in range(round(abs(percent))):
                self.page.keyboard.press("ArrowDown" if percent > 0 else "ArrowUp")
            return
        box = self.page.locator("#valve").bounding_box()
        assert box is not None
        x, y, by = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, percent * 3.4
        if self.by == "mouse":
            self.page.mouse.move(x, y)
            self.page.mouse.down()
            self.page.mouse.move(x, y + by, steps=8)
            self.page.mouse.up()
            return
        touch = self.page.context.new_cdp_session(self.page)
        for kind, step in [("touchStart", 0.0), *(("touchMove", part / 8) for part in range(1, 9))]:
            points = [{"x": x, "y": y + by * step}]
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    def open_fully(self) -> None:
        """Hold "open fully" until the cuff falls."""
        if self.by == "keyboard":
            self.page.keyboard.down("o")
            self.page.wait_for_timeout(450)
            self.page.keyboard.up("o")
            return
        box = self.page.locator("#open-fully").bounding_box()
        assert box is not None
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        if self.by == "mouse":
            self.page.mouse.move(x, y)
            self.page.mouse.down()
            self.page.wait_for_timeout(450)
            self.page.mouse.up()
            return
        touch = self.page.context.new_cdp_session(self.page)
        touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
        self.page.wait_for_timeout(450)
        touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    def feel(self) -> None:
        """Leave the pulse uncounted; pump a little, empty the cuff, go on."""
        self.press("#pulse-skip")
        self.pump(50)
        self.open_fully()
        self.page.wait_for_selector("#felt-skip")
        self.press("#felt-skip")
        self.until("hushpoint.facts().doing === 'listen'")
        self.turn_valve(-100)

    def wait_for_entry(self) -> None:
        """Wait until the cuff is empty and the two fields are open."""
        self.until("hushpoint.facts().doing === 'write'")

    def write(self, systolic: str, diastolic: str) -> None:
        """Write both numbers."""
        self.page.fill("#systolic", systolic)
        self.page.fill("#diastolic", diastolic)
        self.press("#reading button[type=submit]")

    def judgement(self) -> dict[str, Any]:
        """Wait for the judgement on the page and return what the server says it is."""
        self.page.wait_for_selector("#next-act")
        script = "fetch(`/practise/measurements/${location.hash.slice(1)}/judgement`).then((answer) => answer.json())"
        judged: dict[str, Any] = self.page.evaluate(script)
        return judged


def new_learner(context: BrowserContext, by: str) -> Learner:
    """Return a learner at a fresh page."""
    return Learner(context.new_page(), by)
