"""Each attack on the list fails, and succeeds once its guard is taken away: so the test of the guard can bite.

The names of the attacks are those of the OWASP guides (Top Ten 2021, Testing Guide 4.2); from memory.
"""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import jinja2
import pytest
from argon2 import PasswordHasher
from itsdangerous import TimestampSigner
from starlette.requests import Request
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.testclient import TestClient

from bench_logs import bench_log
from hushpoint.desk import access, bench, classes, kit, pairs, recordings, technique, visit_sheets, visits
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Entry, Kind
from hushpoint.practice.cases import case_of
from hushpoint.practice.setup import right_choices
from hushpoint.web import access as access_pages
from hushpoint.web import client, context, guard, guesses, klass, practise
from hushpoint.wiring import Settings, build
from own_loop import in_own_loop

PASSWORD = "ten letters or more"
HTML = {"accept": "text/html"}
HERE, EVIL = "http://localhost", "evil.example"
MARKUP = "<img src=x onerror=alert(1)>"
LAPTOP, PHONE, STRANGER = "127.0.0.1", "10.0.0.7", "10.0.0.66"


@dataclass
class School:
    """Two classes, a learner in each, a measurement of the first, a visit; whatever guard was taken away before."""

    ledger: MemoryLedger
    lecturer: TestClient
    code: str
    other: str
    phone: TestClient
    who: str
    folder: Path
    waited: list[float] = field(default_factory=list)

    def device(self, host: str = STRANGER, **cookies: str) -> TestClient:
        """Return a fresh device somewhere on the network."""
        app = self.lecturer.app
        return TestClient(app, HERE, client=(host, 1), follow_redirects=False, cookies=cookies)

    def signed_in(self, **more: str) -> Response:
        """Come in by the lecturer's password on a fresh device; return the answer."""
        return self.device(PHONE).post("/class/sign-in", data={"password": PASSWORD, **more})

    @property
    def staff_cookie(self) -> str:
        """The lecturer's cookie, as a thief would have it."""
        return str(self.lecturer.cookies["hushpoint_staff"])

    def opens(self, cookie: str) -> bool:
        """Return whether a stranger with this cookie reads the lecturer's own page."""
        return self.device(hushpoint_staff=cookie).get("/access").status_code == 200


def _school(folder: Path, patched: pytest.MonkeyPatch) -> Iterator[School]:
    waited: list[float] = []
    real_sleep = asyncio.sleep

    async def sleep(seconds: float) -> None:
        waited.append(seconds)  # what is asked of a guesser, without the time
        await real_sleep(0)

    patched.setattr(guesses.asyncio, "sleep", sleep)
    patched.setattr(
        access, "_hasher", PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    )  # seventy schools begin here
    ledger = MemoryLedger()
    app = build(Settings(data_dir=folder, names=frozenset({"laptop.local"})), ledger)
    with TestClient(app, base_url=HERE, client=(LAPTOP, 1), follow_redirects=False) as lecturer:
        assert lecturer.post("/class/first-run", data={"password": PASSWORD}).status_code == 303
        code, other = (classes.open_class(ledger, name=name, policy_id="PALPATED_30") for name in "AB")
        phone = TestClient(app, base_url=HERE, client=(PHONE, 1), follow_redirects=False)
        assert phone.post(f"/join/{code}", data={"name": "Ines Invented"}).status_code == 303
        who = next(row.who for row in ledger.rows(kinds=[Kind.LEARNER_JOINED]))
        yield School(ledger, lecturer, code, other, phone, who, folder, waited)


# --- the attacks: each returns whether it came through ---


def _guess_without_waiting(school: School) -> bool:
    thief = school.device()
    for number in range(10):
        thief.post("/class/sign-in", data={"password": f"a wrong guess {number}"})
    return max(school.waited) == 0.0


def _many_guesses_at_once(_school: School) -> bool:
    async def all_at_once() -> int:
        found = guesses.Guesses()
        through = 0

        async def guess() -> None:
            nonlocal through
            async with found.turn(STRANGER):
                await asyncio.Event().wait()

        waiting = [asyncio.create_task(guess()) for _ in range(50)]
        for _ in range(5):
            await asyncio.wait(waiting, timeout=0)
            await asyncio.get_running_loop().run_in_executor(None, lambda: None)
        through = sum(not one.done() for one in waiting)
        for one in waiting:
            one.cancel()
        await asyncio.gather(*waiting, return_exceptions=True)
        return through

    return in_own_loop(all_at_once) == 50


