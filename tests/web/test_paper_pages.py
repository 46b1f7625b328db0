"""The lecturer's pages of papers: set, refused with what was wrong, a typed sheet shown before it is sealed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hushpoint.desk import classes, papers
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.wiring import Settings, build

HTML = {"accept": "text/html"}
SETTING = {"title": "Week 8", "rule": "NHANES_2003", "marking": "at_once", "plays": "1", "attempts": "3"}


class Lecturer:
    """A lecturer's browser, the ledger behind it, and a class with one learner."""

    def __init__(self, browser: TestClient, ledger: MemoryLedger) -> None:
        self.browser, self.ledger = browser, ledger
        self.code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
        self.who = classes.join(ledger, room=self.code, name="Ines Invented")

    @property
    def papers(self) -> list[papers.Paper]:
        """The class's papers."""
        return papers.papers_of(self.ledger, self.code)

    def send(self, path: str, **data: str) -> tuple[int, str]:
        """Send a form and return status and page."""
        answer = self.browser.post(f"/class/{self.code}/papers{path}", data=data)
        return answer.status_code, answer.text


@pytest.fixture
def lecturer(tmp_path: Path) -> Iterator[Lecturer]:
    """A lecturer who is signed in."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, headers=HTML, client=("127.0.0.1", 1)) as browser:
        browser.post("/class/first-run", data={"password": "ten letters or more"})
        yield Lecturer(browser, ledger)


def test_a_paper_is_set_with_its_window(lecturer: Lecturer) -> None:
    """Local times of the laptop are kept as UTC; the page names rule, policy and source."""
    status, page = lecturer.send("", **SETTING, **{"from": "2026-03-02T09:00", "until": "2026-03-02T11:30"})
    assert status == 200
    assert "22 of 24 within 2 mmHg" in page
    assert "Palpated systolic plus 30" in page
    (paper,) = lecturer.papers
    assert paper.from_at.endswith("Z")
    assert paper.from_at < paper.until_at


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("title", " ", "title: must have 1 to 80 characters"),
        ("rule", "CHAT", "rule: must be one of NHANES_2003"),
        ("plays", "9", "plays: must be 1 to 3"),
        ("attempts", "many", "attempts: must be a whole number"),
        ("until", "yesterday", "until: must be a date and time, or empty"),
        ("until", "0001-01-01T00:00", "until: must be"),
    ],
)
def test_a_wrong_setting_is_told_and_nothing_is_set(lecturer: Lecturer, field: str, value: str, said: str) -> None:
    """One line on the page, and no paper."""
    status, page = lecturer.send("", **{**SETTING, "from": "2026-03-02T09:00", field: value})
    assert status == 422
    assert said in page
    assert lecturer.papers == []


def test_a_typed_sheet_is_shown_before_it_is_sealed(lecturer: Lecturer) -> None:
    """As read first; sealed once asked; a line that cannot be read is named with its measurement."""
    lecturer.send("", **SETTING)
    (paper,) = lecturer.papers
    assert lecturer.send(f"/{paper.id}/export")[0] == 200
    form = f"/{paper.id}/forms/1"
    status, page = lecturer.send(form, who=lecturer.who, pair_1="128/82", pair_2="- / 80", pair_3="120")
    assert status == 422
    assert "measurement 3: write systolic, a stroke, diastolic" in page
    typed = {"who": lecturer.who, "pair_1": "128/82", "pair_2": "- / 80"}
    status, page = lecturer.send(form, **typed)
    assert status == 200
    assert "1: 128/82; 2: not heard/80" in page
    assert list(lecturer.ledger.rows(kinds=[Kind.PAPER_ANSWERED])) == []
    status, page = lecturer.send(form, **typed, sure="yes")
    assert status == 200
    assert "Ines Invented: stored and marked." in page
    assert len(list(lecturer.ledger.rows(kinds=[Kind.PAPER_ANSWERED]))) == 2
    assert lecturer.send(form, **typed, sure="yes")[0] == 409
