"""Saying no cleanly: so many requests at once, so many that wait, the rest are told when to come again.

Without a limit everybody would wait longer and longer, and phones that gave up would send the same again on top. A
request that is refused here was not begun: nothing of it is stored, and phones keep what they have and send it later.
"""

from __future__ import annotations

import asyncio
import json
import random

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

AT_ONCE = 40
"""Requests worked on at the same moment in one process: as many as there are threads for the ledger."""
MOST_WAITING = 160
WAIT_S = 3.0
"""So many more may wait, and so long [s] (design choice: whoever taps waits that long without tapping again)."""
MOST_STREAMS = 1000
"""Streams open at the same time in one process: boards, walls, phones in a round."""
BODY_S = 30.0
"""How long a body may take to come [s]; a place is taken once it is there, so that a slow phone holds up nobody."""
KEPT_BYTES = 1_500_000
AGAIN_S = (2, 7)
"""When those who are refused come again [s]: not all at once."""
_LINE = "Too many at once. Nothing was stored; try again in {} seconds."
_APART = ("/static/", "/healthz", "/metrics", "/class/sign-in")
"""Cheap, for whoever watches the server, or with a queue of its own."""


class Busy:
    """Holds the number of requests and of streams in one process."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        at_once: int = AT_ONCE,
        most_waiting: int = MOST_WAITING,
        most_streams: int = MOST_STREAMS,
    ) -> None:
        self._app = app
        self._places = asyncio.Semaphore(at_once)
        self._most_waiting, self._most_streams = most_waiting, most_streams
        self._waiting = self._streams = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, or refuse it for now."""
        if scope["type"] != "http" or scope["path"].startswith(_APART):
            await self._app(scope, receive, send)
        elif scope["path"].endswith("/events"):
            await self._stream(scope, receive, send)
        else:
            await self._request(scope, receive, send)

    async def _stream(self, scope: Scope, receive: Receive, send: Send) -> None:
        if self._streams >= self._most_streams:
            await _refuse(scope, send)
            return
        self._streams += 1
        try:
            await self._app(scope, receive, send)
        finally:
            self._streams -= 1

    async def _request(self, scope: Scope, receive: Receive, send: Send) -> None:
        length = Headers(scope=scope).get("content-length", "")
        if scope["method"] not in ("GET", "HEAD"):
            if not length.isdigit() or int(length) > KEPT_BYTES:  # an upload, of which there are few
                await self._app(scope, receive, send)
                return
            try:
                receive = await asyncio.wait_for(_whole(receive), BODY_S)
            except TimeoutError:
                await _refuse(scope, send, 408, f"The request took more than {BODY_S:.0f} seconds to come. Try again.")
                return
        if not await self._place():
            await _refuse(scope, send)
            return
        try:
            await self._app(scope, receive, send)
        finally:
            self._places.release()

    async def _place(self) -> bool:
        """Take a place, or wait for one; return whether there was one."""
        if self._places.locked():
            if self._waiting >= self._most_waiting:
                return False
            self._waiting += 1
            try:
                await asyncio.wait_for(self._places.acquire(), WAIT_S)
            except TimeoutError:
                return False
            finally:
                self._waiting -= 1
            return True
        await self._places.acquire()
        return True


async def _whole(receive: Receive) -> Receive:
    """Take in a body, and return what gives it to the app in one piece."""
    pieces: list[bytes] = []
    while True:
        message = await receive()
        pieces.append(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body"):
            break
    first: list[Message] = [{**message, "body": b"".join(pieces)} if message["type"] == "http.request" else message]

    async def again() -> Message:
        return first.pop() if first else await receive()

    return again


async def _refuse(scope: Scope, send: Send, status: int = 503, line: str = "") -> None:
    again_s = random.randint(*AGAIN_S)
    said = line or _LINE.format(again_s)
    page = "text/html" in Headers(scope=scope).get("accept", "")
    body = said.encode() if page else json.dumps({"error": said}).encode()
    kind = b"text/plain; charset=utf-8" if page else b"application/json"
    fields = [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [*fields, (b"retry-after", str(again_s).encode())],
        }
    )
    await send({"type": "http.response.body", "body": body})