def _lock_the_lecturer_out(school: School) -> bool:
    thief = school.device(STRANGER)
    for number in range(10):
        thief.post("/class/sign-in", data={"password": f"a wrong guess {number}"})
    school.waited.clear()
    school.signed_in()
    return max(school.waited) > 0.0


def _a_cookie_of_yesterday(school: School) -> bool:
    with pytest.MonkeyPatch.context() as back:
        now = TimestampSigner("key").get_timestamp()
        back.setattr(TimestampSigner, "get_timestamp", lambda _signer: now - 24 * 3600)
        old = school.signed_in().cookies["hushpoint_staff"]
    return school.opens(old)


def _a_cookie_kept_after_signing_out_everywhere(school: School) -> bool:
    kept = school.staff_cookie
    assert school.lecturer.post("/access/sign-out-everywhere").status_code == 303
    return school.opens(kept)


def _a_cookie_kept_after_a_new_password(school: School) -> bool:
    kept = school.staff_cookie
    told = {"old": PASSWORD, "password": "another ten letters"}
    assert school.lecturer.post("/access/password", data=told).status_code == 303
    return school.opens(kept)


def _a_cookie_made_up(school: School) -> bool:
    word = access.session_word(school.ledger, "lecturer")
    return school.opens(json.dumps({"is": "lecturer", "session": word}))


def _a_planted_cookie(school: School) -> bool:
    planted = "planted-by-somebody-else"
    victim = school.device(PHONE, hushpoint_staff=planted)
    assert victim.post("/class/sign-in", data={"password": PASSWORD}).status_code == 303
    return school.opens(planted)


def _a_form_on_another_site(school: School) -> bool:
    before = school.ledger.last()
    school.lecturer.post("/class/open", data={"name": "Theirs"}, headers={"origin": f"http://{EVIL}"})
    return school.ledger.last() > before


def _a_form_of_another_site_by_fetch_metadata(school: School) -> bool:
    before = school.ledger.last()
    school.lecturer.post("/class/open", data={"name": "Theirs"}, headers={"sec-fetch-site": "cross-site"})
    return school.ledger.last() > before


def _made_to_join_as_somebody_else(school: School) -> bool:
    said = {"origin": f"http://{EVIL}"}
    return "set-cookie" in school.device(PHONE).post("/join/alone", headers=said).headers


def _a_name_turned_to_this_machine(school: School) -> bool:
    return school.lecturer.get("/", headers={"host": EVIL}).status_code == 200


def _markup_in_the_host(school: School) -> bool:
    said = {"host": f'localhost"><script src=//{EVIL}></script>'}
    return school.lecturer.post("/access/audit-link", data={"days": "7"}, headers=said).status_code == 200


def _upload_without_end(school: School) -> bool:
    sent = school.phone.post("/join/alone", content=b"x" * 400_000)
    return sent.status_code != 413


def _upload_without_a_length(school: School) -> bool:
    def parts() -> Iterator[bytes]:
        for _ in range(40):
            yield b"x" * 10_000

    kind = {"content-type": "application/json"}
    return school.phone.post("/practise/measurements", content=parts(), headers=kind).status_code != 413


def _formula_in_a_visits_csv(school: School) -> bool:
    visit = visits.begin(school.ledger, policy_id="NHFA_2016")
    gauge = kit.add(school.ledger, {"type": "gauge", "label": "=1+1"}, by="lecturer")
    reading = {"arm": "right", "systolic": 130, "diastolic": 80}
    told = {"kit_gauge": getattr(gauge, "id", gauge)}
    now = school.lecturer.app.state.context.clock()  # type: ignore[attr-defined]
    visits.act(school.ledger, visit, {"ref": "kit-of-it", "told": told}, now)
    visits.act(school.ledger, visit, {"ref": "reading-1", "reading": reading}, now)
    sheet = school.lecturer.get(f"/client/{visit}/sheets/csv")
    assert sheet.status_code == 200
    return ",=1+1," in sheet.text


