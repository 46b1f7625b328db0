"""A led visit in a real Chromium, from consent to the letter: clock, reload in every step, server gone, emergency."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, Page, expect

from hushpoint.desk import kit, live, policies
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.wiring import Settings, build
from serving import free_port

pytestmark = pytest.mark.browser
AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"
PASSWORD = "ten letters or more"


@dataclass
class Clinic:
    """A server in this process whose clock, like the page's, can be put forward."""

    ledger: MemoryLedger
    port: int
    ahead: timedelta = field(default_factory=timedelta)

    def now(self) -> datetime:
        """The time both sides have."""
        return datetime.now(UTC) + self.ahead


@pytest.fixture
def clinic(tmp_path: Path) -> Iterator[Clinic]:
    """A clinic with a gauge and a large cuff in its register."""
    found: list[Clinic] = []

    def text() -> str:
        return found[0].now().isoformat(timespec="microseconds").replace("+00:00", "Z")

    ledger = MemoryLedger(clock=lambda: text() if found else "2026-01-01T00:00:00.000000Z")
    one = Clinic(ledger, free_port())
    found.append(one)
    kit.add(ledger, {"type": "gauge", "label": "G4"}, by="lecturer")
    kit.add(
        ledger,
        {"type": "cuff", "label": "C2", "bladder_width_cm": "16", "bladder_length_cm": "36"},
        by="lecturer",
    )
    policies.set_emergency_number(ledger, "000")
    app = build(Settings(data_dir=tmp_path), ledger)
    app.state.context.clock = one.now
    server = uvicorn.Server(uvicorn.Config(app, port=one.port, log_level="error", lifespan="off"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        pass
    yield one
    server.should_exit = True
    thread.join(timeout=10)


@pytest.fixture
def desk(clinic: Clinic, chromium: Browser) -> Iterator[Page]:
    """The practitioner's phone, signed in, its clock installed."""
    context = chromium.new_context(viewport={"width": 360, "height": 740})
    page = context.new_page()
    page.set_default_timeout(8000)
    page.clock.install(time=datetime.now(UTC))
    page.goto(f"http://localhost:{clinic.port}/class")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Set password").click()
    page.get_by_role("heading", name="Your classes").wait_for()
    yield page
    context.close()


def forward(clinic: Clinic, page: Page, seconds: int) -> None:
    """Put both clocks forward, once no answer is on its way: one in between would be read by either clock."""
    page.wait_for_timeout(400)
    clinic.ahead += timedelta(seconds=seconds)
    page.clock.fast_forward(seconds * 1000)


class Taps:
    """The practitioner's finger: counts its taps, and loads the page anew before each where asked."""

    def __init__(self, page: Page, *, reload: bool) -> None:
        self.page, self.reload, self.count = page, reload, 0

    def tap(self, name: str, step: str = "") -> None:
        """Tap a button by its name, in the form of a step where one is named."""
        self.anew()
        where = self.page.locator(f'form[data-step="{step}"]') if step else self.page.locator("#visit")
        where.get_by_role("button", name=name, exact=True).click()
        self.count += 1

    def anew(self) -> None:
        """Load the page anew where that is tried, once nothing waits to be sent."""
        if self.reload:
            expect(self.page.locator("#said")).to_have_text("")
            self.page.reload()

    def begin(self, clinic: Clinic, policy: str = "NHFA_2016") -> str:
        """Begin a visit and return its id."""
        self.page.goto(f"http://localhost:{clinic.port}/client")
        self.page.get_by_label("Policy").select_option(policy)
        self.page.get_by_role("button", name="Begin").click()
        self.page.wait_for_url(re.compile(r"/client/[0-9a-f]{16}$"))
        self.count += 1
        return self.page.url.rsplit("/", 1)[1]

    def to_the_readings(self, clinic: Clinic, *, arm_cm: str = "36", barred: str = "", irregular: bool = False) -> None:
        """Answer everything with nothing found, up to the first reading."""
        page = self.page
        self.to_the_arms()
        if barred:
            page.get_by_label("Left arm").select_option(barred)
            self.tap("Lock what is chosen", "arms")
        else:
            self.tap("Both may be used", "arms")
        self.cuff_and_gauge(arm_cm, "C2, bladder 16 × 36 cm")
        self.tap("Begin the rest", "rest")
        expect(page.locator("#next-time")).to_contain_text(re.compile(r"[45]:\d\d"))
        forward(clinic, page, 301)
        self.tap("The rest is over", "rest")
        self.tap("All is right", "posture")
        page.get_by_label("Beats a minute").fill("76")
        page.get_by_role("button", name="Irregular" if irregular else "Regular", exact=True).click()
        page.get_by_label("Palpated systolic, mmHg").fill("160")
        page.locator('form[data-step="feel"]').get_by_role("button", name="Go on").click()
        self.count += 2

    def to_the_arms(self) -> None:
        """Answer the questions before the arm."""
        self.tap("The client agrees", "consent")
        self.tap("None of these", "urgent")
        self.tap("None of these", "signs")
        self.tap("None known", "disease")
        self.tap("Yes", "habit")
        self.tap("fitness test", "plan")
        self.anew()
        self.page.get_by_label("Age, years").fill("54")
        self.page.locator('form[data-step="about"]').get_by_role("button", name="Go on").click()
        self.tap("None of these", "today")
        self.count += 1

    def cuff_and_gauge(self, arm_cm: str, cuff: str) -> None:
        """Measure the arm, choose cuff and gauge from the register."""
        page = self.page
        page.get_by_label("Circumference, cm").fill(arm_cm)
        page.locator('form[data-step="size"]').get_by_role("button", name="Go on").click()
        page.get_by_label("Cuff", exact=True).select_option(label=cuff)
        page.get_by_label("Gauge", exact=True).select_option(label="G4")
        page.locator('form[data-step="kit"]').get_by_role("button", name="Go on").click()
        self.count += 4

    def read(self, systolic: int, diastolic: int) -> None:
        """Write one reading."""
        self.anew()
        self.page.locator("#systolic").fill(str(systolic))
        self.page.locator("#diastolic").fill(str(diastolic))
        self.page.get_by_role("button", name="Write reading").click()
        self.count += 1


@pytest.mark.parametrize("reload", [False, True], ids=["straight through", "loaded anew in every step"])
def test_scene_five_from_consent_to_the_letter(clinic: Clinic, desk: Page, reload: bool) -> None:
    """178/104, 164/98, 162/96: 163/97, no test, a doctor within a month, the letter; times and kit are kept."""
    taps = Taps(desk, reload=reload)
    taps.begin(clinic)
    taps.to_the_readings(clinic)
    for ends in ((178, 104), (164, 98), (162, 96)):
        taps.read(*ends)
        if ends[0] != 162:
            expect(desk.locator("#next-do")).to_have_text("Wait")
        forward(clinic, desk, 61)
    expect(desk.locator("#next-do")).to_have_text("Enough")
    result = desk.locator("#result-body")
    expect(result).to_contain_text("163/97")
    expect(result).to_contain_text("within 1 month")
    expect(result).to_contain_text("no test today")
    taps.tap("Close the visit: page, letter, record")
    desk.wait_for_url("**/record")
    with desk.expect_popup() as opened:
        desk.evaluate("() => window.open(document.querySelector('a[href$=letter]').href)")
    assert opened.value is not None
    letter = desk.request.get(desk.url.replace("/record", "/sheets/letter"))
    assert letter.body().startswith(b"%PDF")
    print(f"\ntaps from the list of clients to the letter: {taps.count + 1}")
    found = list(live.readings(clinic.ledger))
    assert [one.systolic_mmhg for one in found] == [178, 164, 162]
    assert all(one.gauge and one.cuff for one in found)
    times = [datetime.fromisoformat(one.taken_at) for one in found]
    assert all(60 <= (after - before).total_seconds() < 70 for before, after in pairwise(times))
    told = {
        name: value for row in clinic.ledger.rows(kinds=[Kind.VISIT_TOLD]) for name, value in row.body["told"].items()
    }  # type: ignore[index]
    assert 300 <= told["rested_s"] < 330


def test_scene_six_a_locked_arm(clinic: Clinic, desk: Page) -> None:
    """Fistula on the left: that arm cannot be chosen; 129/80 is told under both schemes."""
    taps = Taps(desk, reload=False)
    taps.begin(clinic)
    taps.to_the_readings(clinic, barred="fistula")
    expect(desk.get_by_label("left", exact=True)).to_be_disabled()
    for ends in ((134, 82), (130, 80), (128, 80)):
        taps.read(*ends)
        forward(clinic, desk, 61)
    result = desk.locator("#result-body")
    expect(result).to_contain_text("129/80")
    expect(result).to_contain_text("ACC_AHA_2017 stage 1")
    expect(result).to_contain_text("Left arm locked: fistula.")


def test_nothing_found_does_not_wipe_what_was_ticked(clinic: Clinic, desk: Page) -> None:
    """A tick or a lock stands against "none of these"; opened again, a step shows what was answered."""
    taps = Taps(desk, reload=False)
    visit = taps.begin(clinic)
    taps.tap("The client agrees", "consent")
    taps.tap("None of these", "urgent")
    signs, arms = desk.locator('form[data-step="signs"]'), desk.locator('form[data-step="arms"]')
    signs.get_by_label("palpitations").check()
    taps.tap("None of these", "signs")
    expect(signs.get_by_role("alert")).to_contain_text("Something is ticked here")
    taps.tap("Go on with what is ticked", "signs")
    taps.tap("None known", "disease")
    taps.tap("Yes", "habit")
    taps.tap("fitness test", "plan")
    desk.locator('form[data-step="about"]').get_by_role("button", name="Go on").click()
    taps.tap("None of these", "today")
    desk.get_by_label("Left arm").select_option("fistula")
    taps.tap("Both may be used", "arms")
    expect(arms.get_by_role("alert")).to_contain_text("A lock is chosen below")
    taps.tap("Lock what is chosen", "arms")
    expect(arms).to_be_hidden()
    expect(desk.locator("#said")).to_have_text("")
    desk.reload()
    desk.get_by_text("Answers so far").click()
    desk.locator('[data-change="signs"]').click()
    expect(signs.get_by_label("palpitations")).to_be_checked()
    taps.tap("Go on with what is ticked", "signs")
    desk.locator('[data-change="arms"]').click()
    expect(desk.get_by_label("Left arm")).to_have_value("fistula")
    taps.tap("Lock what is chosen", "arms")
    expect(desk.locator("#said")).to_have_text("")
    answers = desk.request.get(f"http://localhost:{clinic.port}/client/{visit}/state").json()["answers"]
    assert (answers["symptoms"], answers["client.barred_arms"]) == (["palpitations"], ["left"])


def test_a_double_tap_answers_one_question_and_closes_nothing(clinic: Clinic, desk: Page) -> None:
    """The second tap falls where the next step's button has come to lie: it answers nothing, and no visit is closed."""
    taps = Taps(desk, reload=False)
    taps.begin(clinic)
    agrees = desk.get_by_role("button", name="The client agrees")
    expect(agrees).to_be_visible()
    agrees.dblclick()
    desk.wait_for_timeout(400)
    expect(desk.locator('form[data-step="urgent"]')).to_be_visible()
    taps.begin(clinic)
    taps.to_the_readings(clinic)
    for ends in ((120, 76), (118, 76)):
        taps.read(*ends)
        forward(clinic, desk, 61)
    desk.locator("#systolic").fill("119")
    desk.locator("#diastolic").fill("77")
    desk.get_by_role("button", name="Write reading").dblclick()
    expect(desk.locator("#next-do")).to_have_text("Enough")
    expect(desk.get_by_role("button", name="Close the visit")).to_be_visible()
    assert not any(row.kind is Kind.VISIT_CLOSED for row in clinic.ledger.rows())
    assert sum(row.kind is Kind.READING_TAKEN for row in clinic.ledger.rows()) == 3


def test_a_finger_ticks_by_the_words_and_double_taps_once(clinic: Clinic, desk: Page) -> None:
    """By touch a tap on a label ticks its box, and two quick taps on one place answer one question."""
    visit = Taps(desk, reload=False).begin(clinic)
    browser = desk.context.browser
    assert browser is not None
    phone = browser.new_context(
        viewport={"width": 360, "height": 740}, has_touch=True, storage_state=desk.context.storage_state()
    )
    page = phone.new_page()
    page.goto(f"http://localhost:{clinic.port}/client/{visit}")
    agrees = page.get_by_role("button", name="The client agrees")
    expect(agrees).to_be_visible()
    place = agrees.bounding_box()
    assert place is not None
    for _ in range(2):
        page.touchscreen.tap(place["x"] + 40, place["y"] + 20)
    expect(page.locator('form[data-step="urgent"]')).to_be_visible()
    page.wait_for_timeout(400)
    page.locator('form[data-step="urgent"]').get_by_role("button", name="None of these").tap()
    page.get_by_text("palpitations", exact=True).tap()
    expect(page.get_by_label("palpitations")).to_be_checked()
    phone.close()


def test_the_arm_that_is_asked_for_is_the_one_chosen(clinic: Clinic, desk: Page) -> None:
    """At a first visit the left arm is asked for after the right: it is chosen, not the one before."""
    taps = Taps(desk, reload=False)
    taps.begin(clinic)
    taps.to_the_readings(clinic)
    desk.get_by_text("Answers so far").click()
    desk.locator('[data-change="about"]').click()
    desk.get_by_label("First visit here").check()
    desk.locator('form[data-step="about"]').get_by_role("button", name="Go on").click()
    for ends in ((120, 76), (118, 76), (119, 76)):
        taps.read(*ends)
        forward(clinic, desk, 61)
    expect(desk.locator("#next-do")).to_have_text("The other arm")
    expect(desk.get_by_label("left", exact=True)).to_be_checked()


def test_scene_seven_a_bladder_too_small_is_refused(clinic: Clinic, desk: Page) -> None:
    """36 cm with a bladder of 13 x 23: stop, 16 x 36 is asked for; another cuff goes on."""
    kit.add(
        clinic.ledger,
        {"type": "cuff", "label": "C1", "bladder_width_cm": "13", "bladder_length_cm": "23"},
        by="lecturer",
    )
    taps = Taps(desk, reload=False)
    visit = taps.begin(clinic)
    taps.to_the_arms()
    taps.tap("Both may be used", "arms")
    taps.cuff_and_gauge("36", "C1, bladder 13 × 23 cm")
    expect(desk.locator("#next-do")).to_have_text("Stop")
    told = desk.request.get(f"http://localhost:{clinic.port}/client/{visit}/state").json()["judged"]
    assert told["next"]["do"] == "stop"
    assert "13 × 23" in told["next"]["why"]
    expect(desk.locator("#result-body")).to_contain_text("16 × 36")


def test_scene_eight_an_irregular_pulse(clinic: Clinic, desk: Page) -> None:
    """138/84, 150/78, 144/82 irregular: the mean of all three, low certainty, a doctor first."""
    taps = Taps(desk, reload=False)
    taps.begin(clinic)
    taps.to_the_readings(clinic, irregular=True)
    for ends in ((138, 84), (150, 78), (144, 82)):
        taps.read(*ends)
        forward(clinic, desk, 61)
    result = desk.locator("#result-body")
    expect(result).to_contain_text("144/81")
    expect(result).to_contain_text("low certainty")
    expect(result).to_contain_text("a doctor first")


def test_the_open_page_goes_on_without_the_server_and_delivers_once(clinic: Clinic, desk: Page) -> None:
    """Two readings and a correction while the server is gone: shown, timed, and stored once when it is back."""
    taps = Taps(desk, reload=False)
    taps.begin(clinic)
    taps.to_the_readings(clinic)
    taps.read(150, 92)
    expect(desk.locator("#next-do")).to_have_text("Wait")
    desk.context.set_offline(True)
    forward(clinic, desk, 61)
    taps.read(144, 90)
    expect(desk.locator("#said")).to_contain_text("Connection lost")
    expect(desk.locator("#next-do")).to_have_text("Wait")
    forward(clinic, desk, 61)
    taps.read(141, 88)
    expect(desk.locator("#result-body")).to_contain_text("waits until the server has everything")
    desk.get_by_role("button", name="Correct reading 3").click()
    desk.locator("#amend-systolic").fill("142")
    desk.get_by_role("button", name="Correct it").click()
    assert len(list(live.readings(clinic.ledger))) == 1
    desk.context.set_offline(False)
    forward(clinic, desk, 30)
    expect(desk.locator("#result-body")).to_contain_text("143/89")
    assert [one.systolic_mmhg for one in live.readings(clinic.ledger)] == [150, 144, 142]
    assert sum(row.kind is Kind.READING_TAKEN for row in clinic.ledger.rows()) == 3


def test_questions_go_on_without_the_server(clinic: Clinic, desk: Page) -> None:
    """Answered while the server is gone: each question follows the one before, and all is stored once later."""
    taps = Taps(desk, reload=False)
    taps.begin(clinic)
    taps.tap("The client agrees", "consent")
    expect(desk.locator('form[data-step="urgent"]')).to_be_visible()
    desk.context.set_offline(True)
    taps.tap("None of these", "urgent")
    taps.tap("None of these", "signs")
    taps.tap("None known", "disease")
    expect(desk.locator('form[data-step="habit"]')).to_be_visible()
    assert sum(row.kind is Kind.VISIT_TOLD for row in clinic.ledger.rows()) <= 1
    desk.context.set_offline(False)
    forward(clinic, desk, 30)
    for _ in range(50):
        if sum(row.kind is Kind.VISIT_TOLD for row in clinic.ledger.rows()) >= 4:
            break
        desk.wait_for_timeout(100)
    told = [(row.body or {})["told"] for row in clinic.ledger.rows(kinds=[Kind.VISIT_TOLD])]
    assert [one["steps"].split(",")[-1] for one in told] == ["consent", "urgent", "signs", "disease"]


def test_symptoms_stop_everything_at_any_time(clinic: Clinic, desk: Page) -> None:
    """Something is wrong: the screen says stop, whom to call, and shows no pressure; leaving takes a hold."""
    taps = Taps(desk, reload=False)
    taps.begin(clinic)
    taps.to_the_readings(clinic)
    taps.read(190, 110)
    taps.tap("Something is wrong")
    taps.tap("chest pain")
    box = desk.locator("#emergency")
    expect(box).to_be_visible()
    expect(box).to_contain_text("Call 000")
    assert not re.search(r"\d{2,3}/\d{2,3}", box.inner_text())
    desk.get_by_role("button", name="Called now").click()
    expect(desk.get_by_role("button", name=re.compile("Called at"))).to_be_visible()
    desk.locator("#leave-emergency").click()
    expect(box).to_be_visible()
    desk.locator("#leave-emergency").dispatch_event("pointerdown")
    desk.clock.run_for(2100)
    expect(box).to_be_hidden()
    expect(desk.locator("#next-do")).to_have_text("Stop")
    expect(desk.locator("#read")).to_be_hidden()


def test_a_reading_taken_early_is_kept_and_marked(clinic: Clinic, desk: Page) -> None:
    """20 s after the first: kept, marked early, and both show."""
    taps = Taps(desk, reload=False)
    taps.begin(clinic)
    taps.to_the_readings(clinic)
    taps.read(130, 80)
    expect(desk.locator("#next-do")).to_have_text("Wait")
    forward(clinic, desk, 20)
    taps.read(128, 80)
    expect(desk.locator("#taken-rows tr").nth(1)).to_contain_text("early")


@pytest.mark.parametrize("scheme", [pytest.param("light", marks=pytest.mark.hard), "dark"])
def test_the_led_visit_is_accessible(clinic: Clinic, desk: Page, scheme: str) -> None:
    """Axe finds nothing on the list, in a question, at a reading, at the result, in an emergency, on the record."""
    desk.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    faults: dict[str, object] = {}

    def look(name: str) -> None:
        desk.evaluate(AXE.read_text(encoding="utf-8"))
        found = desk.evaluate("() => axe.run()")["violations"]
        if found:
            faults[name] = json.dumps([(one["id"], one["nodes"][0]["html"][:120]) for one in found])

    taps = Taps(desk, reload=False)
    desk.goto(f"http://localhost:{clinic.port}/client")
    look("list")
    desk.goto(f"http://localhost:{clinic.port}/client/policy")
    look("policies")
    taps.begin(clinic)
    look("question")
    taps.to_the_readings(clinic)
    look("reading")
    for ends in ((178, 104), (164, 98), (162, 96)):
        taps.read(*ends)
        forward(clinic, desk, 61)
    expect(desk.locator("#result-body")).to_contain_text("163/97")
    look("result")
    taps.tap("Something is wrong")
    taps.tap("fainted")
    expect(desk.locator("#emergency")).to_be_visible()
    look("emergency")
    desk.goto(desk.url + "/record")
    look("record")
    assert faults == {}
