"""A finished measurement is neither lost nor doubled, whatever the network and the page do."""

from __future__ import annotations

import pytest

from bench_driver import ORIGINS, new_learner, served
from hushpoint.ledger.records import Kind

pytestmark = pytest.mark.browser
EACH_WAY = [pytest.param(ORIGINS[0], marks=pytest.mark.hard), ORIGINS[1]]
"""As a phone comes in a classroom; the other way is hard, and a measurement goes that way in every run."""


@pytest.fixture(scope="module")
def bench_site(tmp_path_factory):
    """The whole app, served from here with its ledger at hand."""
    with served(tmp_path_factory.mktemp("bench")) as running:
        yield running


def filed(site) -> int:
    """How many measurements the journal holds."""
    return len(list(site.ledger.rows(kinds=[Kind.MEASUREMENT_FILED])))


def measure_quickly(learner) -> None:
    """Pump up, open fully and write: the shortest measurement there is."""
    learner.set_up()
    learner.feel()
    learner.pump(140)
    learner.open_fully()
    learner.wait_for_entry()


@pytest.mark.parametrize("origin", EACH_WAY)
def test_reload_in_mid_send_loses_nothing(bench_site, chromium, origin):
    """With the network gone the reading waits through a reload, and is sent once when it is back."""
    before = filed(bench_site)
    with chromium.new_context() as context:
        learner = new_learner(context, "keyboard")
        learner.join_alone(bench_site.at(origin))
        measure_quickly(learner)
        context.route("**/log", lambda route: route.abort())
        learner.write("118", "74")
        learner.page.get_by_text("Connection lost. Your reading waits here; it will be sent once.").wait_for()
        assert filed(bench_site) == before
        learner.page.reload()
        learner.page.get_by_text("Connection lost.").wait_for()
        context.unroute("**/log")
        judged = learner.judgement()
        assert judged["reading"]["systolic"] == 118
        assert learner.page.locator("#banner").is_hidden()
    assert filed(bench_site) == before + 1


@pytest.mark.parametrize("origin", EACH_WAY)
def test_a_lost_answer_doubles_nothing(bench_site, chromium, origin):
    """Where the server stored the reading and its answer was lost, sending again stores nothing twice."""
    before = filed(bench_site)
    with chromium.new_context() as context:
        learner = new_learner(context, "keyboard")
        learner.join_alone(bench_site.at(origin))
        measure_quickly(learner)
        lost = []

        def lose_the_answer(route):
            # the name is known to the browser alone; the request goes on by the machine's own
            headers = {name: value for name, value in route.request.all_headers().items() if name != "origin"}
            here = route.request.url.replace(origin, "localhost")
            lost.append(route.fetch(url=here, headers=headers).status)
            route.abort()

        context.route("**/log", lose_the_answer)
        learner.write("118", "74")
        learner.page.get_by_text("Connection lost.").wait_for()
        assert filed(bench_site) == before + 1
        learner.page.reload()
        learner.page.get_by_text("Connection lost.").wait_for()
        context.unroute("**/log")
        judged = learner.judgement()
        assert judged["reading"]["diastolic"] == 74
        assert lost[0] == 201
    assert filed(bench_site) == before + 1


@pytest.mark.hard
def test_numbers_the_wrong_way_round_are_asked_about(bench_site, chromium):
    """Diastolic above systolic is asked about once, and "not heard" is written as such."""
    with chromium.new_context() as context:
        learner = new_learner(context, "mouse")
        learner.join_alone(bench_site.at("localhost"))
        measure_quickly(learner)
        page = learner.page
        learner.write("", "74")
        assert "systolic: a whole number from 0 to 300" in page.inner_text("#reading-missing")
        learner.write("74", "118")
        assert "Swap, or keep as written?" in page.inner_text("#reading-missing")
        learner.press("#swap")
        judged = learner.judgement()
        assert (judged["reading"]["systolic"], judged["reading"]["diastolic"]) == (118, 74)
        # the second measurement on the same person: two taps, then pump
        learner.press("#same-set-up")
        page.wait_for_selector("#start")
        learner.press("#start")
        learner.until("hushpoint.facts().doing === 'feel'")
        # told to wait, and not kept from pumping
        learner.until("/^Wait [0-9]+ s$/.test(document.getElementById('hint').textContent)")
        learner.pump(50)
        learner.until("document.getElementById('hint').textContent === 'Feel the wrist'")


@pytest.mark.hard
def test_a_browser_that_keeps_nothing_still_sends(bench_site, chromium):
    """With the device's store forbidden and the network gone for a while, the reading is sent from memory."""
    forbid = "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('', 'SecurityError'); } })"
    before = filed(bench_site)
    with chromium.new_context() as context:
        context.add_init_script(forbid)
        learner = new_learner(context, "keyboard")
        learner.join_alone(bench_site.at("classroom.test"))
        measure_quickly(learner)
        context.route("**/log", lambda route: route.abort())
        learner.write("118", "74")
        learner.page.get_by_text(
            "This browser keeps nothing; do not close the page until the reading is sent."
        ).wait_for()
        context.unroute("**/log")
        assert learner.judgement()["reading"]["systolic"] == 118
        assert learner.page.locator("#banner").is_hidden()
        assert learner.faults == []
    assert filed(bench_site) == before + 1


def test_left_hand_is_kept_on_the_device(bench_site, chromium):
    """The mirrored pad stays mirrored after a reload."""
    with chromium.new_context(viewport={"width": 360, "height": 560}) as context:
        learner = new_learner(context, "mouse")
        learner.join_alone(bench_site.at("classroom.test"))
        learner.page.evaluate("document.getElementById('left-hand').click()")
        learner.page.reload()
        learner.set_up()
        learner.press("#pulse-skip")
        valve, bulb = (learner.page.locator(one).bounding_box() for one in ("#valve", "#bulb"))
        assert valve["x"] + valve["width"] <= bulb["x"]
        assert bulb["height"] >= 56
