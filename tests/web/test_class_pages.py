"""Every page and act of the class, by an in-process client over a ledger in memory."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from bench_logs import bench_log
from hushpoint.desk import bench, classes
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Entry, Kind, LedgerError, Row
from hushpoint.wiring import Settings, build

PASSWORD = "ten letters or more"
HTML = {"accept": "text/html"}


@dataclass
class Site:
    """An app over a ledger in memory, with the lecturer's browser."""

    ledger: MemoryLedger
    lecturer: TestClient

    def browser(self, host: str = "127.0.0.1") -> TestClient:
        """Return another device's browser."""
        return TestClient(self.lecturer.app, headers=HTML, client=(host, 40000))

    def open(self, name: str = "Group A") -> str:
        """Open a class and return its code."""
        answer = self.lecturer.post("/class/open", data={"name": name, "policy": "PALPATED_30"}, follow_redirects=False)
        return str(answer.headers["location"].rsplit("/", 1)[1])


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """The app after the lecturer's first run."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, headers=HTML, client=("127.0.0.1", 40000)) as lecturer:
        assert lecturer.post("/class/first-run", data={"password": PASSWORD}).status_code == 200
        yield Site(ledger, lecturer)


def joined(site: Site, code: str, name: str) -> TestClient:
    """Return the browser of a learner who joined."""
    phone = site.browser()
    answer = phone.post(f"/join/{code}", data={"name": name}, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/practise"
    return phone


def who_of(ledger: MemoryLedger, name: str) -> str:
    """Return the id of a learner by name."""
    kinds = [Kind.ROSTER_ADDED, Kind.LEARNER_JOINED]
    return next(row.who for row in ledger.rows(kinds=kinds) if row.body and row.body["name"] == name)


def measured(ledger: MemoryLedger, code: str, who: str, ref: str = "one") -> dict[str, Any]:
    """File and grade one measurement of a learner."""
    begun = bench.begin(ledger, who=who, ref=ref, room=code, seed=7)
    choices = {row.id: row.right for row in begun.rows}
    bench.set_up(ledger, who=who, measurement=begun.measurement, choices=choices)
    bench.file_log(ledger, who=who, measurement=begun.measurement, log=bench_log())
    return bench.grade(ledger, begun.measurement)


def test_the_door_asks_what_one_is_here_to_do(site: Site) -> None:
    """The door shows joining and the lecturer's way in."""
    shown = site.browser().get("/").text
    assert "What are you here to do?" in shown
    assert 'name="code"' in shown
    assert 'href="/class"' in shown


def test_first_run_sets_the_password_once(site: Site) -> None:
    """A second first run changes nothing."""
    other = site.browser()
    assert other.post("/class/first-run", data={"password": "another password"}).status_code == 409
    assert other.post("/class/sign-in", data={"password": "another password"}).status_code == 403
    assert "Open a class" in other.post("/class/sign-in", data={"password": PASSWORD}).text


def test_first_run_from_the_class_network_is_refused(tmp_path: Path) -> None:
    """Where the app is open to a network, only the laptop itself may set the password."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path, addresses=("http://192.0.2.7:8100",)), ledger)
    stranger = TestClient(app, headers=HTML, client=("192.0.2.9", 40000))
    assert stranger.get("/class").status_code == 403
    assert stranger.post("/class/first-run", data={"password": PASSWORD}).status_code == 403
    assert ledger.setting("lecturer_password") is None


def test_short_password_is_refused(tmp_path: Path) -> None:
    """A password below ten characters is told in one line and not kept."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    laptop = TestClient(app, headers=HTML, client=("127.0.0.1", 40000))
    answer = laptop.post("/class/first-run", data={"password": "short"})
    assert answer.status_code == 422
    assert "10 to 200 characters" in answer.text
    assert ledger.setting("lecturer_password") is None