def _files_above_the_static_folder(school: School) -> bool:
    return (
        "SECRET" in school.lecturer.get("/static/..%2fguard.py").text
        or "class Guard" in school.lecturer.get("/static/%2e%2e/guard.py").text
        or "class Guard" in school.lecturer.get("/static/..%2fguard.py").text
    )


def _a_recording_above_its_folder(school: School) -> bool:
    outside = school.folder / "elsewhere"
    outside.mkdir(parents=True)
    (outside / "answer.json").write_text('{"seconds": 1, "answer": {}}')
    (outside / "recording.wav").write_bytes(b"")
    files = recordings.RecordingFiles(school.folder)
    files.unkept.mkdir()
    try:
        return recordings.find(school.ledger, files, "../elsewhere").id == "../elsewhere"
    except recordings.NotFoundError:
        return False


def _led_away_after_coming_in(school: School) -> bool:
    led = school.signed_in(next=f"//{EVIL}/class").headers["location"]
    also = school.lecturer.get("/class", params={"next": f"//{EVIL}/class"})
    return EVIL in led or EVIL in also.headers.get("location", "")


def _markup_in_a_name(school: School) -> bool:
    assert school.device(PHONE).post(f"/join/{school.code}", data={"name": MARKUP}).status_code == 303
    return MARKUP in school.lecturer.get(f"/class/{school.code}").text


def _markup_in_a_note(school: School) -> bool:
    seen = technique.begin(school.ledger, room=school.code, learner=school.who, ref="a")
    sheet = {"assessor": "AB", "marks": {"seated": "done"}, "notes": {"seated": MARKUP}, "ref": "a"}
    address = f"/class/{school.code}/technique/{seen}"
    assert school.lecturer.post(address, json=sheet).status_code == 200
    return MARKUP in school.lecturer.get(f"{address}/marks").text


def _markup_from_the_address(school: School) -> bool:
    return MARKUP in school.phone.post(f"/join/{school.code}", data={"name": MARKUP * 9}, headers=HTML).text


def _an_auditors_link_after_its_day(school: School) -> bool:
    made = school.lecturer.post("/access/audit-link", data={"days": "1"}).text
    link = "/audit/" + made.split("/audit/")[1].split("<")[0]
    parts = school.lecturer.app.state.context  # type: ignore[attr-defined]
    now = parts.clock() + timedelta(days=2)
    parts.clock = lambda: now
    return school.device().get(link).status_code == 303


def _an_auditor_goes_on_after_the_day(school: School) -> bool:
    made = school.lecturer.post("/access/audit-link", data={"days": "1"}).text
    auditor = school.device()
    assert auditor.get("/audit/" + made.split("/audit/")[1].split("<")[0]).status_code == 303
    assert auditor.get("/evidence").status_code == 200
    parts = school.lecturer.app.state.context  # type: ignore[attr-defined]
    now = parts.clock() + timedelta(days=2)
    parts.clock = lambda: now
    return auditor.get("/evidence").status_code == 200


def _an_auditor_writes(school: School) -> bool:
    word = access.session_word(school.ledger, "auditor")
    cookie = school.lecturer.app.state.context.sign({"is": "auditor", "session": word})  # type: ignore[attr-defined]
    before = school.ledger.last()
    school.device(hushpoint_staff=cookie).post("/class/open", data={"name": "Theirs"})
    return school.ledger.last() > before


def _anothers_judgement(school: School) -> bool:
    begun = bench.begin(school.ledger, who=school.who, ref="one", room=school.code, seed=7)
    bench.set_up(school.ledger, who=school.who, measurement=begun.measurement, choices=right_choices(case_of(7, 1)))
    bench.file_log(school.ledger, who=school.who, measurement=begun.measurement, log=bench_log())
    bench.grade(school.ledger, begun.measurement)
    mate = school.device(PHONE)
    assert mate.post(f"/join/{school.code}", data={"name": "Tomo Invented"}).status_code == 303
    return mate.get(f"/practise/measurements/{begun.measurement}/judgement").status_code == 200


