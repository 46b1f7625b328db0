"""A school's load on one server, client included: learners measuring, phones polling, boards open.

Learners join ten to a class, measure at the pace of a real arm (set-up, one minute and more of cuff, the numbers), poll
what phones poll, and send again whatever was not acknowledged, as phones do: a refusal with status 503 or 429 that says
when to come again is waited out. Each acknowledged reading is looked for in the journal afterwards.

    python tests/load.py --learners 300 --boards 30 --seconds 600 [--database URL] [--workers N] [--pace 1.0]
"""

from __future__ import annotations

import argparse
import asyncio
import http.client
import json
import os
import random
import tempfile
import time
from collections import Counter
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from http import HTTPStatus
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from bench_logs import bench_log
from hushpoint.ledger.records import Kind
from hushpoint.ledger.store import open_ledger
from serving import Site, start, stop

PASSWORD = "ten letters or more"
CLASS_SIZE = 10
BUSY = (HTTPStatus.SERVICE_UNAVAILABLE, HTTPStatus.TOO_MANY_REQUESTS)
POLL_S, FIRST_WAIT_S, LONGEST_WAIT_S = 2.0, 1.0, 20.0
"""As in pairs_call.js and bench_outbox.js."""
LOG = json.dumps(bench_log()).encode()
JSON = {"Content-Type": "application/json", "Accept": "application/json"}


@dataclass
class Found:
    """What came of it."""

    took_s: list[float] = field(default_factory=list)
    """Answers other than refusals, in seconds."""
    refused_s: list[float] = field(default_factory=list)
    statuses: Counter[int] = field(default_factory=Counter)
    faults: Counter[str] = field(default_factory=Counter)
    bare_refusals: int = 0
    """Refusals that did not say when to come again."""
    acknowledged: list[str] = field(default_factory=list)
    lost: int = 0
    twice: int = 0
    told: int = 0
    """Events that boards were sent."""
    boards_refused: int = 0
    peak_mb: float = 0.0
    seconds: float = 0.0

    @property
    def errors(self) -> int:
        """Answers that are neither what was asked for nor a clean refusal, and broken connections."""
        wrong = sum(count for status, count in self.statuses.items() if status >= 400 and status not in BUSY)
        return wrong + sum(self.faults.values()) + self.bare_refusals

    def lines(self) -> list[str]:
        """Return the result as lines to print."""
        done = sorted(self.took_s) or [0.0]
        at = {share: done[min(len(done) - 1, int(share * len(done)))] for share in (0.5, 0.95, 0.99)}
        refused = sum(self.statuses[status] for status in BUSY)
        a_second = len(self.took_s) / self.seconds
        return [
            f"{len(self.took_s)} answers in {self.seconds:.0f} s, {a_second:.0f} a second",
            "p50 {:.0f} ms, p95 {:.0f} ms, p99 {:.0f} ms, worst {:.0f} ms".format(
                *(1000 * at[share] for share in (0.5, 0.95, 0.99)), 1000 * done[-1]
            ),
            f"errors {self.errors} {dict(self.faults) or ''}; statuses {dict(sorted(self.statuses.items()))}",
            f"refused for now {refused}, of them without saying when {self.bare_refusals}; boards refused "
            f"{self.boards_refused}",
            f"readings acknowledged {len(self.acknowledged)}, lost {self.lost}, stored twice {self.twice}; "
            f"board events {self.told}",
            f"server's memory at most {self.peak_mb:.0f} MB",
        ]