@pytest.mark.parametrize(
    "path",
    [
        "/class/{code}",
        "/class/{code}/wall",
        "/class/{code}/events",
        "/class/{code}/wall/events",
        "/class/{code}/learner/x",
    ],
)
def test_lecturers_pages_are_the_lecturers(site: Site, path: str) -> None:
    """Nobody else sees them, a learner of the class no more than a stranger."""
    code = site.open()
    assert joined(site, code, "Ines").get(path.format(code=code)).status_code == 401


@pytest.mark.parametrize("act", ["open", "{code}/roster", "{code}/close", "{code}/learner/x/erase"])
def test_lecturers_acts_are_the_lecturers(site: Site, act: str) -> None:
    """A stranger's act writes nothing."""
    code = site.open()
    before = site.ledger.last()
    answer = site.browser().post(f"/class/{act.format(code=code)}", data={"name": "x", "names": "x", "sure": "yes"})
    assert answer.status_code == 401
    assert site.ledger.last() == before


def test_a_tampered_cookie_is_nobody(site: Site) -> None:
    """A changed signature opens nothing."""
    stranger = site.browser()
    stranger.cookies.set("hushpoint_staff", site.lecturer.cookies["hushpoint_staff"][:-3] + "xyz")
    assert "Lecturer's way in" in stranger.get("/class").text


def test_cookies_are_kept_from_scripts_and_other_sites(site: Site) -> None:
    """HttpOnly, SameSite=Lax, twelve hours."""
    answer = site.browser().post("/class/sign-in", data={"password": PASSWORD}, follow_redirects=False)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert "max-age=43200" in cookie


def test_roster_is_shown_first_and_added_once_asked(site: Site) -> None:
    """What was read is told by name and row, new or known; nothing is written before Add."""
    code = site.open()
    before = site.ledger.last()
    shown = site.lecturer.post(f"/class/{code}/roster", data={"names": "Ines\nTomo\n"}).text
    assert "2 new, 0 on the list already, 0 to mend" in shown
    assert 'name="add" value="yes"' in shown
    assert site.ledger.last() == before
    assert (
        "2 names added" in site.lecturer.post(f"/class/{code}/roster", data={"names": "Ines\nTomo", "add": "yes"}).text
    )
    upload = {"file": ("list.csv", "name;group\nTomo;1\nÅsa, the second;2\n".encode())}
    shown = site.lecturer.post(f"/class/{code}/roster", files=upload).text
    assert "1 new, 1 on the list already, 0 to mend" in shown
    assert 'name="add"' in shown
    kept = re.search(r"<textarea[^>]*>([^<]*)</textarea>", shown)
    assert kept
    again = site.lecturer.post(f"/class/{code}/roster", data={"names": html.unescape(kept[1]), "add": "yes"}).text
    assert "1 names added" in again
    assert "Åsa, the second" in again


@pytest.mark.parametrize(
    "files",
    [{}, {"file": ("list.csv", b"\xff\xfe")}, {"file": ("list.csv", b"name\n\n")}],
    ids=["none", "bytes", "empty"],
)
def test_a_list_without_names_is_told(site: Site, files: dict[str, tuple[str, bytes]]) -> None:
    """Nothing pasted, a file that is no text, a heading alone: one line, 422, nothing written."""
    code = site.open()
    before = site.ledger.last()
    answer = site.lecturer.post(f"/class/{code}/roster", data={"names": "", "add": "yes"}, files=files)
    assert answer.status_code == 422
    assert 'class="refusal"' in answer.text
    assert site.ledger.last() == before


def test_bad_rows_are_told_by_row_and_nothing_is_added(site: Site) -> None:
    """One wrong row keeps all out, so that the list can be mended and sent again."""
    code = site.open()
    before = site.ledger.last()
    answer = site.lecturer.post(f"/class/{code}/roster", data={"names": "Ines\n" + "x" * 81, "add": "yes"})
    assert answer.status_code == 422
    assert "row 2" in answer.text
    assert 'name="add"' not in answer.text
    assert site.ledger.last() == before