def _an_unsealed_pair_by_its_other_half(school: School) -> bool:
    pair = pairs.open_pair(school.ledger, room=school.code, opening=pairs.Opening(school.who))
    sealed = {"systolic": 124, "diastolic": 82, "ref": "sealed-by-phone"}
    assert school.phone.post(f"/practise/pairs/{pair}/seal", json=sealed).status_code == 200
    address = f"/class/{school.code}/pairs/{pair}"
    return any("124" in school.lecturer.get(f"{address}{part}").text for part in ("", "/state"))


def _a_learner_through_another_class(school: School) -> bool:
    return "Ines Invented" in school.lecturer.get(f"/class/{school.other}/learner/{school.who}").text


def _a_stranger_on_the_lecturers_pages(school: School) -> bool:
    stranger = school.device()
    pages = ("/access", "/client", "/kit", "/evidence", f"/class/{school.code}/pairs")
    return any(stranger.get(path).status_code == 200 for path in pages)


def _the_first_run_from_the_network(school: School) -> bool:
    app = build(Settings(data_dir=school.folder, addresses=("http://192.0.2.7:8100",)), MemoryLedger())
    stranger = TestClient(app, client=(STRANGER, 1), follow_redirects=False)
    return stranger.post("/class/first-run", data={"password": PASSWORD}).status_code == 303


def _a_second_header_from_a_code(school: School) -> bool:
    school.ledger.append(
        Entry(Kind.VISIT_BEGUN, {"code": 'K1"; filename="a.exe\r\nX-Injected: 1', "policy": "NHFA_2016"},
                  room="b" * 16, who="c" * 16)
    )  # fmt: skip
    try:
        told = school.lecturer.get(f"/client/{'b' * 16}/export").headers["content-disposition"]
    except Exception:  # a header that no server can send
        return True
    return "a.exe\r\n" in told or told.count("filename=") != 1


def _framed(header: str) -> Callable[[School], bool]:
    def lacking(school: School) -> bool:
        answers = [
            school.lecturer.get("/class", headers=HTML),
            school.device().get("/access", headers=HTML),
            school.device().get("/nowhere"),
            school.lecturer.get("/", headers={"host": EVIL}),
            school.lecturer.get("/static/hushpoint.css"),
        ]
        return any(header not in answer.headers for answer in answers)

    return lacking


# --- the guards, each with the way to take it away ---


def _put(where: Any, name: str, value: object) -> Callable[[pytest.MonkeyPatch], None]:
    return lambda patched: patched.setattr(where, name, value)


def _no_header(name: str) -> Callable[[pytest.MonkeyPatch], None]:
    return lambda patched: patched.delitem(guard._HEADERS, name)


def _no_escaping(patched: pytest.MonkeyPatch) -> None:
    real = jinja2.Environment.__init__

    def unguarded(self: jinja2.Environment, **wanted: Any) -> None:
        real(self, **{**wanted, "autoescape": False})

    patched.setattr(jinja2.Environment, "__init__", unguarded)


def _one_address_for_all(patched: pytest.MonkeyPatch) -> None:
    turn, tell = guesses.Guesses.turn, guesses.Guesses.tell
    patched.setattr(guesses.Guesses, "turn", lambda self, _address: turn(self, "everybody"))
    patched.setattr(guesses.Guesses, "tell", lambda self, _address, *, right: tell(self, "everybody", right=right))


def _no_signature(patched: pytest.MonkeyPatch) -> None:
    patched.setattr(context.Context, "signed", lambda _self, text, _longest_s: json.loads(text) if text else None)


def _a_session_by_whatever_came(patched: pytest.MonkeyPatch) -> None:
    """Sign-in as some servers do it: the cookie that the browser brought becomes the session."""
    real, known = context.Context.signed, set()

    def let_in(request: Request, response: Response, role: str) -> None:
        del response, role
        known.add(request.cookies.get("hushpoint_staff"))

    def signed(self: context.Context, text: str | None, longest_s: int) -> dict[str, str] | None:
        if text in known:
            return {"is": "lecturer", "session": access.session_word(self.ledger, "lecturer")}
        return real(self, text, longest_s)

    def first(request: Request, response: Response, role: str) -> None:
        (let_in if request.cookies.get("hushpoint_staff") else context.let_in)(request, response, role)

    patched.setattr(klass, "let_in", first)
    patched.setattr(context.Context, "signed", signed)


