"""Saying no cleanly: beyond the limits it is one line with a time to come again, and nothing else is refused."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from hushpoint.web import busy
from hushpoint.web.busy import Busy
from own_loop import in_own_loop


class Slow:
    """An app whose answers wait until they are let go; counts what it was given."""

    def __init__(self) -> None:
        self.go = asyncio.Event()
        self.now = self.most = 0
        self.bodies: list[bytes] = []

    async def __call__(self, _scope: Any, receive: Any, send: Any) -> None:
        self.now += 1
        self.most = max(self.most, self.now)
        self.bodies.append((await receive()).get("body", b""))
        await self.go.wait()
        self.now -= 1
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b""})


async def _ask(app: Any, path: str, *pieces: bytes, accept: bytes = b"application/json") -> tuple[int, dict, bytes]:
    """Send one request, its body in pieces; return status, headers and body."""
    method = "POST" if pieces else "GET"
    headers = [(b"accept", accept), (b"content-length", str(sum(map(len, pieces))).encode())]
    left = [*pieces] or [b""]

    async def receive() -> dict[str, Any]:
        piece = left.pop(0)
        return {"type": "http.request", "body": piece, "more_body": bool(left)}

    said: list[dict[str, Any]] = []

    async def send(message: Any) -> None:
        said.append(message)

    await app({"type": "http", "method": method, "path": path, "headers": headers}, receive, send)
    return said[0]["status"], dict(said[0]["headers"]), said[1]["body"]


def test_so_many_at_once_so_many_wait_the_rest_come_again() -> None:
    """Two places and three that wait: of ten, five are answered, never more than two at once, five come again."""

    async def crowd() -> tuple[list[tuple[int, dict, bytes]], int]:
        slow = Slow()
        app = Busy(slow, at_once=2, most_waiting=3)
        asked = [asyncio.ensure_future(_ask(app, "/practise")) for _ in range(10)]
        await asyncio.sleep(0.05)
        slow.go.set()
        return list(await asyncio.gather(*asked)), slow.most

    answers, most = in_own_loop(crowd)
    assert sorted(status for status, _, _ in answers) == [200] * 5 + [503] * 5
    assert most == 2
    for status, headers, body in answers:
        if status == 503:
            assert busy.AGAIN_S[0] <= int(headers[b"retry-after"]) <= busy.AGAIN_S[1]
            assert body.startswith(b'{"error": "Too many at once. Nothing was stored')


def test_who_waits_too_long_comes_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing gets done, those who wait are told so, and the places are all free afterwards."""
    monkeypatch.setattr(busy, "WAIT_S", 0.05)

    async def crowd() -> tuple[list[int], int]:
        slow = Slow()
        app = Busy(slow, at_once=1, most_waiting=3)
        asked = [asyncio.ensure_future(_ask(app, "/practise", accept=b"text/html")) for _ in range(3)]
        await asyncio.sleep(0.2)
        slow.go.set()
        statuses = [status for status, _, _ in await asyncio.gather(*asked)]
        return statuses, (await _ask(app, "/practise"))[0]

    assert in_own_loop(crowd) == ([200, 503, 503], 200)


def test_streams_have_a_limit_of_their_own() -> None:
    """A third stream is refused while two are open; requests, the health page and what pages are made of go on."""

    async def crowd() -> tuple[int, list[int]]:
        slow = Slow()
        app = Busy(slow, at_once=1, most_streams=2)
        streams = [asyncio.ensure_future(_ask(app, "/class/ABCD/events")) for _ in range(2)]
        await asyncio.sleep(0.05)
        refused = (await _ask(app, "/class/ABCD/events"))[0]
        others = [asyncio.ensure_future(_ask(app, path)) for path in ("/practise", "/healthz", "/static/board.js")]
        await asyncio.sleep(0.05)
        slow.go.set()
        return refused, [status for status, _, _ in await asyncio.gather(*streams, *others)]

    assert in_own_loop(crowd) == (503, [200] * 5)


def test_a_slow_body_holds_no_place(monkeypatch: pytest.MonkeyPatch) -> None:
    """A body that never ends is refused in time, others are served meanwhile, and a whole one comes in one piece."""
    monkeypatch.setattr(busy, "BODY_S", 0.2)

    async def crowd() -> tuple[int, int, list[bytes]]:
        slow = Slow()
        slow.go.set()
        app = Busy(slow, at_once=1)

        async def never() -> dict[str, Any]:
            await asyncio.sleep(60)
            raise AssertionError

        said: list[Any] = []

        async def send(message: Any) -> None:
            said.append(message)

        scope = {"type": "http", "method": "POST", "path": "/x/log", "headers": [(b"content-length", b"9")]}
        slowest = asyncio.ensure_future(app(scope, never, send))
        status, _, _ = await _ask(app, "/y/log", b"a", b"b", b"c")
        await slowest
        return said[0]["status"], status, slow.bodies

    assert in_own_loop(crowd) == (408, 200, [b"abc"])
