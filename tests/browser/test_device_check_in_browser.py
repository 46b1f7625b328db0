"""The device check on a phone at a plain http address: first sound in few taps, the faintest, the delay."""

from __future__ import annotations

import random
import time

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from bench_driver import WAIT_MS, Served, served
from hushpoint.desk import classes
from hushpoint.ledger.records import Kind

pytestmark = pytest.mark.browser
PHONE = {"viewport": {"width": 360, "height": 640}, "has_touch": True, "is_mobile": True}
MOST_TAPS_TO_SOUND = 4
"""Name field, Join, Hear a cuff sound, Play."""
SOUNDS = """async () => {
  const { context } = hushpoint.facts();
  const answer = await fetch("/practise/check/sound/III.wav?for=headphones");
  const sound = (await context.decodeAudioData(await answer.arrayBuffer())).getChannelData(0);
  return { running: context.state === "running", secure: isSecureContext, loudest: Math.max(...sound.map(Math.abs)) };
}"""


@pytest.fixture(scope="module")
def check_site(tmp_path_factory: pytest.TempPathFactory):
    """The whole app, served from here with its ledger at hand."""
    with served(tmp_path_factory.mktemp("check")) as running:
        yield running


@pytest.fixture
def phone(chromium: Browser):
    """A small phone, touched, that holds nothing yet."""
    with chromium.new_context(**PHONE) as context:
        page = context.new_page()
        page.set_default_timeout(WAIT_MS)
        yield page


def hear_the_faintest(page: Page, threshold_db: float) -> int:
    """Tap through the staircase as a listener of this threshold would; return the taps made."""
    chance = random.Random(4)
    taps = 0
    while page.locator("#bench").get_attribute("data-stage") == "taps":
        if not page.evaluate("hushpoint.facts().open"):
            page.wait_for_timeout(30)
            continue
        facts = page.evaluate("hushpoint.facts()")
        heard = facts["level_db"] > threshold_db
        page.tap(f"#{facts['half'] if heard else chance.choice(['first', 'second'])}")
        taps += 1
        page.wait_for_function("(taps) => hushpoint.facts().taps >= taps", arg=taps)
    return taps


def test_a_stranger_hears_a_sound_in_four_taps(check_site: Served, phone: Page) -> None:
    """From the link of a class to a sound through the speakers, typing apart, on an insecure origin."""
    code = classes.open_class(check_site.ledger, name="Sound", policy_id="PALPATED_30")
    began = time.monotonic()
    phone.goto(f"{check_site.at('classroom.test')}/join/{code}")
    taps = 0
    for selector in ("#name", "text=Join >> nth=-1", "text=Hear a cuff sound", "#play"):
        if selector.startswith("text=Join"):
            phone.keyboard.type("Ines Invented")
            phone.get_by_role("button", name="Join", exact=True).tap()
        else:
            phone.tap(selector)
        taps += 1
    expect(phone.locator("#played-words")).to_have_text("Playing.", timeout=30000)
    found = phone.evaluate(SOUNDS)
    print(f"first sound after {taps} taps, {time.monotonic() - began:.1f} s by a script")
    assert found["running"] is True
    assert found["secure"] is False
    assert found["loudest"] > 0.1
    assert taps <= MOST_TAPS_TO_SOUND


def test_a_tap_before_the_scripts_have_arrived_is_not_lost(check_site: Served, phone: Page) -> None:
    """The page's own script is held back until the button has been tapped; then the sound plays from that tap."""
    base = check_site.at("classroom.test")
    phone.goto(base)
    phone.evaluate("fetch('/join/alone', {method: 'POST'}).then((answer) => answer.text())")
    held: list[Route] = []
    phone.route("**/static/check_page.js", lambda route: held.append(route))  # noqa: PLW0108  (a builtin cannot be a handler)
    phone.goto(f"{base}/practise/check", wait_until="commit")
    phone.tap("#play")
    expect(phone.locator("#played-words")).to_have_text("")
    held[0].continue_()
    expect(phone.locator("#played-words")).to_have_text("Playing.", timeout=30000)


@pytest.mark.hard
def test_the_faintest_sound_and_the_delay_are_kept_on_the_device_alone(check_site: Served, phone: Page) -> None:
    """A run of taps sets the level; the slider sets the delay; both outlive a reload; the journal knows nothing."""
    base = check_site.at("classroom.test")
    phone.goto(base)
    phone.evaluate("fetch('/join/alone', {method: 'POST'}).then((answer) => answer.text())")
    phone.goto(f"{base}/practise/check")
    phone.tap("#play")
    phone.tap("#not-heard")
    expect(phone.locator("#nothing")).to_contain_text("silent switch")
    expect(phone.locator("#nothing")).to_contain_text("Bluetooth")
    before = check_site.ledger.last()
    phone.tap("#heard")
    taps = hear_the_faintest(phone, -44.0)
    expect(phone.locator("#result-first")).to_have_text("This device carries the faintest sounds")
    assert 16 <= taps < 40
    level_db = float(phone.evaluate("localStorage.getItem('hushpoint.level-db-headphones')"))
    assert -12 <= level_db <= 0
    phone.tap("#to-delay")
    phone.evaluate(
        "(el) => { el.value = '180'; el.dispatchEvent(new Event('input')); }", phone.query_selector("#delay")
    )
    expect(phone.locator("#delay-ms")).to_have_text("180")
    phone.wait_for_selector("#flash.lit")
    phone.tap("#keep-delay")
    phone.goto(f"{base}/practise/check")
    expect(phone.locator("#played-words")).to_contain_text("This device was checked on")
    assert phone.evaluate("localStorage.getItem('hushpoint.delay-ms')") == "180"
    # the bench draws its needle as late as the sound
    late_s = phone.evaluate("import('/static/device.js').then((one) => one.latencyOf({outputLatency: 0.02}))")
    assert late_s == 0.18
    assert check_site.ledger.last() == before
    assert not list(check_site.ledger.rows(kinds=[Kind.ROUND_READY]))


@pytest.mark.hard
def test_a_small_speaker_says_that_the_pitch_is_raised(check_site: Served, phone: Page) -> None:
    """Said on the screen before and after, with what it may not be used for; a device too quiet gets no cookie."""
    base = check_site.at("classroom.test")
    phone.goto(base)
    phone.evaluate("fetch('/join/alone', {method: 'POST'}).then((answer) => answer.text())")
    phone.goto(f"{base}/practise/check")
    phone.get_by_label("phone speaker").check()
    expect(phone.locator("#profile-words")).to_have_text(
        "Phone speaker: pitch raised 6 times. Practice only, no sign-off."
    )
    phone.tap("#play")
    phone.tap("#heard")
    hear_the_faintest(phone, -15.0)
    expect(phone.locator("#result-first")).to_have_text("Not yet")
    expect(phone.locator("#result-words")).to_contain_text("Turn the volume up")
    assert not [one for one in phone.context.cookies() if one["name"] == "hushpoint_device"]
