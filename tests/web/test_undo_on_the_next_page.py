"""The quiet line after an act, without scripts: said once, to whoever did it, for one page; refused in one line."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hushpoint.desk import kit
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.wiring import Settings, build

LINE = re.compile(r'<form method="post" action="/undo" class="did">(.*?)</form>', re.DOTALL)


@pytest.fixture
def ledger() -> MemoryLedger:
    """An empty ledger."""
    return MemoryLedger()


@pytest.fixture
def lecturer(tmp_path: Path, ledger: MemoryLedger) -> Iterator[TestClient]:
    """The lecturer's browser."""
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, headers={"accept": "text/html"}, client=("127.0.0.1", 40000)) as browser:
        browser.post("/class/first-run", data={"password": "ten letters or more"})
        yield browser


def line_of(page: str) -> str:
    """The words of the quiet line, "" where there is none."""
    found = LINE.search(page)
    return " ".join(re.sub(r"<[^>]+>", " ", found.group(1)).split()) if found else ""


def fields_of(page: str) -> dict[str, str]:
    """What the line's form sends."""
    found = LINE.search(page)
    assert found is not None
    return dict(re.findall(r'name="(\w+)" value="([^"]*)"', found.group(1)))


def opened(lecturer: TestClient) -> tuple[str, str]:
    """Open a class; its code and its page."""
    answer = lecturer.post("/class/open", data={"name": "Group A", "policy": "PALPATED_30"})
    return str(answer.url).rsplit("/", 1)[1], answer.text


def test_the_next_page_says_what_was_done_and_the_one_after_is_quiet(lecturer: TestClient) -> None:
    """One page has the line; loaded again it is gone, and stands on the list of what can be taken back."""
    code, page = opened(lecturer)
    assert line_of(page) == f"Done: class {code} is opened. Undo"
    assert line_of(lecturer.get(f"/class/{code}").text) == ""
    assert f"Class {code} is opened" in lecturer.get("/undo").text


def test_undo_goes_back_to_a_page_that_is_there(lecturer: TestClient) -> None:
    """The class is gone: the page of all classes says so, and its own address is not found."""
    code, page = opened(lecturer)
    answer = lecturer.post("/undo", data=fields_of(page))
    assert answer.url.path == "/class"
    assert line_of(answer.text) == f"Taken back: class {code} is opened."
    assert lecturer.get(f"/class/{code}").status_code == 404


def test_the_next_page_is_of_this_site(lecturer: TestClient) -> None:
    """A form that was tampered with leads to no other site."""
    code, _ = opened(lecturer)
    page = lecturer.post(f"/class/{code}/close", data={"closed": "yes"}).text
    answer = lecturer.post("/undo", data=fields_of(page) | {"next": "//elsewhere.test"}, follow_redirects=False)
    assert answer.headers["location"] == "/undo"


def test_what_rests_on_it_is_said_in_one_line(lecturer: TestClient, ledger: MemoryLedger) -> None:
    """Status 409, a page of one line with what to do, nothing written."""
    code, page = opened(lecturer)
    lecturer.post(f"/class/{code}/roster", data={"names": "Ines Invented", "add": "yes"})
    before = ledger.last()
    answer = lecturer.post("/undo", data=fields_of(page))
    assert answer.status_code == 409
    assert "Somebody or something is in this class since" in answer.text
    assert ledger.last() == before


@pytest.mark.parametrize("row", ["", "0", "-1", "1e3", "x", "9" * 40, "٣"])
def test_nonsense_is_refused_in_one_line(lecturer: TestClient, ledger: MemoryLedger, row: str) -> None:
    """No row, or none of these acts."""
    opened(lecturer)
    before = ledger.last()
    answer = lecturer.post("/undo", data={"row": row}, headers={"accept": "application/json"})
    assert answer.status_code in (404, 422)
    assert "\n" not in answer.json()["error"]
    assert ledger.last() == before


def test_the_line_is_nobody_elses(lecturer: TestClient, ledger: MemoryLedger) -> None:
    """On the same device after leaving, the next person is told nothing of what was done."""
    opened(lecturer)
    lecturer.post("/kit/add", data={"type": "gauge", "label": "G3"}, follow_redirects=False)
    lecturer.post("/leave", follow_redirects=False)
    assert line_of(lecturer.get("/").text) == ""
    assert lecturer.get("/undo").status_code == 401
    assert len(kit.register(ledger)) == 1


def test_a_pasted_list_has_its_line_on_the_page_it_was_added_on(lecturer: TestClient) -> None:
    """The answer to the paste is a page itself: it says it at once."""
    code, _ = opened(lecturer)
    page = lecturer.post(f"/class/{code}/roster", data={"names": "Ines Invented\nTomo Invented", "add": "yes"}).text
    assert line_of(page) == "Done: names added to the list: 2. Undo"
    page = lecturer.post("/undo", data=fields_of(page)).text
    assert "Ines Invented" in page.split("Off the list", 1)[1]


def test_who_practises_alone_is_asked_before_leaving_for_good(lecturer: TestClient, ledger: MemoryLedger) -> None:
    """Nobody could come back to the readings: the first tap asks, the second leaves."""
    lecturer.post("/leave")
    assert lecturer.post("/join/alone").url.path == "/practise"
    asked = lecturer.post("/leave")
    assert "nobody can come back" in asked.text
    assert lecturer.get("/practise").url.path == "/practise"
    lecturer.post("/leave", data={"sure": "yes"})
    assert lecturer.get("/practise").url.path == "/"


def test_a_learner_takes_back_what_they_said(lecturer: TestClient, ledger: MemoryLedger) -> None:
    """Consent by mistake: the line on the learner's own page, one tap, and it was never said."""
    code, _ = opened(lecturer)
    lecturer.post("/leave")
    lecturer.post(f"/join/{code}", data={"name": "Ines Invented"})
    page = lecturer.post("/practise/measured", data={"left": "yes", "right": "yes"}).text
    assert line_of(page) == "Done: your answer about being measured is kept. Undo"
    page = lecturer.post("/undo", data=fields_of(page)).text
    assert "You have not said yet" in page
    assert [row.kind for row in ledger.rows()][-2:] == [Kind.CONSENT_GIVEN, Kind.ACT_UNDONE]
