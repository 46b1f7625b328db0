"""Two `hushpoint serve` processes over one PostgreSQL: what one stores the other shows, and nothing is done twice."""

from __future__ import annotations

import json
import os
import signal
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from http import HTTPStatus
from pathlib import Path
from typing import Any

import httpx2
import pytest

from bench_logs import bench_log
from hushpoint.desk import pairs
from hushpoint.ledger.records import Kind
from hushpoint.ledger.store import open_ledger
from postgres_server import OwnServer, empty_database
from serving import Site, start, stop

pytestmark = pytest.mark.postgres
PASSWORD = "ten letters or more"
SOON_S = 20.0
"""Long enough for a busy machine: what is asserted is that it comes, not when."""


class Watched:
    """A stream that is read beside the test: every event's data, as it came."""

    def __init__(self, client: httpx2.Client, path: str) -> None:
        self.events: list[str] = []
        self.ended = False
        self._come = threading.Condition()
        self._thread = threading.Thread(target=self._read, args=(client, path), daemon=True)
        self._thread.start()

    def _read(self, client: httpx2.Client, path: str) -> None:
        try:
            with client.stream("GET", path, timeout=None) as answer:
                assert answer.status_code == HTTPStatus.OK
                data: list[str] = []
                for line in answer.iter_lines():
                    if line.startswith("data:"):
                        data.append(line[5:].strip())
                    elif not line and data:
                        with self._come:
                            self.events.append("\n".join(data))
                            self._come.notify_all()
                        data = []
        except httpx2.TransportError:
            pass
        self.ended = True

    def shows(self, text: str, within_s: float = SOON_S) -> bool:
        """Wait until an event holds a text."""
        with self._come:
            return self._come.wait_for(lambda: any(text in event for event in self.events), within_s)


@pytest.fixture(scope="module")
def database(postgres_server: str) -> Iterator[str]:
    """URL of the database of this module's two servers."""
    with empty_database(postgres_server) as url:
        yield url


@pytest.fixture(scope="module")
def sites(tmp_path_factory: pytest.TempPathFactory, database: str) -> Iterator[tuple[Site, Site]]:
    """Two servers, each with a data folder of its own, over one database."""
    running = [start(tmp_path_factory.mktemp(name), "--database", database) for name in ("a", "b")]
    try:
        with httpx2.Client(base_url=running[0].here, timeout=60) as client:
            client.post("/class/first-run", data={"password": PASSWORD})
        yield running[0], running[1]
    finally:
        for site in running:
            stop(site)


_OPEN: list[httpx2.Client] = []


@pytest.fixture(autouse=True)
def _closed() -> Iterator[None]:
    """Close every browser that a test opened."""
    yield
    while _OPEN:
        _OPEN.pop().close()


def browser(site: Site, **more: Any) -> httpx2.Client:
    """Return a browser of nobody yet."""
    _OPEN.append(httpx2.Client(base_url=site.here, timeout=60, **more))
    return _OPEN[-1]


def lecturer_at(site: Site, path: str = "sign-in") -> httpx2.Client:
    """Return a lecturer's browser at one of the servers."""
    client = browser(site, follow_redirects=True)
    assert client.post(f"/class/{path}", data={"password": PASSWORD}).status_code == HTTPStatus.OK
    return client


def opened_class(lecturer: httpx2.Client) -> str:
    """Open a class and return its code."""
    answer = lecturer.post("/class/open", data={"name": "Group A", "policy": "PALPATED_30"})
    return answer.url.path.rsplit("/", 1)[1]


def joined(site: Site, code: str, name: str) -> httpx2.Client:
    """Return the phone of a learner who joined at a server."""
    phone = browser(site, follow_redirects=True)
    assert phone.post(f"/join/{code}", data={"name": name}).status_code == HTTPStatus.OK
    return phone


def measured(phone: httpx2.Client, ref: str) -> int:
    """Begin, set up and file a measurement; return the answer's status."""
    begun = phone.post("/practise/measurements", json={"ref": ref, "guided": False, "again": None}).json()
    path = f"/practise/measurements/{begun['measurement']}"
    choices = {row["id"]: row["choices"][0]["id"] for row in begun["rows"]}
    phone.post(f"{path}/set-up", json={"choices": choices})
    return phone.post(f"{path}/log", json=bench_log()).status_code


def test_a_reading_stored_at_one_server_appears_on_the_board_of_the_other(sites: tuple[Site, Site]) -> None:
    """The lecturer signs in at both by one password; a phone at A moves the stream of B; a name is taken at both."""
    here, there = sites
    code = opened_class(lecturer_at(here))
    board = Watched(lecturer_at(there), f"/class/{code}/events")
    assert board.shows("Nobody yet")
    phone = joined(here, code, "Ines Invented")
    assert board.shows("Ines Invented")
    assert measured(phone, "one") == HTTPStatus.CREATED
    assert board.shows("124/82")
    stranger = browser(there)
    refused = stranger.post(f"/join/{code}", data={"name": "ines  INVENTED"}, headers={"accept": "text/html"})
    assert refused.status_code == HTTPStatus.CONFLICT
    moved = browser(there, cookies=dict(phone.cookies))
    assert moved.get("/practise/results").status_code == HTTPStatus.OK


