"""Pairs from paper and from files: previewed row by row, stored once, marked; a whole sign-off's worth comes in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hushpoint.competence import Competent, judge
from hushpoint.desk import classes, live, pairs, pairs_written
from hushpoint.errors import BadInputError
from hushpoint.guideline.competence_rules import competence_rule
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.web.pairs import LATEST
from hushpoint.wiring import Settings, build
from permission_rows.house import PASSWORD

HEAD = "learner,systolic,diastolic,reference_systolic,reference_diastolic"
SHEET = {"learner": "in", "client": "K1", "mine": "124/82", "theirs": "128 -", "day": "2026-05-01", "ref": "line-1"}


@pytest.fixture
def site(tmp_path: Path) -> Iterator[tuple[TestClient, MemoryLedger, str]]:
    """The lecturer's device, the ledger, and a class of two."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, client=("127.0.0.1", 1), headers={"accept": "text/html"}) as lecturer:
        lecturer.post("/class/first-run", data={"password": PASSWORD})
        code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
        classes.add_roster(ledger, room=code, names=["Ines Invented", "Tomo Invented"])
        yield lecturer, ledger, code


def who_of(ledger: MemoryLedger, code: str, name: str) -> str:
    """The id behind a name."""
    return next(who for who, known in classes.names_of(ledger, code).items() if known == name)


def test_a_line_of_paper_is_stored_once_and_marked(site: tuple[TestClient, MemoryLedger, str]) -> None:
    """Sent twice it is one pair; its readings say paper, the day's noon, and not heard where a dash stood."""
    lecturer, ledger, code = site
    for _ in range(2):
        assert lecturer.post(f"/class/{code}/pairs/paper", data=SHEET).status_code == 200
    mine, theirs = live.readings(ledger)
    assert (mine.via, mine.client, mine.systolic_mmhg, theirs.diastolic_mmhg) == ("paper", "K1", 124, None)
    assert mine.taken_at[:10] in ("2026-04-30", "2026-05-01")
    (fair,) = pairs.fair_pairs(ledger, code, who_of(ledger, code, "Ines Invented"))
    assert fair.opening.via == "paper"


@pytest.mark.parametrize(
    ("typed", "numbers"),
    [
        ("12482", (124, 82)),
        ("9862", (98, 62)),
        ("240130", (240, 130)),
        ("124/8", (124, 8)),
        ("124.82", (124, 82)),
        ("124-", (124, None)),
        ("* 82", (None, 82)),
        ("-/-", (None, None)),
    ],
)
def test_a_reading_is_typed_with_or_without_a_stroke(typed: str, numbers: pairs.Numbers) -> None:
    """What a number pad can type is read in the one way in which diastolic is not above systolic."""
    assert pairs_written.numbers_in(typed, "it") == numbers


@pytest.mark.parametrize("typed", ["1248", "982", "124822", "12412", "31282", "12 4 82", "", "124/", "1e2/3"])
def test_a_reading_that_can_be_read_in_two_ways_is_refused(typed: str) -> None:
    """A figure too few or too many is asked for again, never guessed."""
    with pytest.raises(BadInputError, match=r"^it: must be like 124/82 or 12482"):
        pairs_written.numbers_in(typed, "it")


