"""The worklist of a bad gauge by hand: parts, decisions on one line or many, refusals, CSV and PDF."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from starlette.testclient import TestClient

from hushpoint.desk import recall as desk
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.wiring import Settings, build
from permission_rows.house import PASSWORD
from recall_scene import furnish

DECISION = {"decision": "annotate", "by": "practitioner", "why": "6 low"}


@pytest.fixture
def ledger() -> MemoryLedger:
    """A ledger with the scene."""
    return MemoryLedger()


@pytest.fixture
def lecturer(ledger: MemoryLedger, tmp_path: Path) -> Iterator[TestClient]:
    """The lecturer at the laptop, standing on the list."""
    app = build(Settings(data_dir=tmp_path), ledger)
    bad, _ = furnish(ledger)
    with TestClient(app, base_url="http://testserver", client=("127.0.0.1", 1)) as client:
        client.post("/class/first-run", data={"password": PASSWORD})
        client.headers["x-gauge"] = f"/kit/recall/{bad.id}"
        yield client


def at(lecturer: TestClient) -> str:
    """The list's path."""
    return str(lecturer.headers["x-gauge"])


def test_each_part_shows_its_own_lines(lecturer: TestClient) -> None:
    """Today holds K17 alone; void pairs hold the two on two gauges; an unknown part is refused."""
    today = lecturer.get(f"{at(lecturer)}?show=today").text
    assert "K17" in today
    assert "K09" not in today
    assert lecturer.get(f"{at(lecturer)}?show=pair").text.count('name="line"') == 2
    answer = lecturer.get(f"{at(lecturer)}?show=nonsense", headers={"accept": "application/json"})
    assert (answer.status_code, answer.json()["error"].startswith("show: must be one of")) == (422, True)


def test_many_lines_are_decided_at_once(lecturer: TestClient, ledger: MemoryLedger) -> None:
    """Two ticked lines, then a whole part: one row a line, one row for the recall."""
    ticked = {**DECISION, "line": ["visit:visitK01", "visit:visitK02"]}
    assert "6 low" in lecturer.post(f"{at(lecturer)}/decide", data=ticked).text
    void = {"decision": "void", "by": "lecturer", "why": "two gauges", "all": "yes"}
    lecturer.post(f"{at(lecturer)}/decide?show=pair", data=void)
    rows = [row.body or {} for row in ledger.rows(kinds=[Kind.RECALL_DECIDED])]
    assert [(row["line"], row["decision"], row["by"]) for row in rows] == [
        ("visit:visitK01", "annotate", "practitioner"),
        ("visit:visitK02", "annotate", "practitioner"),
        ("pair:RKTM:m10", "void", "lecturer"),
        ("pair:RKTM:m11", "void", "lecturer"),
    ]
    assert len(list(ledger.rows(kinds=[Kind.RECALL_OPENED]))) == 1


@pytest.mark.parametrize(
    ("sent", "line"),
    [
        ({}, "choose at least one line"),
        ({"line": "visit:visitK17", "why": ""}, "without names"),
        ({"line": "visit:visitK17", "decision": "void"}, "is for pair and single lines"),
        ({"line": "<b>", "by": "x"}, "choose at least one line"),
    ],
)
def test_a_refused_decision_keeps_what_was_typed_and_writes_nothing(
    lecturer: TestClient, ledger: MemoryLedger, sent: dict[str, str], line: str
) -> None:
    """The page comes back with one line, status 422."""
    last = ledger.last()
    answer = lecturer.post(f"{at(lecturer)}/decide", data={**DECISION, **sent})
    assert answer.status_code == 422
    assert line in answer.text
    assert f'value="{sent.get("why", "6 low")}"' in answer.text
    assert ledger.last() == last


def test_csv_and_pdf_hold_codes_and_no_ids_of_people(lecturer: TestClient) -> None:
    """The CSV has a row a reading; the PDF names policy and cautions; neither holds anybody's id."""
    rows = list(csv.DictReader(io.StringIO(lecturer.get(f"{at(lecturer)}/list.csv").text)))
    assert len(rows) == 77
    assert {row["systolic_whole"] for row in rows if row["code"] == "K17"} == {"180.0"}
    answer = lecturer.get(f"{at(lecturer)}/worklist.pdf?show=today")
    text = " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(answer.content)).pages)
    for words in ("K17", "180/112", "NHFA_2016", "no diagnosis", "It is no measurement", "Codes only"):
        assert words in text
    assert "K09" not in text
    assert "personK17" not in text + str(rows)


def test_another_policy_judges_otherwise_and_an_unknown_one_is_refused(lecturer: TestClient) -> None:
    """Under ISH 2020 nobody changes band at 180, but the ladder still says today."""
    page = lecturer.get(f"{at(lecturer)}?policy=ISH_2020&show=today").text
    assert "ISH_2020" in page
    assert "K17" in page
    assert lecturer.get(f"{at(lecturer)}?policy=MINE").status_code == 422


def test_long_lists_come_in_pages(lecturer: TestClient, ledger: MemoryLedger) -> None:
    """A hundred lines a page; nonsense for a page is the first."""
    from datetime import timedelta

    from hushpoint.desk import live
    from recall_scene import GOOD, reading

    gauge = desk.gauge_named(ledger, "G4").id
    ledger.append(
        *(
            live.entry_of(
                reading(f"s{n}", "L50", (120, 80), GOOD + timedelta(days=1), gauge, "paper"), room="RKTM", who="L50"
            )
            for n in range(150)
        )
    )
    counted = [lecturer.get(f"{at(lecturer)}?page={page}").text.count('name="line"') for page in ("1", "2", "9", "x")]
    assert counted == [100, 81, 81, 100]
