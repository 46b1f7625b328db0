"""Sessions end when they are ended, roles reach what is theirs, and nobody can lock another out."""

from __future__ import annotations

import asyncio
import re
import subprocess
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.testclient import TestClient

from hushpoint.desk import access, classes
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from hushpoint.web import guesses
from hushpoint.wiring import Settings, build
from own_loop import in_own_loop
from serving import COMMAND

OLD, NEW, THIRD = "ten letters or more", "another ten letters", "a third of ten letters"


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Starlette]:
    """The app after its first run, with a class."""
    ledger = MemoryLedger()
    made = build(Settings(data_dir=tmp_path), ledger)
    access.set_password(ledger, OLD)
    classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    with TestClient(made):
        yield made


def device(app: Starlette, password: str = "", role: str = "lecturer") -> TestClient:
    """Return a device, signed in where a password is given."""
    found = TestClient(app, client=("10.0.0.7", 1), follow_redirects=False)
    if password:
        sent = {"password": password, "role": role}
        assert found.post("/class/sign-in", data=sent).status_code == 303
    return found


def test_sign_out_everywhere_ends_every_session(app: Starlette) -> None:
    """Two devices and an auditor are in; after the one tap none is, and a cookie kept aside opens nothing."""
    here, there = device(app, OLD), device(app, OLD)
    link = _link(here)
    auditor = device(app)
    assert auditor.get(link).status_code == 303
    kept = dict(there.cookies)
    assert here.post("/access/sign-out-everywhere").status_code == 303
    for one in (here, there):
        assert one.get("/access").status_code == 401
    assert auditor.get("/access").status_code == 401
    assert TestClient(app, cookies=kept).get("/access").status_code == 401
    assert device(app).get(link).status_code == 403
    assert device(app, OLD).get("/access").status_code == 200


def test_a_changed_password_signs_the_other_devices_out(app: Starlette) -> None:
    """The old password is asked for; this device stays in, the others go, and only the new one opens."""
    here, there = device(app, OLD), device(app, OLD)
    wrong = here.post("/access/password", data={"old": "not the old one", "password": NEW})
    assert wrong.status_code == 422
    assert there.get("/access").status_code == 200
    assert here.post("/access/password", data={"old": OLD, "password": "short"}).status_code == 422
    assert here.post("/access/password", data={"old": OLD, "password": NEW}).status_code == 303
    assert here.get("/access").status_code == 200
    assert there.get("/access").status_code == 401
    assert device(app).post("/class/sign-in", data={"password": OLD}).status_code == 403
    assert device(app, NEW).get("/access").status_code == 200


def test_roles_come_in_by_their_own_passwords_and_go_with_them(app: Starlette) -> None:
    """Assessor and practitioner reach their areas and no other; a password taken away ends the role's sessions."""
    lecturer = device(app, OLD)
    for role, word in (("assessor", NEW), ("practitioner", THIRD)):
        assert lecturer.post("/access/password", data={"role": role, "password": word}).status_code == 303
    same = lecturer.post("/access/password", data={"role": "assessor", "password": OLD})
    assert same.status_code == 422
    assert "needs its own" in same.text
    page = lecturer.get("/class")
    code = page.text.split('href="/class/')[1][:4]
    assessor, practitioner = device(app, NEW, "assessor"), device(app, THIRD, "practitioner")
    assert assessor.get(f"/class/{code}/pairs").status_code == 200
    assert assessor.get(f"/class/{code}").status_code == 403
    assert assessor.get("/client").status_code == 403
    assert assessor.get("/access").status_code == 403
    assert practitioner.get("/client").status_code == 200
    assert practitioner.get(f"/class/{code}/pairs").status_code == 403
    assert device(app).post("/class/sign-in", data={"password": NEW, "role": "lecturer"}).status_code == 403
    assert lecturer.post("/access/password", data={"role": "assessor", "remove": "yes"}).status_code == 200
    assert assessor.get(f"/class/{code}/pairs").status_code == 401
    assert practitioner.get("/client").status_code == 200