def test_a_name_on_the_list_becomes_that_person(site: Site) -> None:
    """Joining with a listed name binds to the listed id, whatever its case and spaces."""
    code = site.open()
    site.lecturer.post(f"/class/{code}/roster", data={"names": "Ines Invented", "add": "yes"})
    listed = who_of(site.ledger, "Ines Invented")
    joined(site, code.lower(), "  ines   INVENTED ")
    rows = list(site.ledger.rows(kinds=[Kind.LEARNER_JOINED], room=code))
    assert [row.who for row in rows] == [listed]


def test_a_name_that_is_not_on_the_list_is_asked_back_while_somebody_is_awaited(site: Site) -> None:
    """A slip of writing makes no second person: joining as somebody new is a second tap; with all in, none is asked."""
    code = site.open()
    site.lecturer.post(f"/class/{code}/roster", data={"names": "Ines Invented", "add": "yes"})
    phone = site.browser()
    asked = phone.post(f"/join/{code}", data={"name": "Ines Invnted"}, follow_redirects=False)
    assert (asked.status_code, "Join as somebody new" in asked.text) == (409, True)
    assert "Nobody of this name is on the class list" in asked.text
    assert 'value="Ines Invnted"' in asked.text
    assert list(site.ledger.rows(kinds=[Kind.LEARNER_JOINED], room=code)) == []
    new = {"name": "Tomo Invented", "new": "yes"}
    assert site.browser().post(f"/join/{code}", data=new, follow_redirects=False).status_code == 303
    assert phone.post(f"/join/{code}", data={"name": "Ines Invented"}, follow_redirects=False).status_code == 303
    late = site.browser().post(f"/join/{code}", data={"name": "Late Invented"}, follow_redirects=False)
    assert late.status_code == 303
    site.lecturer.post(
        f"/class/{code}/devices"
    )  # everybody in again: whoever writes a name otherwise is asked once more
    assert site.browser().post(f"/join/{code}", data={"name": "Late Invnted"}).status_code == 409


def test_the_same_name_again_needs_the_word_of_the_first_device(site: Site) -> None:
    """A classmate who knows the name does not come in; the first device shows the word, the lecturer sees both."""
    code = site.open()
    first = joined(site, code, "Ines")
    who = who_of(site.ledger, "Ines")
    other = site.browser()
    asked = other.post(f"/join/{code}", data={"name": "Ines"})
    assert asked.status_code == 409
    assert "Your lecturer lets you in again" in asked.text
    assert other.post(f"/join/{code}", data={"name": "Ines", "again": "yes"}).status_code == 409
    assert other.post(f"/join/{code}", data={"name": "Ines", "word": "BBBBB"}).status_code == 422
    word = classes.word_of(site.ledger, code, who)
    assert word in first.get("/practise/my-data").text
    assert word in site.lecturer.get(f"/class/{code}/learner/{who}").text
    again = other.post(f"/join/{code}", data={"name": "Ines", "word": word}, follow_redirects=False)
    assert again.status_code == 303
    assert len({row.who for row in site.ledger.rows(kinds=[Kind.LEARNER_JOINED], room=code)}) == 1
    assert "came in 2 times" in site.lecturer.get(f"/class/{code}").text


def test_one_tap_lets_a_learner_in_again_and_everybody_else_out(site: Site) -> None:
    """Every device under the name is signed out; the next one that joins with it is theirs."""
    code = site.open()
    first = joined(site, code, "Ines")
    who = who_of(site.ledger, "Ines")
    assert first.get("/practise", follow_redirects=False).status_code == 200
    assert site.lecturer.post(f"/class/{code}/devices", data={"who": who}, follow_redirects=False).status_code == 303
    assert first.get("/practise", follow_redirects=False).status_code == 303
    assert first.post("/practise/measurements", json={"ref": "a"}).status_code == 403
    new = joined(site, code, "Ines")
    assert new.get("/practise", follow_redirects=False).status_code == 200
    assert site.lecturer.post(f"/class/{code}/devices", follow_redirects=False).headers["location"] == f"/class/{code}"
    assert new.get("/practise", follow_redirects=False).status_code == 303


