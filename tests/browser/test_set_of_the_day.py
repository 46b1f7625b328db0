"""The set of the day in a real Chromium: the next person, a judgement that is held back, and on to the next reading."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from bench_driver import Learner, Served, served
from bench_logs import bench_log
from hushpoint.desk import bench, path
from hushpoint.guideline import default_policy_id
from hushpoint.ledger.records import Kind
from hushpoint.practice.setup import right_choices

pytestmark = pytest.mark.browser
EARLIER = 16
"""Four sets done: from the fifth on judgements come at the end of the set."""


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Served]:
    """The app on a ledger of its own."""
    with served(tmp_path) as running:
        yield running


def test_a_judgement_is_held_back_to_the_end_of_the_set(app: Served, chromium: Browser) -> None:
    """The fifth set's first reading is kept, its judgement withheld on every page, and the next reading offered."""
    with chromium.new_context(viewport={"width": 360, "height": 640}) as context:
        page = context.new_page()
        learner = Learner(page, "keyboard")
        learner.join_alone(app.at("localhost"))
        who = next(row.who for row in app.ledger.rows(kinds=[Kind.LEARNER_JOINED]))
        for number in range(EARLIER):
            begun = path.begin_next(app.ledger, who=who, ref=f"r{number}", policy_id=default_policy_id)
            choices = right_choices(begun.case)
            bench.set_up(app.ledger, who=who, measurement=begun.measurement, choices=choices)
            log = bench_log(peak_mmhg=250, rate_mmhg_per_s=12.0)
            bench.file_log(app.ledger, who=who, measurement=begun.measurement, log=log)
            bench.grade(app.ledger, begun.measurement)
        page.goto(f"{app.at('localhost')}/practise")
        expect(page.locator("#set-of-today")).to_contain_text("Today's set is through")
        page.get_by_role("link", name="One more of what you need").click()
        expect(page.locator("#case-set")).to_contain_text("Reading 1 of 4 today. The judgement comes later in the set.")
        learner.choose_rightly()
        learner.press("#start")
        learner.feel()
        learner.pump(150)
        learner.open_fully()
        learner.wait_for_entry()
        learner.write("124", "80")
        expect(page.locator("#held-words")).to_contain_text("after 3 more readings", timeout=30_000)
        page.goto(f"{app.at('localhost')}/practise")
        expect(page.locator("tbody tr").first).to_contain_text("at the end of the set")
        page.goto(f"{app.at('localhost')}/practise/bench#next")
        expect(page.locator("#case-set")).to_contain_text("Reading 2 of 4 today")
        assert learner.faults == []