@pytest.mark.parametrize(("role", "start"), [("assessor", "/class"), ("practitioner", "/client")])
def test_no_role_is_led_to_a_shut_door(app: Starlette, role: str, start: str) -> None:
    """From where a role comes in, no link on a page it may open answers 403; the class has a learner on its list."""
    lecturer = device(app, OLD)
    lecturer.post("/access/password", data={"role": role, "password": NEW})
    code = lecturer.get("/class").text.split('href="/class/')[1][:4]
    device(app).post(f"/join/{code}", data={"name": "Ines Invented"})
    asker = device(app, NEW, role)
    to_see, shut, seen = [start], [], set()
    while to_see:
        path = to_see.pop()
        seen.add(path)
        answer = asker.get(path)
        if answer.status_code == 403:
            shut.append(path)
        if "html" in answer.headers.get("content-type", ""):
            links = re.findall(r'href="(/[^"#]*)"', answer.text)
            to_see += [link for link in dict.fromkeys(links) if link not in seen and link not in to_see]
    assert shut == []
    assert len(seen) > 5


def test_an_auditors_link_ends_on_its_day(app: Starlette) -> None:
    """A link of one day opens today; whoever came in by it is out when it ends, and so is the link itself."""
    context = app.state.context
    link = _link(device(app, OLD), days="1")
    auditor = device(app)
    assert auditor.get(link).status_code == 303
    assert auditor.get("/class").headers["location"] == "/evidence"
    assert auditor.post("/class/open", data={"name": "B"}).status_code == 403
    now = datetime.now(UTC)
    context.clock = lambda: now + timedelta(days=1, minutes=1)
    assert auditor.get("/access").status_code == 401
    assert device(app).get(link).status_code == 403


def test_an_auditors_link_cannot_be_made_from_a_cookie(app: Starlette) -> None:
    """Neither is a cookie a link, nor a link a cookie, nor is either good once a sign of it is changed."""
    here = device(app, OLD)
    link = _link(here)
    assert device(app).get(f"/audit/{here.cookies['hushpoint_staff']}").status_code == 403
    assert TestClient(app, cookies={"hushpoint_staff": link[7:]}).get("/access").status_code == 401
    assert device(app).get(link[:-2] + ("aa" if link[-2:] != "aa" else "bb")).status_code == 403


def test_a_guesser_waits_and_others_do_not(app: Starlette, monkeypatch: pytest.MonkeyPatch) -> None:
    """While one address guesses, and waits for it, the lecturer comes in from another at once."""
    del app
    monkeypatch.setattr(guesses, "GUESS_S", 30.0)
    found = guesses.Guesses()
    for _ in range(10):
        found.tell("10.0.0.66", right=False)

    async def both() -> tuple[bool, int]:
        async def guess() -> None:
            async with found.turn("10.0.0.66"):
                raise AssertionError("nobody may get through while their wait runs")

        waiting = [asyncio.create_task(guess()) for _ in range(guesses.MOST_WAITING)]
        await asyncio.sleep(0)
        with pytest.raises(HTTPException) as refusal:
            async with found.turn("10.0.0.66"):
                pass
        async with found.turn("10.0.0.7"):
            came_in = not any(one.done() for one in waiting)
        for one in waiting:
            one.cancel()
        await asyncio.gather(*waiting, return_exceptions=True)
        return came_in, refusal.value.status_code

    assert in_own_loop(both) == (True, 429)


