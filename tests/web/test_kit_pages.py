"""The kit's pages by hand: scan and come back, wipe as a learner, look before storing, nothing written when refused."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route
from starlette.testclient import TestClient

from hushpoint.desk import classes, kit
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.web.context import context_of
from hushpoint.web.forms import form_of
from hushpoint.web.kit_pick import come_back, kit_choice, kit_choices, remember
from hushpoint.wiring import Settings, build

PASSWORD = "ten letters or more"
STEPS = (0, 60, 100, 150, 200, 250, 300)


@dataclass
class Bench:
    """The app, its ledger, the lecturer's and a learner's device."""

    app: Starlette
    ledger: MemoryLedger
    lecturer: TestClient
    learner: TestClient
    code: str

    def add(self, kind: str, label: str, **more: str) -> kit.Item:
        """Add an item on the page and return it."""
        answer = self.lecturer.post("/kit/add", data={"type": kind, "label": label, **more})
        assert answer.status_code == 200, answer.text
        return next(one for one in kit.register(self.ledger).values() if one.label == label)


async def reading_page(request: Request) -> Response:
    """A page that takes a reading, as pairs and visits do: draws the picker, reads it back, remembers."""
    if request.method == "GET":
        drawn = context_of(request).draw("kit_pick.html", {"kit": await kit_choices(request)}, request)
        return come_back(request, HTMLResponse(drawn))
    chosen = await kit_choice(request, (await form_of(request)).texts)
    answer = JSONResponse(chosen)
    remember(request, answer, chosen)
    return answer


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A lecturer and a learner, no kit yet."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    app.router.routes.insert(0, Route("/reading", reading_page, methods=["GET", "POST"]))
    with TestClient(app, client=("127.0.0.1", 1)) as lecturer:
        lecturer.post("/class/first-run", data={"password": PASSWORD})
        code = classes.open_class(ledger, name="A", policy_id="PALPATED_30")
        learner = TestClient(app)
        learner.post(f"/join/{code}", data={"name": "Ines Invented"})
        yield Bench(app, ledger, lecturer, learner, code)


def sheet(error_mmhg: float, **more: str) -> dict[str, str]:
    """Return a filled check."""
    both = [*STEPS, *reversed(STEPS)]
    rows = {f"r{place}": str(step) for place, step in enumerate(both)}
    rows |= {f"g{place}": f"{step + error_mmhg if step else 0:g}" for place, step in enumerate(both)}
    return {"reference": "M1", "certificate": "12", "error": "0.5", "rule": "in_use", "by": "lecturer", **rows, **more}


def test_a_scan_picks_and_leads_back(bench: Bench) -> None:
    """The reading page asks; a scanned label comes back to it with the item picked; what is sent is remembered."""
    first, second = bench.add("gauge", "G1"), bench.add("gauge", "G2")
    assert "G1" in bench.learner.get("/reading").text
    answer = bench.learner.get(f"/k/{second.id}")
    assert answer.url.path == "/reading"
    assert f'value="{second.id}" data-label="G2" checked' in answer.text
    assert answer.text.index('data-label="G2"') < answer.text.index('data-label="G1"')
    sent = bench.learner.post("/reading", data={"gauge": first.id, "cuff": ""})
    assert sent.json() == {"gauge": first.id, "cuff": "", "stethoscope": ""}
    assert f'value="{first.id}" data-label="G1" checked' in bench.learner.get("/reading").text
    assert bench.learner.post("/reading", data={"gauge": "BCDFGH"}).status_code == 422
    stranger = TestClient(bench.app)
    assert stranger.get(f"/k/{first.id}").url.path == "/k"
    assert stranger.get("/k/BCDFGH").status_code == 404


def test_a_gauge_out_of_use_is_not_picked(bench: Bench) -> None:
    """It is shown, cannot be chosen, and a scan of it says why."""
    gauge = bench.add("gauge", "G4")
    bench.learner.get(f"/k/{gauge.id}")
    failed = bench.lecturer.post(f"/kit/{gauge.id}/check", data=sheet(-6, store="yes", ref="a"))
    assert f'href="/kit/recall/{gauge.id}"' in failed.text
    assert bench.lecturer.get(f"/kit/recall/{gauge.id}").status_code == 200
    shown = bench.learner.get("/reading").text
    assert f'value="{gauge.id}" data-label="G4" disabled' in shown
    scanned = bench.learner.get(f"/k/{gauge.id}", headers={"accept": "text/html"})
    assert scanned.status_code == 422
    assert "out of use" in scanned.text
    assert bench.learner.post("/reading", data={"gauge": gauge.id}).status_code == 422


def test_a_learner_wipes_without_a_name(bench: Bench) -> None:
    """Who wiped is "a learner of CODE"; the learner sees no form to change kit, and a stranger sees nothing."""
    cuff = bench.add("cuff", "C1", bladder_width_cm="16", bladder_length_cm="30")
    page = bench.learner.post(f"/kit/{cuff.id}/wiped", data={})
    assert f"a learner of {bench.code}" in page.text
    assert "Add a gauge" not in page.text
    assert kit.item(bench.ledger, cuff.id).wiped_by == f"a learner of {bench.code}"
    rows = list(bench.ledger.rows(kinds=[Kind.KIT_WIPED]))
    assert [(row.who, row.room) for row in rows] == [("", "")]
    assert "Ines" not in str(rows[0].body)
    assert TestClient(bench.app).get("/kit").status_code == 401


def test_a_check_is_looked_at_first_and_stored_once(bench: Bench) -> None:
    """Looking writes nothing; storing twice (a double tap) writes one check; its certificate is a PDF."""
    gauge = bench.add("gauge", "G4")
    before = bench.ledger.last()
    looked = bench.lecturer.post(f"/kit/{gauge.id}/check", data=sheet(0))
    assert looked.status_code == 200
    assert "Nothing is stored yet" in looked.text
    assert bench.ledger.last() == before
    both = [
        bench.lecturer.post(
            f"/kit/{gauge.id}/check", data=sheet(0, store="yes", ref="tap", checked_at="2026-05-01T10:00")
        )
        for _ in range(2)
    ]
    assert both[0].url == both[1].url
    assert bench.ledger.last() == before + 1
    assert "Within its limits" in both[0].text
    made = bench.lecturer.get(f"{both[0].url.path}/certificate.pdf")
    assert made.content.startswith(b"%PDF")
    assert bench.lecturer.get(f"{both[0].url.path}/picture.svg").text.lstrip().startswith("<?xml")
    assert bench.learner.get(both[0].url.path).status_code == 200


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"reference": ""}, "reference: missing"),
        ({"r3": "90"}, "out of order"),
        ({f"g{place}": "" for place in range(1, 14)}, "1 point"),
        ({"g2": "ninety"}, "a number from -20 to 330"),
        ({"by": "Ines"}, "checked by"),
    ],
)
def test_bad_checks_keep_what_was_typed_and_write_nothing(bench: Bench, more: dict[str, str], words: str) -> None:
    """One clear line, the rest of the sheet still filled in."""
    gauge = bench.add("gauge", "G4")
    before = bench.ledger.last()
    answer = bench.lecturer.post(f"/kit/{gauge.id}/check", data=sheet(1, store="yes", ref="a", **more))
    assert answer.status_code == 422
    assert words in answer.text
    assert 'value="0.5"' in answer.text
    assert bench.ledger.last() == before


def test_a_file_is_shown_before_it_is_stored(bench: Bench) -> None:
    """The points of a CSV come back in the page, and storing takes them from there; a broken file is one line."""
    gauge = bench.add("gauge", "G4")
    data = "reference_mmhg,reading_mmhg,direction\n0,0,up\n100,94,up\n200,194,up\n"
    upload = {"file": ("check.csv", data.encode())}
    texts = {key: value for key, value in sheet(0).items() if key[1:].isalpha()}
    looked = bench.lecturer.post(f"/kit/{gauge.id}/check", data=texts, files=upload)
    assert "Points from check.csv" in looked.text
    assert "Outside its limits" in looked.text
    stored = bench.lecturer.post(f"/kit/{gauge.id}/check", data={**texts, "points": data, "store": "yes", "ref": "a"})
    assert "points from: file" in stored.text
    broken = {"file": ("check.csv", data.replace("94", "abc").encode())}
    refused = bench.lecturer.post(f"/kit/{gauge.id}/check", data=texts, files=broken)
    assert refused.status_code == 422
    assert "row 3, column reading_mmhg" in refused.text
    assert len(kit.checks_of(bench.ledger, gauge.id)) == 1


def test_a_timed_test_is_stored_and_shown(bench: Bench) -> None:
    """A leak is looked at, stored, and stands on the item's page."""
    gauge = bench.add("gauge", "G4")
    texts = {"test": "leak", "rule": "in_use", "by": "lecturer"}
    for place, mmhg in enumerate((200, 196, 192, 188)):
        texts |= {f"t{place}": str(60 * place), f"p{place}": str(mmhg)}
    looked = bench.lecturer.post(f"/kit/{gauge.id}/timed", data=texts)
    assert "Nothing is stored yet" in looked.text
    assert "4.0 (2.9 to 5.1) mmHg/min" in bench.lecturer.post(
        f"/kit/{gauge.id}/timed", data={**texts, "store": "yes", "ref": "a"}
    ).text  # fmt: skip
    stethoscope = bench.add("stethoscope", "S1")
    assert bench.lecturer.get(f"/kit/{stethoscope.id}/timed").status_code == 404
    assert bench.lecturer.get(f"/kit/{stethoscope.id}/check").status_code == 404