class Browser:
    """One keep-alive connection with cookies; made anew when it was lost."""

    def __init__(self, port: int, found: Found) -> None:
        self._port, self._found = port, found
        self._pipe: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
        self.cookies: dict[str, str] = {}

    async def ask(self, method: str, path: str, body: bytes = b"", **more: str) -> tuple[int, dict[str, str], bytes]:
        """Send one request and return status, headers and body; OSError where the connection broke."""
        begun, fresh = time.perf_counter(), self._pipe is None
        if self._pipe is None:
            self._pipe = await asyncio.open_connection("127.0.0.1", self._port)
        reader, writer = self._pipe
        try:
            writer.write(self._head(method, path, len(body), more) + body)
            status, headers = await self._answer(reader)
            content = await reader.readexactly(int(headers.get("content-length", 0)))
        except (OSError, EOFError, asyncio.IncompleteReadError, ValueError):
            self.close()
            if not fresh:  # the server had closed it while it was idle: a browser asks again on a new one
                return await self.ask(method, path, body, **more)
            raise OSError("cut") from None
        taken = time.perf_counter() - begun
        self._found.statuses[status] += 1
        if status in BUSY:
            self._found.refused_s.append(taken)
            self._found.bare_refusals += "retry-after" not in headers
        else:
            self._found.took_s.append(taken)
        if headers.get("connection") == "close":
            self.close()
        return status, headers, content

    async def follow(self, path: str, told: Callable[[], None]) -> int:
        """Read a stream until it ends; return 0, or the status of a refusal."""
        reader, writer = await asyncio.open_connection("127.0.0.1", self._port)
        try:
            writer.write(self._head("GET", path, 0, {"Accept": "text/event-stream"}))
            status, _ = await self._answer(reader)
            if status != HTTPStatus.OK:
                return status
            while line := await reader.readline():
                if line.startswith(b"event: board"):
                    told()
        finally:
            writer.close()
        return 0

    def close(self) -> None:
        """Drop the connection."""
        if self._pipe is not None:
            self._pipe[1].close()
            self._pipe = None

    def _head(self, method: str, path: str, length: int, more: dict[str, str]) -> bytes:
        fields = {"Host": f"localhost:{self._port}", "Content-Length": str(length), **more}
        if self.cookies:
            fields["Cookie"] = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        return (f"{method} {path} HTTP/1.1\r\n" + "".join(f"{n}: {v}\r\n" for n, v in fields.items()) + "\r\n").encode()

    async def _answer(self, reader: asyncio.StreamReader) -> tuple[int, dict[str, str]]:
        first = await reader.readline()
        if not first.startswith(b"HTTP/1.1 "):
            raise EOFError
        status = int(first.split()[1])
        headers: dict[str, str] = {}
        while (line := await reader.readline()) not in (b"\r\n", b""):
            name, _, value = line.decode().partition(":")
            headers[name.lower()] = value.strip()
            if name.lower() == "set-cookie":
                key, _, rest = value.strip().partition("=")
                self.cookies[key] = rest.split(";", 1)[0]
        return status, headers


class Learner:
    """One phone: joins, then measures and looks at its page in turn."""

    def __init__(self, browser: Browser, found: Found, name: str, pace: float, draw: random.Random) -> None:
        self._browser, self._found, self._name, self._pace, self._draw = browser, found, name, pace, draw

    async def live(self, code: str, until: float) -> None:
        """Go on until the time is up; a measurement that was finished is sent until it is acknowledged."""
        await self._insist("POST", f"/join/{code}", urlencode({"name": self._name}).encode(), _FORM)
        number = 0
        while time.monotonic() < until:
            number += 1
            asked = json.dumps({"ref": f"m{number}", "guided": False, "again": None}).encode()
            _, begun = await self._insist("POST", "/practise/measurements", asked, JSON)
            measurement = json.loads(begun)["measurement"]
            await self._pause(15, 30)
            path = f"/practise/measurements/{measurement}"
            choices = {row["id"]: row["choices"][0]["id"] for row in json.loads(begun)["rows"]}
            await self._insist("POST", f"{path}/set-up", json.dumps({"choices": choices}).encode(), JSON)
            await self._pause(60, 80)
            status, _ = await self._insist("POST", f"{path}/log", LOG, JSON)
            if status in (HTTPStatus.OK, HTTPStatus.CREATED):
                self._found.acknowledged.append(measurement)
            wait_s = 0.25
            while time.monotonic() < until:
                status, _ = await self._insist("GET", f"{path}/judgement", b"", JSON)
                if status != HTTPStatus.ACCEPTED:
                    break
                await asyncio.sleep(wait_s)
                wait_s = min(5.0, wait_s * 1.5)
            await self._insist("GET", "/practise", b"", {"Accept": "text/html"})
            home = min(until, time.monotonic() + self._draw.uniform(10, 20) * self._pace)
            while time.monotonic() < home:
                await self._insist("GET", "/practise/pairs/waiting", b"", JSON)
                await asyncio.sleep(POLL_S)
        self._browser.close()

    async def _pause(self, low_s: float, high_s: float) -> None:
        await asyncio.sleep(self._draw.uniform(low_s, high_s) * self._pace)

    async def _insist(self, method: str, path: str, body: bytes, headers: dict[str, str]) -> tuple[int, bytes]:
        """Ask, and ask again after a refusal for now or a broken connection, as phones do."""
        wait_s = FIRST_WAIT_S
        while True:
            try:
                status, told, content = await self._browser.ask(method, path, body, **headers)
            except OSError as fault:
                self._found.faults[type(fault).__name__] += 1
            else:
                if status not in BUSY:
                    return status, content
                wait_s = max(wait_s, float(told.get("retry-after", 0)))
            await asyncio.sleep(wait_s * self._draw.uniform(1.0, 1.5))
            wait_s = min(LONGEST_WAIT_S, wait_s * 2)