def test_who_practises_alone_erases_their_own_data(site: Site) -> None:
    """Asked once more first; then nothing is left but that it was erased; the lecturer can do it too."""
    phone = site.browser()
    phone.post("/join/alone")
    (one,) = classes.lone_learners(site.ledger)
    assert one.who[:8] in phone.get("/practise/my-data").text
    assert phone.post("/practise/my-data/erase").status_code == 422
    assert phone.post("/practise/my-data/erase", data={"sure": "yes"}, follow_redirects=False).status_code == 303
    assert classes.lone_learners(site.ledger) == []
    assert site.ledger.verify().erased == 1
    assert phone.get("/practise", follow_redirects=False).status_code == 303
    other = site.browser()
    other.post("/join/alone")
    (two,) = classes.lone_learners(site.ledger)
    assert two.who[:8] in site.lecturer.get("/class/alone").text
    assert site.lecturer.post(f"/class/alone/{two.who}/erase").status_code == 422
    assert site.lecturer.post(f"/class/alone/{two.who}/erase", data={"sure": "yes"}).status_code == 200
    assert "Nobody practises alone" in site.lecturer.get("/class/alone").text
    assert other.get("/practise", follow_redirects=False).status_code == 303


def test_unknown_code_and_closed_class_say_what_to_do(site: Site) -> None:
    """One clear line each; closing can be undone."""
    assert "Codes have four letters" in site.browser().get("/join", params={"code": "zzzz"}).text
    code = site.open()
    site.lecturer.post(f"/class/{code}/close", data={"closed": "yes"})
    assert "Ask your lecturer" in site.browser().post(f"/join/{code}", data={"name": "Ines"}).text
    site.lecturer.post(f"/class/{code}/close", data={"closed": ""})
    joined(site, code, "Ines")


def test_practising_alone_needs_no_name(site: Site) -> None:
    """Alone leads to the same rooms and keeps no name."""
    phone = site.browser()
    assert phone.post("/join/alone", follow_redirects=False).headers["location"] == "/practise"
    assert phone.get("/practise").status_code == 200


def test_board_shows_a_reading_by_name_and_the_wall_none(site: Site) -> None:
    """The private board has name and numbers; the wall has counts, and no spread below five people."""
    code = site.open()
    joined(site, code, "Ines Invented")
    measured(site.ledger, code, who_of(site.ledger, "Ines Invented"))
    board = site.lecturer.get(f"/class/{code}").text
    assert "Ines Invented" in board
    assert "judged" in board
    wall = site.lecturer.get(f"/class/{code}/wall").text
    assert "Ines" not in wall
    assert "Spread hidden: fewer than five" in wall
    assert "<svg" in wall
    assert code in wall


def test_wall_shows_the_spread_from_five_people_on(site: Site) -> None:
    """With five people the spread appears, still without names."""
    code = site.open()
    for number in range(5):
        joined(site, code, f"Learner {number}")
        measured(site.ledger, code, who_of(site.ledger, f"Learner {number}"), ref=f"m{number}")
    wall = site.lecturer.get(f"/class/{code}/wall").text
    heard = [one[1] for one in classes_errors(site.ledger, code) if one[1] is not None]
    assert len(heard) == 5
    assert "Systolic errors:" in wall
    assert "Learner 0" not in wall


def classes_errors(ledger: MemoryLedger, code: str) -> list[tuple[str, float | None, float | None]]:
    """Return the ear errors of a class's board."""
    board = classes.Board()
    board.take(classes.board_rows(ledger, code, 0, ledger.last()))
    return board.errors_mmhg