@pytest.mark.parametrize(
    ("typed", "next_one"),
    [
        ([], ""),
        (["a"], "b"),
        (["b", "a"], "c"),
        (["b", "b", "a"], "b"),
        (["c", "b"], ""),
        (["gone"], ""),
    ],
)
def test_the_next_line_offers_whom_the_sheet_shows(typed: list[str], next_one: str) -> None:
    """The next on the list, or the same learner after two lines of one; nobody where it cannot be told."""
    assert pairs_written.likely_next(typed, ["a", "b", "c"]) == next_one


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"learner": "nobody"}, "nobody of this name"),
        ({"learner": "invented"}, "more than one name"),
        ({"mine": "124"}, "like 124/82"),
        ({"mine": "82/124"}, "above systolic"),
        ({"theirs": "401/82"}, "from 0 to 300"),
        ({"day": "2099-01-01"}, "between 1990 and today"),
        ({"time": "25:61"}, "day and time: must be"),
        ({"client": "Tomo Invented"}, "a name on the class list"),
    ],
)
def test_a_wrong_line_is_told_and_kept_on_the_page(
    site: tuple[TestClient, MemoryLedger, str], changed: dict[str, str], told: str
) -> None:
    """One line says what; what was typed stays to be mended, and nothing is stored."""
    lecturer, ledger, code = site
    before = ledger.last()
    answer = lecturer.post(f"/class/{code}/pairs/paper", data={**SHEET, **changed})
    assert answer.status_code == 422
    assert told in answer.text
    assert f'value="{changed.get("mine", "124/82")}"' in answer.text
    assert ledger.last() == before
    field = next(name for name in ("learner", "mine", "theirs", "client", "day", "time") if name in changed)
    cursor = "day" if field == "time" else field
    assert re.search(rf'id="{cursor}"[^>]*aria-invalid="true" aria-describedby="line-refusal" autofocus', answer.text)
    assert answer.text.count(" autofocus") == 1


def take_in(lecturer: TestClient, code: str, text: str, **more: str) -> tuple[int, str]:
    """Send a file, and return status and page."""
    files = {"file": ("pairs.csv", text.encode())}
    answer = lecturer.post(f"/class/{code}/pairs/import", data=more, files=files)
    return answer.status_code, answer.text


def test_every_wrong_row_is_told_at_once_and_nothing_is_stored(site: tuple[TestClient, MemoryLedger, str]) -> None:
    """Five rows, four of them wrong, each with its own line; storing is refused while they are."""
    lecturer, ledger, code = site
    rows = f"{HEAD},gauge\nInes Invented,124,82,128,82,\nNobody,124,82,128,82,\nInes Invented,1e2,82,128,82,\n"
    rows += "Ines Invented,80,82,128,82,\nInes Invented,124,82,128,82,G9\n"
    before = ledger.last()
    status, page = take_in(lecturer, code, rows, store="yes")
    assert status == 422
    for told in ("row 3, learner: nobody", "row 4, systolic:", "row 5, diastolic:", "row 6, gauge: no gauge labelled"):
        assert told in page
    assert "1 to store, 4 to mend" in page
    assert ledger.last() == before


def test_a_file_is_stored_once_asked_and_never_twice(site: tuple[TestClient, MemoryLedger, str]) -> None:
    """Looked at, stored, sent again, and again with one more row: each pair stands once."""
    lecturer, ledger, code = site
    rows = f"{HEAD},at,inflation\nInes Invented,124,82,128,82,2026-05-01,\n"
    rows += "Tomo Invented,130,80,128,82,2026-05-01,different\n"
    status, page = take_in(lecturer, code, rows)
    assert status == 200
    assert "Store 2 pairs" in page
    assert pairs.DIFFERENT_INFLATIONS in page
    assert list(live.readings(ledger)) == []
    assert "2 pairs stored" in take_in(lecturer, code, rows, store="yes")[1]
    assert "0 pairs stored" in take_in(lecturer, code, rows, store="yes", alike="yes")[1]
    longer = rows + "Ines Invented,118,74,120,74,2026-05-01,\n"
    assert "looks stored already" in take_in(lecturer, code, longer)[1]
    assert "1 pair stored" in take_in(lecturer, code, longer, store="yes")[1]
    assert len(list(live.readings(ledger))) == 6
    assert {one.via for one in live.readings(ledger)} == {"import"}


def test_a_previewed_file_is_stored_from_the_page_as_a_browser_sends_it(
    site: tuple[TestClient, MemoryLedger, str],
) -> None:
    """The text goes back with line ends of its own (CR LF), and is stored all the same."""
    lecturer, ledger, code = site
    text = f"{HEAD}\r\nInes Invented,124,82,128,82\r\n"
    answer = lecturer.post(f"/class/{code}/pairs/import", data={"text": text, "name": "pairs.csv", "store": "yes"})
    assert "1 pair stored" in answer.text
    assert len(list(live.readings(ledger))) == 2