_FORM = {"Content-Type": "application/x-www-form-urlencoded", "Accept": "text/html"}


async def _board(browser: Browser, found: Found, code: str) -> None:
    def told() -> None:
        found.told += 1

    while True:
        try:
            refused = await browser.follow(f"/class/{code}/events", told)
        except OSError as fault:
            found.faults[f"board: {type(fault).__name__}"] += 1
            refused = 0
        found.boards_refused += bool(refused)
        await asyncio.sleep(random.uniform(2, 8))


async def _memory(site: Site, found: Found) -> None:
    while True:
        found.peak_mb = max(found.peak_mb, _resident_mb(site.process.pid))
        await asyncio.sleep(1.0)


def _resident_mb(pid: int) -> float:
    """Resident memory of a process and those it began [MB]."""
    try:
        pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6 + sum(_resident_mb(int(child)) for child in children)


async def _run(site: Site, found: Found, *, learners: int, boards: int, seconds: float, pace: float) -> None:
    draw = random.Random(8)
    lecturer = Browser(site.port, found)
    await lecturer.ask("POST", "/class/first-run", urlencode({"password": PASSWORD}).encode(), **_FORM)
    codes = []
    for number in range(max(boards, -(-learners // CLASS_SIZE))):
        form = urlencode({"name": f"Group {number}", "policy": "PALPATED_30"}).encode()
        _, headers, _ = await lecturer.ask("POST", "/class/open", form, **_FORM)
        codes.append(headers["location"].rsplit("/", 1)[1])
    begun = time.monotonic()
    beside: list[Awaitable[Any]] = [_memory(site, found)]
    for place in range(boards):
        browser = Browser(site.port, found)
        browser.cookies = dict(lecturer.cookies)
        beside.append(_board(browser, found, codes[place]))
    tasks = [asyncio.ensure_future(one) for one in beside]

    async def later(place: int) -> None:
        await asyncio.sleep(draw.uniform(0, min(60.0, seconds / 3)) * min(1.0, pace * 2))
        one = Learner(Browser(site.port, found), found, f"Invented {place}", pace, random.Random(place))
        await one.live(codes[place % len(codes)], begun + seconds)

    await asyncio.gather(*(later(place) for place in range(learners)))
    found.seconds = time.monotonic() - begun
    for task in tasks:
        task.cancel()
    lecturer.close()


def run_load(
    data: Path,
    *,
    learners: int,
    boards: int,
    seconds: float,
    pace: float = 1.0,
    database: str | None = None,
    workers: int = 1,
) -> Found:
    """Serve an empty ledger in `data`, put the load on it, and look for what was acknowledged."""
    found = Found()
    options = [*(("--database", database) if database else ()), *(("--workers", str(workers)) if workers > 1 else ())]
    site = start(data, *options)
    try:
        asyncio.run(_run(site, found, learners=learners, boards=boards, seconds=seconds, pace=pace))
        asked = http.client.HTTPConnection("127.0.0.1", site.port, timeout=30)
        asked.request("GET", "/healthz")
        assert asked.getresponse().status == HTTPStatus.OK, "it does not answer afterwards"
        asked.close()
    finally:
        stop(site)
    ledger = open_ledger(data, database)
    stored = Counter(row.ref for row in ledger.rows(kinds=[Kind.MEASUREMENT_FILED]))
    ledger.close()
    found.lost = len(set(found.acknowledged) - set(stored))
    found.twice = sum(count > 1 for count in stored.values())
    return found


def main() -> None:
    """Run from the command line and print what came of it."""
    asked = argparse.ArgumentParser(description="A school's load on one server, on this machine.")
    asked.add_argument("--learners", type=int, default=300)
    asked.add_argument("--boards", type=int, default=30)
    asked.add_argument("--seconds", type=float, default=600)
    asked.add_argument("--pace", type=float, default=1.0, help="1 is a real arm's; 0.5 is twice as fast")
    asked.add_argument("--database", help="URL of an empty PostgreSQL database; else a SQLite file")
    asked.add_argument("--workers", type=int, default=1)
    given = vars(asked.parse_args())
    with tempfile.TemporaryDirectory(prefix="hushpoint-load-") as folder:
        print(f"{given['learners']} learners, {given['boards']} boards, {given['seconds']:.0f} s, pace {given['pace']}")
        for line in run_load(Path(folder) / "data", **given).lines():
            print(line)


if __name__ == "__main__":
    main()
