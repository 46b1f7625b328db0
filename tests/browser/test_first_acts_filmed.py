"""Six first acts, each from the door of a fresh installation."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import uvicorn
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from filmed import Film, opened, stated
from hushpoint.desk.bundle_check import verify_bundle
from hushpoint.ledger.records import Kind
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from hushpoint.wiring import Settings, build
from serving import Site, start, stop

pytestmark = [pytest.mark.browser, pytest.mark.filmed]
PASSWORD = "ten letters or more"
EARS = """(() => {
  const joined = AudioNode.prototype.connect;
  const ears = new WeakMap();
  AudioNode.prototype.connect = function (to, ...rest) {
    if (to instanceof AudioDestinationNode) {
      if (!ears.has(to)) {
        const ear = new AnalyserNode(this.context, {fftSize: 32768});
        ears.set(to, ear);
        window.loudest = () => {
          const heard = new Float32Array(ear.fftSize);
          ear.getFloatTimeDomainData(heard);
          return heard.reduce((most, one) => Math.max(most, Math.abs(one)), 0);
        };
      }
      joined.call(this, ears.get(to));
    }
    return joined.call(this, to, ...rest);
  };
})()"""
"""An ear at the loudspeaker: whatever goes to it goes to an analyser as well."""


@pytest.fixture
def film(request: pytest.FixtureRequest, tmp_path: Path, told_pictures: Path) -> Film:
    """A film of the act that the test is named after."""
    name = request.node.name.removeprefix("test_").replace("_", "-")
    frames = tmp_path / "frames"
    frames.mkdir()
    return Film(name, frames, told_pictures)


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[Site]:
    """`hushpoint serve --class` over an empty folder: no class, no password, no data."""
    running = start(tmp_path / "fresh", "--class")
    yield running
    stop(running)


def come_in(film: Film, page: Page, way: str, then: str) -> None:
    """Choose a way at the door, set the first password, and stand where the way leads."""
    page.get_by_role("heading", name="What are you here to do?").wait_for()
    film.tap(page.get_by_role("link", name=way), way, waits_for=page.get_by_label("Password"))
    film.type(page.get_by_label("Password"), PASSWORD)
    film.tap(page.get_by_role("button", name="Set password"), "Set password", waits_for=page.get_by_text(then))


def done(film: Film, act: str) -> None:
    """Tell the film; it took as many taps and fields as the manual states."""
    print(film.told())
    assert (film.taps, film.fields) == stated(act)


def test_first_sound(film: Film, fresh: Site, chromium: Browser) -> None:
    """First sound heard: a stranger on a phone, in a classroom without https, no name given."""
    page = opened(chromium, phone=True)
    page.add_init_script(EARS)
    film.door(page, fresh.classroom)
    film.keep(page, "The door on a phone", page.locator("#practise"))
    play = page.get_by_role("button", name="Play a cuff sound")
    film.tap(page.get_by_role("link", name="Hear a cuff sound"), "Hear a cuff sound", waits_for=play)
    film.tap(play, "Play a cuff sound")
    expect(page.locator("#played-words")).to_have_text("Playing.")
    loudest = 0.0
    for _ in range(200):
        loudest = max(loudest, page.evaluate("window.loudest()"))
        if loudest > 0.1:
            break
        page.wait_for_timeout(20)
    film.keep(page, "The sound is playing")
    assert loudest > 0.1
    page.context.close()
    done(film, "First sound heard")


def test_class_joined(film: Film, fresh: Site, chromium: Browser) -> None:
    """First class joined by a phone: the lecturer opens it on the laptop, the phone scans the wall."""
    laptop, phone = opened(chromium), opened(chromium, phone=True)
    film.door(laptop, fresh.here)
    film.keep(laptop, "The door on the laptop")
    come_in(film, laptop, "Teach a class now", "No class yet")
    film.keep(laptop, "No class yet: one is opened here")
    film.type(laptop.get_by_label("Name of the class"), "Tuesday group")
    wall = laptop.get_by_role("link", name="Wall for the projector")
    film.tap(laptop.get_by_role("button", name="Open", exact=True), "Open", waits_for=wall)
    film.tap(wall, "Wall for the projector", waits_for=laptop.locator(".qr svg"))
    expect(laptop.get_by_text("No phone can reach this address")).to_have_count(0)
    film.keep(laptop, "The wall: the picture to scan, the code, counts, no name")
    laptop.screenshot(path=film.frames / "wall.png")
    with Image.open(film.frames / "wall.png") as seen:
        address = zxingcpp.read_barcodes(seen)[0].text
    phone.goto(address)
    film.tapped(phone, "on the phone: scan the picture", phone.get_by_label("Your name"))
    film.type(phone.get_by_label("Your name"), "Ines Invented")
    film.keep(phone, "The phone after the scan")
    film.tap(
        phone.get_by_role("button", name="Join"), "on the phone: Join",
        waits_for=phone.get_by_role("link", name="Next person"),
    )  # fmt: skip
    film.keep(phone, "Joined: the first practice person waits")
    expect(laptop.locator("#board .counts li").first).to_have_text(re.compile(r"1\s+in"))
    film.keep(laptop, "The wall counts the phone by itself")
    phone.context.close()
    laptop.context.close()
    done(film, "First class joined by a phone")


@pytest.mark.hard
def test_visit_finished(film: Film, chromium: Browser, tmp_path: Path) -> None:
    """First visit finished: consent to the closed record; rest and minutes between readings pass by the clock."""
    ahead = timedelta()

    def now() -> datetime:
        return datetime.now(UTC) + ahead

    def later(seconds: int) -> None:
        nonlocal ahead
        page.wait_for_timeout(400)  # no answer may be on its way while both clocks are put forward
        ahead += timedelta(seconds=seconds)
        page.clock.fast_forward(seconds * 1000)

    ledger = open_sqlite(tmp_path / FILE_NAME, clock=lambda: now().isoformat(timespec="microseconds")[:26] + "Z")
    app = build(Settings(data_dir=tmp_path), ledger)
    app.state.context.clock = now
    server = uvicorn.Server(uvicorn.Config(app, port=0, log_level="error", lifespan="off"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    page = opened(chromium)
    page.clock.install(time=datetime.now(UTC))
    film.door(page, f"http://localhost:{server.servers[0].sockets[0].getsockname()[1]}")
    come_in(film, page, "Measure a client", "Begin a visit")

    def answer(name: str, step: str) -> None:
        form = page.locator(f'form[data-step="{step}"]')
        film.tap(form.get_by_role("button", name=name, exact=True), f"{asks(step)}: {name}")

    def asks(step: str) -> str:
        return page.locator(f'form[data-step="{step}"] h2').inner_text()

    film.tap(page.get_by_role("button", name="Begin"), "Begin", waits_for=page.locator('form[data-step="consent"]'))
    film.keep(page, "The visit begins with consent")
    for name, step in (
        ("The client agrees", "consent"), ("None of these", "urgent"), ("None of these", "signs"),
        ("None known", "disease"), ("Yes", "habit"), ("light", "plan"),
    ):  # fmt: skip
        answer(name, step)
    film.type(page.get_by_label("Age, years"), "44")
    answer("Go on", "about")
    answer("None of these", "today")
    answer("Both may be used", "arms")
    film.type(page.get_by_label("Circumference, cm"), "29")
    answer("Go on", "size")
    answer("Go on", "kit")
    answer("Begin the rest", "rest")
    expect(page.locator("#next-time")).to_contain_text(re.compile(r"[45]:\d\d"))
    film.keep(page, "Five minutes of rest, counted down")
    later(301)
    answer("The rest is over", "rest")
    answer("All is right", "posture")
    film.type(page.get_by_label("Beats a minute"), "66")
    answer("Regular", "pulse")
    film.type(page.get_by_label("Palpated systolic, mmHg"), "110")
    answer("Go on", "feel")
    for number, (systolic, diastolic) in enumerate((("118", "74"), ("116", "72"))):
        if number:
            expect(page.locator("#next-do")).to_have_text("Wait")
            later(61)
        film.type(page.locator("#systolic"), systolic)
        film.type(page.locator("#diastolic"), diastolic)
        if not number:
            film.keep(page, "The first reading is written")
        answer("Write reading", "read")
    expect(page.locator("#next-do")).to_have_text("Enough")
    expect(page.locator("#result-body")).to_contain_text("117/73")
    film.keep(page, "What the policy says of the value, with its cautions", page.locator("#taken"))
    close = page.get_by_role("button", name="Close the visit: page, letter, record")
    film.tap(close, "Close the visit", waits_for=page.locator("a[href*='/sheets/']"))
    film.keep(page, "The record: page, letter and the next visit")
    told = [row.kind for row in ledger.rows()]
    page.context.close()
    server.should_exit = True
    thread.join(timeout=10)
    ledger.close()
    assert told.count(Kind.READING_TAKEN) == 2
    assert told.count(Kind.VISIT_CLOSED) == 1
    done(film, "First visit finished")


def test_gauge_checked(film: Film, fresh: Site, chromium: Browser) -> None:
    """First gauge checked: beside a reference, seven steps up and seven down, stored with its certificate."""
    page = opened(chromium)
    film.door(page, fresh.here)
    come_in(film, page, "Check a gauge", "The first gauge")
    film.keep(page, "No gauge yet: the first is added here")
    film.type(page.get_by_label("Label, as written on it"), "G1")
    add = page.get_by_role("button", name="Add it and check it")
    film.tap(add, "Add it and check it", waits_for=page.get_by_role("heading", name="Check gauge G1"))
    film.type(page.get_by_label("Reference", exact=True), "M1, invented")
    film.type(page.get_by_label("Its certificate (number, date)"), "12/2026")
    film.type(page.get_by_label("Its certificate error, mmHg"), "0.5")
    for field in page.get_by_role("textbox", name=re.compile("^gauge, going")).all():
        step = re.search(r"step (\d+)", field.get_attribute("aria-label") or "")
        assert step is not None
        film.type(field, str(int(step[1]) + (2 if step[1] in ("150", "200") else 0)))
    film.keep(page, "Typed at the bench: the error stands beside each row at once", page.locator("table.bench"))
    store = page.get_by_role("button", name="Store this check")
    film.tap(page.get_by_role("button", name="Work it out"), "Work it out", waits_for=store)
    certificate = page.get_by_role("link", name="Certificate (PDF)")
    film.tap(store, "Store this check", waits_for=certificate)
    expect(page.get_by_text("Within its limits").first).to_be_visible()
    page.locator("figure img").evaluate("(one) => one.decode()")
    film.keep(page, "Stored: the verdict by a named rule, when the next check is due, the certificate")
    made = page.request.get(f"{page.url}/certificate.pdf").body()
    page.context.close()
    assert made.startswith(b"%PDF")
    done(film, "First gauge checked")


def test_recording_read(film: Film, fresh: Site, chromium: Browser, tmp_path: Path) -> None:
    """First recording read: a WAV and its CSV, made by `hushpoint render`; both ends lie where its truth says."""
    program = Path(sys.executable).with_name("hushpoint")
    subprocess.run([program, "render", "--seed", "40", "--out", tmp_path / "tried"], check=True, capture_output=True)
    sound = next((tmp_path / "tried").glob("*.wav"))
    truth = json.loads(sound.with_suffix(".json").read_text(encoding="utf-8"))
    page = opened(chromium)
    film.door(page, fresh.here)
    come_in(film, page, "Read a recording", "No recording is kept yet")
    film.keep(page, "No recording yet: where to get one, and what is asked")
    film.choose(page.get_by_label("Sound (.wav"), sound)
    film.choose(page.get_by_label("Cuff pressure, CSV"), sound.with_suffix(".csv"))
    read = page.locator('[data-end="systolic"]')
    film.tap(page.get_by_role("button", name="Listen to it"), "Listen to it", waits_for=read)
    page.locator("figure img").first.evaluate("(one) => one.decode()")
    film.keep(page, "Read: both ends with their ranges")
    for end in ("systolic", "diastolic"):
        low, high = re.findall(r"[\d.]+", page.get_by_role("img", name=re.compile(f"^{end} between")).get_attribute(
            "aria-label"
        ) or "")  # fmt: skip
        assert float(low) <= truth[f"{end}_mmhg"] <= float(high)
    page.context.close()
    done(film, "First recording read")


@pytest.mark.hard
def test_bundle_downloaded(film: Film, fresh: Site, chromium: Browser) -> None:
    """First evidence bundle downloaded: a class, its list, three pairs of a paper sheet, "not yet" signed."""
    page = opened(chromium)
    film.door(page, fresh.here)
    come_in(film, page, "Teach a class now", "No class yet")
    film.type(page.get_by_label("Name of the class"), "Tuesday group")
    paste = page.get_by_label("Paste names, one a line")
    film.tap(page.get_by_role("button", name="Open", exact=True), "Open", waits_for=paste)
    film.type(paste, "Ines Invented\nOtto Invented")
    add = page.get_by_role("button", name="Add 2 to the list")
    film.tap(page.get_by_role("button", name="Look at the list"), "Look at the list", waits_for=add)
    film.keep(page, "The list as it is read, before anything is added", page.get_by_text("Nothing is added yet"))
    film.tap(add, "Add 2 to the list", waits_for=page.get_by_text("2 names added"))
    sheet = page.get_by_role("link", name="Type in a paper sheet")
    film.tap(page.get_by_role("link", name="Pair", exact=True), "Pair", waits_for=sheet)
    film.tap(sheet, "Type in a paper sheet", waits_for=page.get_by_label("Learner S/D"))
    for number, (mine, theirs) in enumerate((("124/82", "128/82"), ("118/76", "116/74"), ("132/86", "130/84")), 1):
        film.type(page.get_by_label("Learner", exact=True), "Ines")
        film.type(page.get_by_label("Learner S/D"), mine)
        film.type(page.get_by_label("Reference S/D"), theirs)
        stored = page.get_by_role("row", name=re.compile(f"pair {number} "))
        film.tap(page.get_by_role("button", name="Store"), f"Store, pair {number}", waits_for=stored)
    film.keep(page, "A line of the sheet after the other; Enter stores")
    learner = page.get_by_role("link", name="Ines Invented", exact=True)
    film.tap(page.get_by_role("link", name="Evidence", exact=True), "Evidence", waits_for=learner)
    film.tap(learner, "Ines Invented", waits_for=page.get_by_role("heading", name="Decide and sign"))
    curve = page.locator("figure img")
    curve.scroll_into_view_if_needed()
    curve.evaluate("(one) => one.decode()")
    film.keep(page, "What the record shows, and what is missing", page.get_by_role("heading", name="What the record"))
    film.tap(page.get_by_label("Not yet competent"), "Not yet competent")
    film.type(page.get_by_label("Reasons"), "three fair pairs so far")
    film.type(page.get_by_label("Assessor", exact=True), "A. Invented")
    film.keep(page, "The decision is the assessor's", page.get_by_role("heading", name="Decide and sign"))
    film.tap(page.get_by_role("button", name="Sign", exact=True), "Sign", waits_for=page.get_by_text("A. Invented"))
    with page.expect_download() as took:
        page.get_by_role("link", name="Evidence bundle (ZIP)").click()
    film.tapped(page, "Evidence bundle (ZIP)")
    found = verify_bundle(Path(took.value.path()).read_bytes())
    page.context.close()
    assert (found.problems, [one["follows"] for one in found.decisions]) == ([], [True])
    done(film, "First evidence bundle downloaded")