def test_tidy_rows_pair_each_observer_with_the_reference(site: tuple[TestClient, MemoryLedger, str]) -> None:
    """Two learners beside one reference give two pairs of one measurement's label; a row without it is told."""
    lecturer, ledger, code = site
    rows = "measurement,observer,systolic,diastolic\n1,R,128,82\n1,Ines Invented,124,82\n1,Tomo Invented,126,84\n"
    assert "2 pairs stored" in take_in(lecturer, code, rows, store="yes", reference="R")[1]
    (fair,) = pairs.fair_pairs(ledger, code, who_of(ledger, code, "Tomo Invented"))
    assert (fair.opening.label, pairs.difference(fair)) == ("1", (-2, 2))
    status, page = take_in(lecturer, code, rows + "2,Ines Invented,120,80\n", reference="R")
    assert status == 422
    assert "no row of the reference" in page


def scene_nine() -> str:
    """Twenty pairs: systolic 18 within 5 and 20 within 10, diastolic 19 and 20 (numbers invented)."""
    rows = [HEAD + ",client,at"]
    for place in range(20):
        reference = (104 + 4 * place, 62 + 2 * place)
        systolic = reference[0] + (8 if place in (4, 11) else (-2, 0, 2, 4)[place % 4])
        diastolic = reference[1] + (6 if place == 7 else (0, 2, -2, 0)[place % 4])
        rows.append(f"Ines Invented,{systolic},{diastolic},{reference[0]},{reference[1]},K{place + 1},2026-05-01")
    return "\n".join(rows) + "\n"


def test_scene_nine_comes_in_and_meets_its_rule(site: tuple[TestClient, MemoryLedger, str]) -> None:
    """90 and 95 % within 5 and 10: twenty imported pairs are competent by that rule and shown with their agreement."""
    lecturer, ledger, code = site
    assert "20 pairs stored" in take_in(lecturer, code, scene_nine(), store="yes")[1]
    who = who_of(ledger, code, "Ines Invented")
    fair = pairs.fair_pairs(ledger, code, who)
    ends = zip(*(pairs.difference(one) for one in fair), strict=True)
    within = [[sum(abs(one or 0) <= limit for one in end) for limit in (5, 10)] for end in ends]
    assert within == [[18, 20], [19, 20]]
    readings = pairs.paired_readings(fair, "learner", "reference")
    both = tuple(zip(readings[::2], readings[1::2], strict=True))
    assert isinstance(judge(competence_rule("OBRIEN_90_95"), both).verdict, Competent)
    page = lecturer.get(f"/class/{code}/learner/{who}/pairs").text
    assert "20 fair pairs" in page
    assert "90.0 %" in page
    drawn = f"/class/{code}/learner/{who}/pairs/picture.svg"
    assert f'src="{drawn}"' in page
    assert "<svg" in lecturer.get(drawn).text


def test_the_newest_pairs_of_a_learner_are_listed_and_all_when_asked(
    site: tuple[TestClient, MemoryLedger, str],
) -> None:
    """Of one more than are listed the oldest is behind a link, and every one counts above the list."""
    lecturer, ledger, code = site
    who = who_of(ledger, code, "Ines Invented")
    many = LATEST + 1
    sheets = [(pairs.Opening(who, client=f"K{n}", via="paper"), (120, 80), (122, 80), f"l{n}") for n in range(many)]
    pairs.store_written(ledger, room=code, written=sheets)
    page = f"/class/{code}/learner/{who}/pairs"
    first, every = lecturer.get(page).text, lecturer.get(f"{page}?all=yes").text
    assert all(f"{many} fair pairs" in told for told in (first, every))
    assert [first.count('data-label="Client"'), every.count('data-label="Client"')] == [LATEST, many]
    assert [f"All {many} pairs" in told for told in (first, every)] == [True, False]
