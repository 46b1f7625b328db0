"""The network between phone and server cut a hundred times: each record arrives once and in order."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from bench_driver import new_learner
from cut_network import CUTS, BadNetwork
from hushpoint.desk import access, classes, pairs, policies, technique, visits
from hushpoint.ledger.records import Kind
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import open_ledger
from serving import Site, start, stop

pytestmark = [pytest.mark.browser, pytest.mark.hard]
PASSWORD = "ten letters or more"
NAME = "classroom.test"
WAIT_MS = 120_000
EACH, BENCH = 30, 10
"""So many cuts while each of three pages posts, and while the bench does: a hundred in all."""


@pytest.fixture
def school(tmp_path: Path) -> Iterator[tuple[Site, SqlLedger, str]]:
    """A real server, its ledger at hand too, and a class."""
    site = start(tmp_path)
    ledger = open_ledger(tmp_path)
    access.set_password(ledger, PASSWORD)
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    yield site, ledger, code
    found = ledger.verify()
    ledger.close()
    stop(site)
    assert found.first_altered is None


@contextmanager
def phone(chromium: Browser, network: BadNetwork) -> Iterator[Page]:
    """A phone behind the bad network, by the plain address of a classroom."""
    with chromium.new_context(viewport={"width": 360, "height": 640}) as context:
        context.set_default_timeout(WAIT_MS)
        yield context.new_page()
    network.close()
    print(f"\n{network.cuts} cuts, {dict(network.happened)}")


def come_in(page: Page, at: str) -> None:
    """Come in as the lecturer."""
    page.goto(f"{at}/class")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Come in").click()
    page.get_by_role("heading", name="Your classes").wait_for()


def nothing_waits(context: BrowserContext, key: str) -> None:
    """Wait until the browser's own store has nothing left to send."""
    end = time.monotonic() + WAIT_MS / 1000
    while context.pages[-1].evaluate("(key) => localStorage.getItem(key) ?? '[]'", key) != "[]":
        assert time.monotonic() < end, "it still waits"
        context.pages[-1].evaluate(
            "() => void window.dispatchEvent(new Event('online'))"
        )  # what a phone says by itself
        context.pages[-1].wait_for_timeout(100)


def test_technique_sheets(chromium: Browser, school: tuple[Site, SqlLedger, str]) -> None:
    """Sheets of one performance, delivered while those before still wait: all come, once and in order."""
    site, ledger, code = school
    who = classes.join(ledger, room=code, name="Ines Invented")
    seen = technique.begin(ledger, room=code, learner=who, ref="a")
    network = BadNetwork(site.port, re.compile(b"^POST .*/technique/"), seed=1)
    with phone(chromium, network) as page:
        come_in(page, f"http://{NAME}:{network.port}")
        page.goto(f"http://{NAME}:{network.port}/class/{code}/technique/{seen}")
        steps = page.locator(".step")
        expect(steps.first).to_be_visible()
        marked = [one.get_attribute("data-step") for one in steps.all()][:5]
        page.locator("[data-moment=after]").click()
        page.get_by_label("Your initials").fill("ab")
        wanted: list[object] = []
        number = 0
        while network.cuts < EACH:
            step = marked[number % 5]
            number += 1
            page.evaluate(f"document.querySelector('[data-step={step}] .done').click()")
            page.evaluate("document.querySelector('.step .missed').click()")
            page.get_by_role("button", name="Deliver").click()
            now = page.evaluate(f"JSON.parse(localStorage['hushpoint.technique.{seen}']).marks")
            if now not in wanted[-1:]:  # the same sheet delivered again is one delivery
                wanted.append(now)
            if number % 3 == 0:
                nothing_waits(page.context, "hushpoint.acts")
        nothing_waits(page.context, "hushpoint.acts")
    rows = list(ledger.rows(kinds=[Kind.TECHNIQUE_MARKED]))
    assert [(row.body or {})["marks"] for row in rows] == wanted
    assert len(wanted) > 5


def test_pairs(chromium: Browser, school: tuple[Site, SqlLedger, str]) -> None:
    """Pairs sealed, every other one taken back and sealed anew: what stands is what was written last."""
    site, ledger, code = school
    network = BadNetwork(site.port, re.compile(b"^POST .*/(seal|take-back)"), seed=2)
    with phone(chromium, network) as page:
        at = f"http://{NAME}:{network.port}"
        page.goto(f"{at}/join/{code}")
        page.get_by_label("Your name, as on the class list").fill("Ines Invented")
        page.get_by_role("button", name="Join", exact=True).click()
        page.wait_for_url("**/practise")
        who = next(row.who for row in ledger.rows(kinds=[Kind.LEARNER_JOINED]))
        opened: list[str] = []
        while network.cuts < EACH:
            number = len(opened)
            opened.append(pairs.open_pair(ledger, room=code, opening=pairs.Opening(who)))
            page.goto(f"{at}/practise/pairs/{opened[-1]}")
            for systolic in (150, 110 + number)[number % 2 :]:
                page.get_by_label("systolic", exact=True).first.fill(str(systolic))
                page.get_by_label("diastolic", exact=True).first.fill("80")
                page.get_by_role("button", name="Seal", exact=True).click()
                expect(page.get_by_text("Sealed. Waiting.")).to_be_visible()
                if systolic == 150:
                    page.get_by_role("button", name="Take back my numbers").click()
                    expect(page.get_by_label("systolic", exact=True).first).to_have_value("150")
            if number % 3 == 2:
                nothing_waits(page.context, "hushpoint.acts")
        nothing_waits(page.context, "hushpoint.acts")
    book = pairs.book_of(ledger, code)
    stands = [book.find(pair).learner.written for pair in opened]
    assert stands == [(110 + number, 80) for number in range(len(opened))]
    sealed = [row.ref for row in ledger.rows(kinds=[Kind.PAIR_SEALED])]
    assert len(sealed) == len(set(sealed)) == len(opened) + (len(opened) + 1) // 2