def _no_lecturer_only(patched: pytest.MonkeyPatch) -> None:
    from hushpoint.web import app

    for module in vars(app).values():
        if isinstance(module, ModuleType) and hasattr(module, "lecturer_only"):
            patched.setattr(module, "lecturer_only", lambda _request: None)


def _every_path_of_the_disk(patched: pytest.MonkeyPatch) -> None:
    def lookup(self: StaticFiles, path: str) -> tuple[str, Any]:
        found = Path(str(self.directory)) / path
        return (str(found), found.stat()) if found.exists() else ("", None)

    patched.setattr(StaticFiles, "lookup_path", lookup)


def _anybodys_measurement(patched: pytest.MonkeyPatch) -> None:
    async def mine(request: Request) -> dict[str, Any]:
        ledger, measurement = context.context_of(request).ledger, request.path_params["measurement"]
        who = next(row.who for row in ledger.rows(kinds=[Kind.MEASUREMENT_BEGUN], ref=measurement))
        return {"ledger": ledger, "who": who, "measurement": measurement}

    patched.setattr(practise, "_mine", mine)


def _nobody_ends(patched: pytest.MonkeyPatch) -> None:
    patched.setattr(access, "end_sessions", lambda _ledger, *_roles: None)


def _reach_everything(patched: pytest.MonkeyPatch) -> None:
    patched.setitem(context.REACH, "auditor", re.compile(".*"))


def _no_end_in_the_cookie(patched: pytest.MonkeyPatch) -> None:
    real = context.let_in
    patched.setattr(access_pages, "let_in", lambda request, response, role, **_until: real(request, response, role))


def _everything_told(patched: pytest.MonkeyPatch) -> None:
    real = pairs.view
    patched.setattr(
        pairs, "view", lambda pair, who: {**real(pair, who), "told": [pair.learner.written, pair.reference.written]}
    )


def _any_class(patched: pytest.MonkeyPatch) -> None:
    real = classes.name_of

    def name_of(ledger: Any, room: str, who: str) -> str:
        rooms = [room, *(row.room for row in ledger.rows(kinds=[Kind.LEARNER_JOINED], who=who))]
        return real(ledger, rooms[-1], who)

    patched.setattr(classes, "name_of", name_of)