def test_one_name_sent_to_both_at_once_is_one_person(sites: tuple[Site, Site], database: str) -> None:
    """Of two joins with one name at the same moment one is refused, time after time, whichever servers they reach."""
    code = opened_class(lecturer_at(sites[0]))
    phones = [browser(site) for site in sites]
    for turn in range(10):
        with ThreadPoolExecutor(2) as both:
            answers = both.map(
                lambda phone, name=f"Twin {turn}": phone.post(f"/join/{code}", data={"name": name}), phones
            )
            assert sorted(answer.status_code for answer in answers) == [HTTPStatus.SEE_OTHER, HTTPStatus.CONFLICT]
        for phone in phones:
            phone.cookies.clear()
    ledger = open_ledger(Path(), database)
    assert len({row.who for row in ledger.rows(kinds=[Kind.LEARNER_JOINED], room=code)}) == 10
    ledger.close()


def test_a_round_reaches_phones_at_both_servers(sites: tuple[Site, Site]) -> None:
    """Opened and started at A, heard of at B with the same moment to play; an answer sealed at B counts at A."""
    here, there = sites
    lecturer = lecturer_at(here)
    code = opened_class(lecturer)
    phones = [joined(here, code, "Ines Invented"), joined(there, code, "Tomo Invented")]
    streams = [Watched(phone, "/practise/round/events") for phone in phones]
    assert all(stream.shows('"none"') for stream in streams)
    lecturer.post(f"/class/{code}/rounds", data={"kind": "any"})
    assert all(stream.shows('"open"') for stream in streams)
    round_id = json.loads(streams[1].events[-1])["round"]
    assert phones[1].post(f"/practise/rounds/{round_id}/ready", json={"profile": "headphones"}).is_success
    lecturer.post(f"/class/{code}/rounds/{round_id}/start")
    assert all(stream.shows('"started"') for stream in streams)
    assert len({json.loads(stream.events[-1])["starts_at_ms"] for stream in streams}) == 1
    control = Watched(lecturer, f"/class/{code}/rounds/events")
    answer = {"reading": {"systolic": 128, "diastolic": 82}}
    assert phones[1].post(f"/practise/rounds/{round_id}/answer", json=answer).status_code == HTTPStatus.CREATED
    assert phones[1].post(f"/practise/rounds/{round_id}/answer", json=answer).status_code == HTTPStatus.OK
    assert control.shows("1 of 1 sealed")


def test_both_numbers_of_a_pair_at_once_turn_it_once(sites: tuple[Site, Site], database: str) -> None:
    """Learner and lecturer seal at the same moment on two servers: both are kept, and the pair turns once."""
    here, there = sites
    lecturer = lecturer_at(here)
    code = opened_class(lecturer)
    phone = joined(there, code, "Ines Invented")
    ledger = open_ledger(Path(), database)
    who = next(row.who for row in ledger.rows(kinds=[Kind.LEARNER_JOINED], room=code))
    for turn in range(10):
        opening = pairs.Opening(learner=who, reference=pairs.LECTURER)
        pair = pairs.open_pair(ledger, room=code, opening=opening)
        asked = [
            (lecturer, f"/class/{code}/pairs/{pair}/seal", {"systolic": 128, "diastolic": 82, "ref": f"l{turn}"}),
            (phone, f"/practise/pairs/{pair}/seal", {"systolic": 126, "diastolic": 80, "ref": f"p{turn}"}),
        ]
        with ThreadPoolExecutor(2) as both:
            assert all(both.map(lambda one: one[0].post(one[1], json=one[2]).is_success, asked))
    assert len(list(ledger.rows(kinds=[Kind.PAIR_TURNED], room=code))) == 10
    assert len(list(ledger.rows(kinds=[Kind.READING_TAKEN], room=code))) == 20
    assert {pair.state for pair in pairs.book_of(ledger, code).pairs.values()} == {"turned"}
    ledger.close()


def test_streams_go_on_when_the_database_was_restarted(tmp_path: Path, own_postgres: OwnServer) -> None:
    """The database stops and starts in mid-class: open boards stay open and show what was stored next."""
    running = [start(tmp_path / name, "--database", own_postgres.url) for name in ("a", "b")]
    try:
        code = opened_class(lecturer_at(running[0], "first-run"))
        boards = [Watched(lecturer_at(site), f"/class/{code}/events") for site in running]
        assert all(board.shows("Nobody yet") for board in boards)
        own_postgres.stop()
        away = browser(running[0]).post(f"/join/{code}", data={"name": "Too Soon"})
        assert away.status_code == HTTPStatus.SERVICE_UNAVAILABLE
        own_postgres.start()
        joined(running[0], code, "Ines Invented")
        assert all(board.shows("Ines Invented") for board in boards)
        assert not any(board.ended for board in boards)
    finally:
        for site in running:
            stop(site)


def test_workers_behind_one_port_are_begun_again_and_stop_together(tmp_path: Path, postgres_url: str) -> None:
    """Three workers: one killed is replaced, a board hears of a join at any of them, and all stop at SIGTERM."""
    site = start(tmp_path / "data", "--database", postgres_url, "--workers", "3")
    lecturer = lecturer_at(site, "first-run")
    code = opened_class(lecturer)
    board = Watched(lecturer, f"/class/{code}/events")
    assert board.shows("Nobody yet")
    for number in range(6):  # each on a connection of its own, so at whichever worker takes it
        joined(site, code, f"Invented {number}")
    assert board.shows("Invented 5")
    workers = _children(site.process.pid)
    assert len(workers) == 3
    os.kill(workers[0], signal.SIGKILL)
    until = time.monotonic() + SOON_S
    while (len(set(_children(site.process.pid)) - {workers[0]}) < 3) and time.monotonic() < until:
        time.sleep(0.1)
    workers = _children(site.process.pid)
    assert len(workers) == 3
    assert stop(site) == 0
    assert not any(Path(f"/proc/{worker}").exists() for worker in workers)


def _children(pid: int) -> list[int]:
    return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
