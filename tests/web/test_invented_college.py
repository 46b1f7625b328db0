"""The invented college: every page of every area opens and has something on it."""

from __future__ import annotations

import html
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hushpoint.desk import demo, kit, pairs, papers, recall, recordings, technique, tour, visits
from hushpoint.desk.recordings import RecordingFiles
from hushpoint.ledger.records import Ledger
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from hushpoint.wiring import Settings, build

NOW = datetime.now(UTC)


class College:
    """The college at first sight, and a lecturer who came in."""

    def __init__(self, folder: Path) -> None:
        clock = demo.DemoClock(NOW)
        self.folder = folder
        self.ledger: Ledger = open_sqlite(folder / FILE_NAME, clock=clock)
        self.room = demo.build_demo(self.ledger, clock, NOW)
        app = build(Settings(folder, invented=True, demo_password=demo.PASSWORD), self.ledger)
        self.lecturer = TestClient(app, base_url="http://localhost:8100", headers={"accept": "text/html"})

    def seen(self, path: str) -> str:
        """Return a page, which must be there."""
        answer = self.lecturer.get(path)
        assert answer.status_code == 200, f"{path}: {answer.status_code}"
        return answer.text


@pytest.fixture(scope="module")
def college(tmp_path_factory: pytest.TempPathFactory) -> Iterator[College]:
    """The invented college before anything is made beside the app."""
    made = College(tmp_path_factory.mktemp("college"))
    made.lecturer.post("/class/sign-in", data={"password": demo.PASSWORD})
    yield made
    made.ledger.close()


def test_no_area_is_empty_at_first_sight(college: College) -> None:
    """Kit with a failed gauge and its recall, pairs of three sorts, sheets, visits, a rotation: each on its page."""
    ledger, room = college.ledger, college.room
    gauge = next(one for one in kit.register(ledger).values() if one.label == "G4")
    book = pairs.book_of(ledger, room)
    waiting = next(one for one in book.pairs.values() if one.state == "open")
    performance = technique.performances(ledger, room)[0].id
    lines = visits.listing(ledger, NOW)
    learner = next(iter(book.pairs.values())).opening.learner
    for path, words in (
        ("/", "What are you here to do?"),
        ("/class", demo.CLASS_NAME),
        (f"/class/{room}", "Ines Invented"),
        (f"/class/{room}/wall", room),
        (f"/class/{room}/learner/{learner}", "Ines Invented"),
        (f"/class/{room}/learner/{learner}/results", "Ines Invented"),
        (f"/class/{room}/learner/{learner}/pairs", "K31"),
        (f"/class/{room}/pairs", "never counted"),
        (f"/class/{room}/pairs/{waiting.id}", "K34"),
        (f"/class/{room}/technique", "Ines Invented"),
        (f"/class/{room}/technique/{performance}/marks", "AB"),
        (f"/class/{room}/rotation", "Ines Invented"),
        (f"/class/{room}/papers", "Set a paper"),
        (f"/class/{room}/rounds", "ound"),
        ("/kit", "G4"),
        ("/kit/due", "out of use"),
        (f"/kit/{gauge.id}", "G4"),
        (f"/kit/{gauge.id}/checks/{gauge.checks[-1].seq}", "G4"),
        ("/client", "K3"),
        *(
            (f"/client/{line.state.id}/record" if line.state.closed_at else f"/client/{line.state.id}", "K")
            for line in lines
        ),
        ("/recordings", "Recording"),
        ("/agreement", "greement"),
        ("/policy", "palpat"),
    ):
        assert words in college.seen(path), path


def test_the_failed_gauge_has_readings_to_recall(college: College) -> None:
    """G4, 6 low at its second check, touched pairs and visits, and the list holds them all."""
    gauge = next(one for one in kit.register(college.ledger).values() if one.label == "G4")
    assert [check.passed for check in gauge.checks] == [True, False]
    touched = [one for one in recall.readings(college.ledger) if one.gauge == gauge.id]
    assert {one.via for one in touched} == {"pair", "visit"}
    assert "repeat" in college.seen(f"/kit/recall/{gauge.id}")


def test_what_is_made_beside_the_app_is_made_once(tmp_path: Path) -> None:
    """Stopped and begun again, it goes on; done again, not a row is added; the journal verifies."""
    made = College(tmp_path)
    files = RecordingFiles(tmp_path)
    demo.fill_up(made.ledger, demo.DemoClock(NOW), NOW, files, room=made.room)
    last = made.ledger.last()
    assert len(recordings.all_kept(made.ledger)) == len(demo.RECORDED)
    (paper,) = papers.papers_of(made.ledger, made.room)
    assert len([one for one in paper.attempts.values() if one.marked]) == demo.PAPERS
    demo.fill_up(made.ledger, demo.DemoClock(NOW), NOW, files, room=made.room)
    assert made.ledger.last() == last
    made.ledger.close()


def test_the_tour_leads_to_nine_pages_that_are_there(college: College) -> None:
    """Each stop has a page of its own with the strip above it; off the way the strip leads back; leaving ends it."""
    stranger = TestClient(college.lecturer.app, base_url="http://localhost:8100", headers={"accept": "text/html"})
    seen = set()
    for number, stop in enumerate(tour.STOPS, 1):
        answer = stranger.post("/tour", data={"to": str(number)})
        assert answer.status_code == 200
        seen.add(answer.url.path)
        assert f"Tour, {number} of {len(tour.STOPS)}: {stop.title}" in html.unescape(answer.text)
        assert stop.words in html.unescape(answer.text)
    assert len(seen) == len(tour.STOPS)
    assert "Back to this stop" in stranger.get("/kit").text
    assert "Take the tour" in stranger.post("/tour", data={"to": "0"}).text


def test_a_stop_that_there_is_not_is_refused(college: College) -> None:
    """One line with the legal range."""
    answer = college.lecturer.post("/tour", data={"to": "10"})
    assert (answer.status_code, "a whole number from 0 (leave) to 9" in answer.text) == (422, True)
