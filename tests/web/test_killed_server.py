"""A server killed under load loses no reading that it had acknowledged to a learner's phone, and doubles none."""

from __future__ import annotations

import multiprocessing
import random
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import httpx2
import pytest

from hushpoint.cli.serve import serve_app
from phones import Phone, acknowledged_by, check_nothing_lost
from serving import free_port, start

PHONES = 6
KILLS = 5
MANY, PER_LEDGER = 1000, 100
"""In `make hard`: so many kills on each store, a fresh ledger after every hundred."""

Running = Callable[[Path, str | None], AbstractContextManager[str]]
"""A server that is up while its block runs, and killed -9 at its end; gives its address."""


@contextmanager
def the_command(data: Path, url: str | None) -> Iterator[str]:
    """Run `hushpoint serve` as it is started by hand."""
    site = start(data, *(("--database", url) if url else ()))
    try:
        yield site.here
    finally:
        site.process.kill()
        site.process.wait()
        if site.process.stdout:
            site.process.stdout.close()


@contextmanager
def the_same_forked(data: Path, url: str | None) -> Iterator[str]:
    """Run the same in a process forked from one that has imported everything: up in a tenth of the time."""
    port = free_port()
    asked = {"class_mode": False, "names": [], "certificate": None, "key": None, "own_certificate": False}
    asked |= {"data": data, "port": port, "database": url}
    server = multiprocessing.get_context("forkserver").Process(target=serve_app, kwargs=asked)
    server.start()
    try:
        _until_up(f"http://localhost:{port}")
        yield f"http://localhost:{port}"
    finally:
        server.kill()
        server.join()
        assert server.exitcode == -signal.SIGKILL, "the server ended by itself"
        server.close()


def _until_up(address: str) -> None:
    latest = time.monotonic() + 60
    while time.monotonic() < latest:
        try:
            if httpx2.get(f"{address}/healthz", timeout=5).status_code == httpx2.codes.OK:
                return
        except httpx2.TransportError:
            time.sleep(0.01)
    raise RuntimeError("the server does not answer")


def _kill_often(data: Path, url: str | None, running: Running, kills: int, draw: random.Random) -> int:
    """Kill the server so often while phones post; return how many readings were acknowledged."""
    phones = [Phone(f"phone-{place}") for place in range(PHONES)]
    for turn in range(kills):
        with running(data, url) as address:
            at_work = [threading.Thread(target=phone.measure, args=(address,)) for phone in phones]
            for one in at_work:
                one.start()
            enough, latest = acknowledged_by(phones) + 2, time.monotonic() + 30
            while acknowledged_by(phones) < enough and time.monotonic() < latest:
                time.sleep(0.02)
            time.sleep(draw.uniform(0.0, 0.3))
        for one in at_work:
            one.join()
        assert [fault for phone in phones for fault in phone.faults] == [], turn
    return check_nothing_lost(data, url, phones, at_least=kills)


def _many_kills(folder: Path, urls: list[str | None]) -> None:
    multiprocessing.get_context("forkserver").set_forkserver_preload(["hushpoint.cli.serve"])
    draw, acknowledged, begun = random.Random(11), 0, time.monotonic()
    for place, url in enumerate(urls):
        acknowledged += _kill_often(folder / str(place), url, the_same_forked, MANY // len(urls), draw)
    minutes = (time.monotonic() - begun) / 60
    print(f"{MANY} kills of the server, {acknowledged} acknowledged readings, none lost or doubled, {minutes:.0f} min")


def test_a_killed_server_keeps_what_it_acknowledged_on_sqlite(tmp_path: Path) -> None:
    """Five kills -9 of the whole app while phones post, on a SQLite file."""
    _kill_often(tmp_path, None, the_command, KILLS, random.Random(11))


@pytest.mark.hard  # the ledger alone is killed on PostgreSQL in every run
@pytest.mark.postgres
def test_a_killed_server_keeps_what_it_acknowledged_on_postgres(tmp_path: Path, postgres_url: str) -> None:
    """Five kills -9 of the whole app while phones post, on PostgreSQL."""
    _kill_often(tmp_path, postgres_url, the_command, KILLS, random.Random(11))


@pytest.mark.hard
def test_a_thousand_kills_of_the_server_on_sqlite(tmp_path: Path) -> None:
    """A thousand kills -9 of the whole app while phones post, on SQLite files."""
    _many_kills(tmp_path, [None] * (MANY // PER_LEDGER))


@pytest.mark.hard
@pytest.mark.postgres
def test_a_thousand_kills_of_the_server_on_postgres(tmp_path: Path, postgres_url: str) -> None:
    """A thousand kills -9 of the whole app while phones post, on one database of PostgreSQL."""
    _many_kills(tmp_path, [postgres_url])
