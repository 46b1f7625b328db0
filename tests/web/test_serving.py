"""`hushpoint serve` as a process: stopping with streams open, a taken port, events over the wire."""

from __future__ import annotations

import http.client
import http.cookiejar
import subprocess
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from serving import COMMAND, Site, start, stop


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    """A server of one's own, stopped at the end where the test has not."""
    running = start(tmp_path / "data")
    yield running
    if running.process.poll() is None:
        stop(running)


def lecturer_of(site: Site) -> urllib.request.OpenerDirector:
    """Return a lecturer's browser."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
    post(opener, f"{site.here}/class/first-run", password="ten letters or more")
    return opener


def post(opener: urllib.request.OpenerDirector, address: str, **fields: str) -> str:
    """Send a form; return the address one is led to."""
    with opener.open(address, urllib.parse.urlencode(fields).encode(), timeout=10) as answer:
        return str(answer.url)


def event(stream: http.client.HTTPResponse) -> dict[str, str]:
    """Read one event from a stream."""
    found: dict[str, str] = {}
    while True:
        line = stream.readline().decode().rstrip("\r\n")
        if not line and "data" in found:
            return found
        name, _, value = line.partition(": ")
        if name:
            found[name] = found.get(name, "") + value


def test_events_carry_row_numbers_and_resume(site: Site) -> None:
    """A join shows on the open stream with its row number; with that number a later stream stays silent until more."""
    lecturer = lecturer_of(site)
    code = post(lecturer, f"{site.here}/class/open", name="A", policy="PALPATED_30").rsplit("/", 1)[1]
    stream = lecturer.open(f"{site.here}/class/{code}/events", timeout=10)
    assert "Nobody yet" in event(stream)["data"]
    post(urllib.request.build_opener(), f"{site.here}/join/{code}", name="Ines Invented")
    seen = event(stream)
    assert "Ines Invented" in seen["data"]
    stream.close()
    address = f"{site.here}/class/{code}/events"
    again = urllib.request.Request(address, headers={"Last-Event-ID": seen["id"]})  # noqa: S310 - our own server
    resumed = lecturer.open(again, timeout=10)
    post(urllib.request.build_opener(), f"{site.here}/join/{code}", name="Tomo Invented")
    later = event(resumed)
    assert int(later["id"]) == int(seen["id"]) + 2  # a name new to the class is listed, and joins
    assert "Tomo Invented" in later["data"]
    resumed.close()


def test_wall_events_have_no_names(site: Site) -> None:
    """The projector's stream counts."""
    lecturer = lecturer_of(site)
    code = post(lecturer, f"{site.here}/class/open", name="A", policy="PALPATED_30").rsplit("/", 1)[1]
    post(urllib.request.build_opener(), f"{site.here}/join/{code}", name="Ines Invented")
    with lecturer.open(f"{site.here}/class/{code}/wall/events", timeout=10) as stream:
        seen = event(stream)["data"]
    assert "<b>1</b> in" in seen
    assert "Ines" not in seen


def test_it_stops_cleanly_with_a_stream_open(site: Site) -> None:
    """SIGTERM ends the server although somebody watches a board."""
    lecturer = lecturer_of(site)
    code = post(lecturer, f"{site.here}/class/open", name="A", policy="PALPATED_30").rsplit("/", 1)[1]
    with lecturer.open(f"{site.here}/class/{code}/events", timeout=10) as stream:
        event(stream)
        begun = time.monotonic()
        status = stop(site)
        print(f"stopped {time.monotonic() - begun:.2f} s after SIGTERM, status {status}")
    assert status in {0, -15}


def test_a_taken_port_is_one_line(site: Site, tmp_path: Path) -> None:
    """Status 2, and nothing is made in the folder."""
    again = [*COMMAND, "serve", "--data", str(tmp_path / "other"), "--port", str(site.port)]
    done = subprocess.run(again, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert f"port {site.port}" in done.stderr
    assert not (tmp_path / "other").exists()


def test_nothing_identifiable_in_the_output(tmp_path: Path) -> None:
    """Names and passwords never reach the server's output."""
    running = start(tmp_path / "data")
    lecturer = lecturer_of(running)
    code = post(lecturer, f"{running.here}/class/open", name="A", policy="PALPATED_30").rsplit("/", 1)[1]
    post(urllib.request.build_opener(), f"{running.here}/join/{code}", name="Ines Invented")
    with pytest.raises(urllib.error.HTTPError):
        urllib.request.build_opener().open(f"{running.here}/join/ZZZZ", timeout=10)
    running.process.terminate()
    said, _ = running.process.communicate(timeout=15)
    assert f"open http://localhost:{running.port}" in said
    assert "Ines" not in said
    assert "ten letters" not in said
