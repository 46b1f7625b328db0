"""Pages in the reader's language, with the unit of their device."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hushpoint.ledger.memory import MemoryLedger
from hushpoint.web.context import beside, written
from hushpoint.wiring import Settings, build

GERMAN = {"accept": "text/html", "accept-language": "de-AT,de;q=0.9,en;q=0.5"}


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[TestClient]:
    """The lecturer's browser, which asks for German."""
    app = build(Settings(data_dir=tmp_path), MemoryLedger())
    with TestClient(app, headers=GERMAN, client=("127.0.0.1", 40000)) as browser:
        browser.post("/class/first-run", data={"password": "ten letters or more"})
        yield browser


def test_a_browser_that_asks_for_german_gets_it(laptop: TestClient) -> None:
    """Language of the page, its texts, spoken labels and cautions."""
    page = laptop.get("/").text
    assert '<html lang="de"' in page
    assert "Was haben Sie hier vor?" in page
    assert 'aria-label="Menü"' in page
    assert "Eine Hilfe für Screening und Unterricht: keine Diagnose." in page
    assert "/static/words.js" in page


def test_a_choice_by_hand_wins_and_stays_on_the_device(laptop: TestClient) -> None:
    """The foot's form keeps two cookies that hold nothing but the choice, and goes back to the page."""
    answer = laptop.post("/habits", data={"language": "en", "unit": "kPa", "next": "/policy"}, follow_redirects=False)
    assert answer.headers["location"] == "/policy"
    assert laptop.cookies["hushpoint_language"] == "en"
    assert laptop.cookies["hushpoint_unit"] == "kPa"
    page = laptop.get("/policy").text
    assert '<html lang="en" data-pressures="kPa"' in page
    assert "/static/words.js" not in page


@pytest.mark.parametrize(
    "form", [{"language": "xx", "unit": "mmHg"}, {"language": "de", "unit": "bar"}, {"language": "de"}, {}]
)
def test_an_unknown_habit_is_refused_in_one_line(laptop: TestClient, form: dict[str, str]) -> None:
    """Nothing is kept, and the line names what there is."""
    answer = laptop.post("/habits", data=form, headers={"accept": "application/json"})
    assert answer.status_code == 422
    assert "muss eines von" in answer.json()["error"]
    assert "hushpoint_language" not in laptop.cookies


def test_nobody_is_led_to_another_site_by_a_choice(laptop: TestClient) -> None:
    """Only a page of this very site is gone back to."""
    form = {"language": "de", "unit": "mmHg", "next": "//elsewhere.test/"}
    assert laptop.post("/habits", data=form, follow_redirects=False).headers["location"] == "/"


def test_a_refusal_speaks_the_language_too(laptop: TestClient) -> None:
    """On a page and as JSON, with the values in it."""
    assert "Diese Seite gibt es nicht." in laptop.get("/nowhere").text
    answer = laptop.post("/class/open", data={"name": "", "policy": "PALPATED_30"})
    assert answer.status_code == 422
    assert re.search(r"muss 1 bis \d+ Zeichen haben", answer.text)


def test_what_was_typed_stays_and_is_escaped_once(laptop: TestClient) -> None:
    """A class called by words of ours keeps its name; markup in it is text."""
    laptop.post("/class/open", data={"name": "Left & <b>Right</b> arm", "policy": "PALPATED_30"})
    page = laptop.get("/class").text
    assert "Left &amp; &lt;b&gt;Right&lt;/b&gt; arm" in page
    assert "Öffnen" in page


def test_the_words_of_the_scripts_are_served(laptop: TestClient) -> None:
    """One JSON object of English texts and theirs; English has none; another language is refused."""
    assert laptop.get("/words/de.json").json()["Nobody talks."] == "Niemand spricht."
    assert laptop.get("/words/en.json").json() == {}
    assert laptop.get("/words/xx.json").status_code == 404


@pytest.mark.parametrize(
    ("reading", "unit", "shown"),
    [
        ({"systolic": 120, "diastolic": 80}, "kPa", " (16.0/10.7 kPa)"),
        ({"systolic": 120, "diastolic": 80}, "mmHg", ""),
        ({"systolic": 140, "diastolic": None}, "kPa", " (18.7/– kPa)"),
        ({"systolic": None, "diastolic": None}, "kPa", ""),
        (None, "kPa", ""),
    ],
)
def test_kpa_stands_beside_what_was_read_and_never_in_its_place(
    reading: dict[str, int | None] | None, unit: str, shown: str
) -> None:
    """ISO 80000-4: 120 mmHg is 16.0 kPa, 80 mmHg is 10.7 kPa, 140 mmHg is 18.7 kPa; the reading itself is unchanged."""
    assert beside(reading, unit) == shown
    assert reading is None or "kPa" not in written(reading)