def test_due_page_and_calendar(bench: Bench) -> None:
    """Knocked by a learner: due now, on the page and in the calendar; the interval is set or refused."""
    gauge = bench.add("gauge", "G4")
    now = datetime.now(UTC)
    bench.lecturer.post(f"/kit/{gauge.id}/check", data=sheet(0, store="yes", ref="a"))
    bench.learner.post(f"/kit/{gauge.id}/knocked", data={"to": "hand"})
    assert "after a knock" in bench.lecturer.get("/kit/due").text
    calendar = bench.lecturer.get("/kit/due.ics")
    assert calendar.headers["content-type"].startswith("text/calendar")
    assert f"DTSTART;VALUE=DATE:{now.astimezone():%Y%m%d}" in calendar.text
    assert bench.lecturer.post("/kit/due", data={"months": "99"}).status_code == 422
    assert 'value="12"' in bench.lecturer.post("/kit/due", data={"months": "12"}).text


@pytest.mark.parametrize("arm", ["36", "36 cm", "26,5", "15", "60"])
def test_cuff_page(bench: Bench, arm: str) -> None:
    """The page names the size or refers, shows the register's cuffs, and says what the wrong one does."""
    bench.add("cuff", "C2", bladder_width_cm="13", bladder_length_cm="23", claim="adult")
    text = TestClient(bench.app).get("/cuff", params={"arm": arm}).text
    assert "C2" in text
    assert "Trust a tape over a label" in text
    assert ("refer to a trained clinician" in text) == (arm in ("15", "60"))
    if arm == "36":
        assert "64 %" in text
        assert "+4.8 systolic, +1.8 diastolic" in text


@pytest.mark.parametrize("arm", ["abc", "5", "99", "<b>", "9" * 400])
def test_cuff_page_refuses(bench: Bench, arm: str) -> None:
    """One line with what is legal."""
    answer = TestClient(bench.app).get("/cuff", params={"arm": arm}, headers={"accept": "text/html"})
    assert answer.status_code == 422
    assert "10 to 80" in answer.text
    assert "<b>" not in answer.text.replace("<b>Caution</b>", "")


def test_without_kit_the_pages_say_what_to_do_next(bench: Bench) -> None:
    """The empty register says what to do next."""
    assert "None yet" in bench.lecturer.get("/kit").text
    assert "No gauge is in the register yet" in bench.lecturer.get("/kit/due").text
    assert "holds no kit yet" in bench.learner.get("/reading").text
    assert bench.lecturer.get("/kit/labels.pdf").status_code == 422