def test_learner_page_and_erasure(site: Site) -> None:
    """Readings over time with the pulse; erased, nothing of the person is left and the journal still verifies."""
    code = site.open()
    phone = joined(site, code, "Ines Invented")
    who = who_of(site.ledger, "Ines Invented")
    measured(site.ledger, code, who)
    shown = site.lecturer.get(f"/class/{code}/learner/{who}").text
    assert "Pulse counted" in shown
    assert "Ines Invented" in shown
    path = f"/class/{code}/learner/{who}/erase"
    assert site.lecturer.post(path, data={"why": "asked"}).status_code == 422
    assert "Ines Invented" in site.lecturer.get(f"/class/{code}").text
    after = site.lecturer.post(path, data={"why": "asked", "sure": "yes"})
    assert "Ines" not in after.text
    assert site.lecturer.get(f"/class/{code}/learner/{who}").status_code == 404
    assert phone.get("/practise", follow_redirects=False).status_code == 303
    found = site.ledger.verify()
    assert found.first_altered is None
    assert found.erased >= 4


def test_one_class_cannot_erase_anothers_learner(site: Site) -> None:
    """The learner must be of the class named in the address."""
    code, other = site.open(), site.open("Group B")
    joined(site, code, "Ines")
    who = who_of(site.ledger, "Ines")
    answer = site.lecturer.post(f"/class/{other}/learner/{who}/erase", data={"why": "x", "sure": "yes"})
    assert answer.status_code == 404
    assert classes.name_of(site.ledger, code, who) == "Ines"


def test_leaving_forgets_the_device(site: Site) -> None:
    """After leaving nobody is signed in."""
    site.lecturer.post("/leave")
    assert "Lecturer's way in" in site.lecturer.get("/class").text


def test_policies_are_listed_with_sources(site: Site) -> None:
    """Each policy names its source and whether it was checked."""
    shown = site.browser().get("/policy").text
    assert "PALPATED_30" in shown
    assert "not checked against the printed text" in shown


def test_health(site: Site) -> None:
    """The health page says whether the ledger answers."""
    assert site.browser().get("/healthz").json()["ready"] is True


def test_invented_is_marked_on_every_page(tmp_path: Path) -> None:
    """An invented college says so on each page, its password included on the sign-in page."""
    settings = Settings(data_dir=tmp_path, invented=True, demo_password="shown-here-only")
    browser = TestClient(build(settings, MemoryLedger()), headers=HTML, client=("127.0.0.1", 1))
    for path in ("/", "/class", "/agreement", "/policy", "/nowhere"):
        assert "INVENTED" in browser.get(path).text
    browser.post("/class/first-run", data={"password": PASSWORD})
    assert "shown-here-only" in TestClient(browser.app, headers=HTML).get("/class").text


def test_agreement_compares_an_upload_and_keeps_nothing(site: Site) -> None:
    """Table, picture and JSON of two observers; no row is written."""
    rows = "measurement,observer,systolic,diastolic\n"
    rows += "1,J,120,80\n1,R,124,80\n2,J,130,84\n2,R,130,86\n3,J,110,70\n3,R,112,70\n"
    before = site.ledger.last()
    answer = site.browser().post("/agreement", files={"file": ("r.csv", rows.encode())}, data={"reference": "J"})
    assert answer.status_code == 200
    assert "R minus J" in answer.text
    assert "+2.00" in answer.text
    assert "data:image/svg+xml;base64," in answer.text
    assert site.ledger.last() == before


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "'\"><img src=x>", "{{ 7 * 7 }}"])
def test_names_are_never_markup(site: Site, name: str) -> None:
    """A hostile name is shown as written, on the board too."""
    code = site.open()
    joined(site, code, name)
    shown = site.lecturer.get(f"/class/{code}").text
    assert "<script>alert" not in shown
    assert "<img src=x" not in shown
    assert not re.search(r">\s*49\s*</a>", shown)