def test_an_open_stream_ends_with_its_session(app: Starlette, monkeypatch: pytest.MonkeyPatch) -> None:
    """A board that is watched stops telling once the session is ended elsewhere."""
    monkeypatch.setattr("hushpoint.web.live.STILL_IN_S", 0.0)
    here = device(app, OLD)
    code = here.get("/class").text.split('href="/class/')[1][:4]
    ledger = app.state.context.ledger
    sent: list[str] = []

    async def watch() -> None:
        async def send(message: dict[str, object]) -> None:
            sent.append(str(message["type"]))
            if len(sent) == 2:  # the first part is out: now the session is ended
                access.end_sessions(ledger, "lecturer")

        async def receive() -> dict[str, object]:
            await asyncio.sleep(60)
            return {"type": "http.disconnect"}

        cookie = f"hushpoint_staff={here.cookies['hushpoint_staff']}".encode()
        path = f"/class/{code}/events"
        scope = {"type": "http", "http_version": "1.1", "method": "GET", "scheme": "http", "path": path,
                 "raw_path": path.encode(), "query_string": b"", "root_path": "", "client": ("10.0.0.7", 1),
                 "server": ("t", 80), "headers": [(b"host", b"t"), (b"cookie", cookie)]}  # fmt: skip
        await asyncio.wait_for(app(scope, receive, send), 20)

    in_own_loop(watch)
    assert len(sent) >= 2


@pytest.mark.parametrize("host", ["evil.example", "evil.example:8100", "localhost.evil.example", "127.0.0.1.evil", ""])
def test_another_name_is_refused_in_one_line(tmp_path: Path, host: str) -> None:
    """A name turned to this machine's address by somebody else gets nothing, cookie or not."""
    app = build(Settings(data_dir=tmp_path, names=frozenset({"laptop.local"})), MemoryLedger())
    answer = TestClient(app).get("/", headers={"host": host})
    assert answer.status_code in {400, 421}
    assert len(answer.json()["error"].splitlines()) == 1
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    "host", ["localhost", "localhost:8100", "127.0.0.1:8100", "[::1]:8100", "10.0.0.5:8100", "Laptop.Local:8100"]
)
def test_own_names_and_plain_addresses_are_answered(tmp_path: Path, host: str) -> None:
    """A laptop whose address changes in mid-class goes on; a plain address cannot be turned to another machine."""
    app = build(Settings(data_dir=tmp_path, names=frozenset({"laptop.local"})), MemoryLedger())
    assert TestClient(app).get("/", headers={"host": host}).status_code == 200


def test_a_forgotten_password_is_set_anew_at_the_laptop(tmp_path: Path) -> None:
    """From a pipe: the new one opens, the old one does not, sessions end; too short, no role, no ledger: one line."""
    ledger = open_sqlite(tmp_path / FILE_NAME)
    access.set_password(ledger, OLD)
    before = access.session_word(ledger, "lecturer")

    def ask(word: str, *options: str) -> subprocess.CompletedProcess[str]:
        command = [*COMMAND, "password", "--data", str(tmp_path), *options]
        return subprocess.run(command, input=word, capture_output=True, text=True, timeout=60, check=False)

    assert ask(f"{NEW}\n").returncode == 0
    assert access.is_password(ledger, NEW)
    assert not access.is_password(ledger, OLD)
    assert access.session_word(ledger, "lecturer") != before
    for done in (ask("short\n"), ask(f"{THIRD}\n", "--role", "auditor"), ask(f"{THIRD}\n", "--data", "nowhere")):
        assert done.returncode == 2
        assert len(done.stderr.strip().splitlines()) == 1
        assert THIRD not in done.stderr
    assert access.is_password(ledger, NEW)
    ledger.close()


def test_sessions_are_looked_up_in_the_ledger_each_time(app: Starlette) -> None:
    """Ended by another process, a session is over at the next request."""
    here = device(app, OLD)
    assert here.get("/access").status_code == 200
    access.end_sessions(app.state.context.ledger, "lecturer")
    begun = time.monotonic()
    assert here.get("/access").status_code == 401
    print(f"noticed after {time.monotonic() - begun:.3f} s")


def _link(lecturer: TestClient, days: str = "7") -> str:
    answer = lecturer.post("/access/audit-link", data={"days": days})
    assert answer.status_code == 200
    return "/audit/" + answer.text.split("/audit/")[1].split("<")[0]