def test_a_led_visit(chromium: Browser, school: tuple[Site, SqlLedger, str]) -> None:
    """Every question and six readings with a correction: stored once each and in the order they were done."""
    site, ledger, _code = school
    policies.set_emergency_number(ledger, "000")
    visit = visits.begin(ledger, policy_id="NHFA_2016")
    network = BadNetwork(site.port, re.compile(b"^POST .*/acts"), seed=3)
    with phone(chromium, network) as page:
        come_in(page, f"http://{NAME}:{network.port}")
        page.goto(f"http://{NAME}:{network.port}/client/{visit}")

        def tap(step: str, name: str) -> None:
            page.locator(f'form[data-step="{step}"]').get_by_role("button", name=name, exact=True).click()

        for step, name in (
            ("consent", "The client agrees"), ("urgent", "None of these"), ("signs", "None of these"),
            ("disease", "None known"), ("habit", "Yes"), ("plan", "fitness test"), ("about", "Go on"),
            ("today", "None of these"), ("arms", "Both may be used"),
        ):  # fmt: skip
            tap(step, name)
        page.get_by_label("Circumference, cm").fill("31")
        for step, name in (
            ("size", "Go on"), ("kit", "Go on"), ("rest", "Begin the rest"), ("rest", "The rest is over"),
            ("posture", "All is right"), ("pulse", "Regular"), ("feel", "Go on"),
        ):  # fmt: skip
            tap(step, name)
        written = [(150, 92), (146, 90), (144, 88)]
        for systolic, diastolic in written:
            page.locator("#systolic").fill(str(systolic))
            page.locator("#diastolic").fill(str(diastolic))
            page.get_by_role("button", name="Write reading").click()
        page.get_by_role("button", name="Correct reading 2").click()
        page.locator("#amend-systolic").fill("148")
        page.locator("#amend-why").fill("slip")
        page.get_by_role("button", name="Correct it").click()
        key = f"hushpoint.visit.{visit}"
        nothing_waits(page.context, key)
        changes = 0
        while network.cuts < EACH:  # the practitioner goes back and forth between two questions
            page.evaluate("document.querySelector('#answers').closest('details').open = true")
            page.locator('[data-change="habit"]').click()
            tap("habit", "Yes")
            changes += 1
            if changes % 3 == 0:
                nothing_waits(page.context, key)
        nothing_waits(page.context, key)
    readings = list(ledger.rows(kinds=[Kind.READING_TAKEN]))
    assert [((row.body or {})["systolic"], (row.body or {})["diastolic"]) for row in readings] == written
    assert len(list(ledger.rows(kinds=[Kind.READING_AMENDED]))) == 1
    told = [(row.body or {})["told"] for row in ledger.rows(kinds=[Kind.VISIT_TOLD])]
    grown = [one["steps"].split(",") for one in told if "steps" in one]
    asked = ["consent", "urgent", "signs", "disease", "habit", "plan", "about", "today", "arms", "size", "kit", "rest",
             "posture", "pulse", "feel"]  # fmt: skip
    assert [one[-1] for one in grown[: len(asked)]] == asked
    assert len(grown) == len(asked) + 2 * changes


def test_the_bench(chromium: Browser, school: tuple[Site, SqlLedger, str]) -> None:
    """Measurements whose logs are cut on their way, ten times in all: filed once each, in order."""
    site, ledger, _code = school
    network = BadNetwork(site.port, re.compile(b"^POST .*/log"), seed=4)
    with phone(chromium, network) as page:
        learner = new_learner(page.context, "keyboard")
        learner.join_alone(f"http://{NAME}:{network.port}")
        number = 0
        while network.cuts < BENCH:
            learner.set_up()
            learner.feel()
            learner.pump(140)
            learner.open_fully()
            learner.wait_for_entry()
            learner.write(str(120 + number), "80")
            nothing_waits(page.context, "hushpoint.outbox")
            learner.judgement()
            learner.page.goto(f"http://{NAME}:{network.port}/practise/bench")
            number += 1
    rows = [(row.body or {})["log"]["reading"]["systolic"] for row in ledger.rows(kinds=[Kind.MEASUREMENT_FILED])]
    assert rows == [120 + place for place in range(number)]
    assert sum(network.happened[kind] > 0 for kind in CUTS) >= 2