@pytest.mark.parametrize("headers", [{"host": "["}, {"host": "a b"}, {"host": "x:y"}, {"origin": "http://["}])
def test_odd_host_and_origin_headers_are_refused(site: Site, headers: dict[str, str]) -> None:
    """What is no address is a refusal, not a fault, and writes nothing."""
    before = site.ledger.last()
    assert site.browser().post("/join/alone", headers=headers).status_code in {400, 403}
    assert site.ledger.last() == before


@pytest.mark.parametrize(("path", "field"), [("/class/first-run", "password"), ("/agreement", "reference")])
def test_half_characters_in_a_form_are_refused(tmp_path: Path, path: str, field: str) -> None:
    """A form in a character set that smuggles half a character is bad input."""
    laptop = TestClient(build(Settings(data_dir=tmp_path), MemoryLedger()), client=("127.0.0.1", 1))
    body = f'--x\r\nContent-Disposition: form-data; name="{field}"\r\n\r\n\\ud800 and more of it\r\n--x--\r\n'
    kind = {"content-type": "multipart/form-data; boundary=x; charset=unicode_escape"}
    assert laptop.post(path, content=body.encode(), headers=kind).status_code == 422


def test_a_store_that_cannot_write_says_no_more_than_that(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Where the store stands and why goes to the log of whoever runs it, not to the asker."""

    class Full(MemoryLedger):
        def append(self, *entries: Entry) -> list[Row]:
            raise LedgerError("/home/someone/ledger: the disk is full")

    answer = TestClient(build(Settings(data_dir=tmp_path), Full())).post("/join/alone")
    assert answer.status_code == 503
    assert "someone" not in answer.text
    assert "disk is full" in caplog.text


def test_an_act_sent_from_another_site_is_refused(site: Site) -> None:
    """Neither a foreign origin nor a cross-site fetch writes anything."""
    before = site.ledger.last()
    for headers in ({"origin": "http://elsewhere.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"}):
        answer = site.lecturer.post("/class/open", data={"name": "x", "policy": "PALPATED_30"}, headers=headers)
        assert answer.status_code == 403
    assert site.ledger.last() == before


def test_every_answer_carries_the_headers(site: Site) -> None:
    """Pages, refusals and files alike."""
    for path in ("/", "/nowhere", "/static/hushpoint.css", "/healthz"):
        headers = site.browser().get(path).headers
        assert "default-src 'self'" in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"


def test_pages_hold_no_inline_script_or_style(site: Site) -> None:
    """The content policy forbids both, so no page may lean on them."""
    code = site.open()
    for path in ("/", "/class", f"/class/{code}", f"/class/{code}/wall", f"/join/{code}", "/agreement", "/policy"):
        shown = site.lecturer.get(path).text
        assert not re.search(r"<script(?![^>]*\bsrc=)", shown)
        assert "style=" not in shown
        assert not re.search(r"\son[a-z]+=", shown)


def test_a_fault_of_ours_shows_no_traceback(tmp_path: Path) -> None:
    """An unforeseen fault is one calm line, and the log names no data."""

    class Broken(MemoryLedger):
        def last(self) -> int:
            raise RuntimeError("secret payload")

    app = build(Settings(data_dir=tmp_path), Broken())
    answer = TestClient(app, headers=HTML).get("/healthz")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text


def test_wrong_guesses_never_lock_the_lecturer_out(site: Site) -> None:
    """After several wrong passwords the right one still comes in."""
    other = site.browser()
    for _ in range(4):
        assert other.post("/class/sign-in", data={"password": "not the password"}).status_code == 403
    assert other.post("/class/sign-in", data={"password": PASSWORD}).status_code == 200


def test_closing_row_is_in_the_journal(site: Site) -> None:
    """Closing is an act like any other; closing what is closed writes nothing more."""
    code = site.open()
    for _ in range(2):
        site.lecturer.post(f"/class/{code}/close", data={"closed": "yes"})
    rows = list(site.ledger.rows(kinds=[Kind.CLASS_CLOSED], room=code))
    assert [row.body for row in rows] == [{"closed": True}]