ATTACKS: dict[str, tuple[Callable[[School], bool], str, Callable[[pytest.MonkeyPatch], None]]] = {
    "guessing passwords fast": (
        _guess_without_waiting, "a wrong guess costs time", _put(guesses, "GUESS_S", 0.0)),
    "guessing from many tabs at once": (
        _many_guesses_at_once, "four wait at most", _put(guesses, "MOST_WAITING", 1000)),
    "locking the lecturer out": (
        _lock_the_lecturer_out, "each address waits for itself", _one_address_for_all),
    "a stolen cookie a day later": (
        _a_cookie_of_yesterday, "twelve hours", _put(context, "STAFF_S", 10**9)),
    "a stolen cookie after signing out everywhere": (
        _a_cookie_kept_after_signing_out_everywhere, "the word of the session changes", _nobody_ends),
    "a stolen cookie after a new password": (
        _a_cookie_kept_after_a_new_password, "the word of the session changes", _nobody_ends),
    "a cookie made up": (_a_cookie_made_up, "the signature", _no_signature),
    "session fixation": (
        _a_planted_cookie, "coming in makes a cookie of its own", _a_session_by_whatever_came),
    "CSRF by a form": (_a_form_on_another_site, "Origin", _put(guard, "_from_elsewhere", lambda _headers: False)),
    "CSRF, told by the browser": (
        _a_form_of_another_site_by_fetch_metadata, "Sec-Fetch-Site",
        _put(guard, "_from_elsewhere", lambda _headers: False)),
    "login CSRF": (
        _made_to_join_as_somebody_else, "Origin", _put(guard, "_from_elsewhere", lambda _headers: False)),
    "DNS rebinding": (
        _a_name_turned_to_this_machine, "names of this server", _put(guard, "_is_ours", lambda _host, _names: True)),
    "Host header injection": (_markup_in_the_host, "names of this server, and their letters", lambda patched: (
        patched.setattr(guard, "_HOST", re.compile(".*")),
        patched.setattr(guard, "_is_ours", lambda _host, _names: True))),
    "a body too large": (_upload_without_end, "limits by path", _put(guard, "_limit", lambda _path: 10**9)),
    "a body too large that does not say so": (
        _upload_without_a_length, "counted while it comes", _put(guard, "_limit", lambda _path: 10**9)),
    "CSV injection": (
        _formula_in_a_visits_csv, "an apostrophe", _put(visit_sheets, "plain_cell", lambda text: text)),
    "path traversal, static": (_files_above_the_static_folder, "the folder's own path", _every_path_of_the_disk),
    "path traversal, recordings": (
        _a_recording_above_its_folder, "ids of twenty digits", _put(recordings, "_ID", re.compile(".*"))),
    "open redirect": (
        _led_away_after_coming_in, "own pages only", _put(klass, "safe_next", lambda text, otherwise="": text)),
    "stored XSS in a name": (_markup_in_a_name, "escaped when drawn", _no_escaping),
    "stored XSS in a note": (_markup_in_a_note, "escaped when drawn", _no_escaping),
    "reflected XSS": (_markup_from_the_address, "escaped when drawn", _no_escaping),
    "an auditor's link after its time": (
        _an_auditors_link_after_its_day, "its end is in it", _put(access_pages, "_over", lambda _until, _now: False)),
    "an auditor who stays in after the time": (
        _an_auditor_goes_on_after_the_day, "the end is in the cookie", _no_end_in_the_cookie),
    "an auditor who writes": (_an_auditor_writes, "reach of a role", _reach_everything),
    "IDOR, a judgement": (_anothers_judgement, "asked by its owner", _anybodys_measurement),
    "a sealed half before both are in": (
        _an_unsealed_pair_by_its_other_half, "a view tells what both may know", _everything_told),
    "IDOR, through another class": (_a_learner_through_another_class, "looked up in the class", _any_class),
    "forced browsing": (_a_stranger_on_the_lecturers_pages, "lecturer_only", _no_lecturer_only),
    "taking the first run": (
        _the_first_run_from_the_network, "only at the laptop", _put(klass, "_at_the_laptop", lambda _request: None)),
    "header injection": (_a_second_header_from_a_code, "letters of a file's name",
        _put(client, "_FILE_NAME", re.compile("(?!)"))),
    "inline script": (_framed("Content-Security-Policy"), "the header", _no_header("Content-Security-Policy")),
    "clickjacking": (_framed("X-Frame-Options"), "the header", _no_header("X-Frame-Options")),
    "addresses told to other sites": (_framed("Referrer-Policy"), "the header", _no_header("Referrer-Policy")),
    "content sniffed": (_framed("X-Content-Type-Options"), "the header", _no_header("X-Content-Type-Options")),
    "held by another site's window": (
        _framed("Cross-Origin-Opener-Policy"), "the header", _no_header("Cross-Origin-Opener-Policy")),
}  # fmt: skip
"""Name of the attack: the attack, its guard in words, and how the guard is taken away."""


@pytest.mark.parametrize("name", ATTACKS)
def test_the_attack_fails(name: str, tmp_path: Path) -> None:
    """With every guard in place the attack does not come through."""
    attack, _, _ = ATTACKS[name]
    with pytest.MonkeyPatch.context() as patched:
        for school in _school(tmp_path, patched):
            assert not attack(school)


@pytest.mark.parametrize("name", ATTACKS)
def test_without_its_guard_the_attack_comes_through(name: str, tmp_path: Path) -> None:
    """With this one guard taken away the same attack succeeds: the test above can fail."""
    attack, said, take_away = ATTACKS[name]
    with pytest.MonkeyPatch.context() as patched:
        take_away(patched)
        for school in _school(tmp_path, patched):
            assert attack(school), said
