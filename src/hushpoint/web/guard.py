"""What every answer carries, and what is refused before a route sees it: pure ASGI, so that streams pass through."""

from __future__ import annotations

import ipaddress
import json
import logging
import re
import traceback
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

UPLOAD_BYTES, LOG_BYTES, OTHER_BYTES = 5_000_000, 1_500_000, 300_000
"""The largest request body [bytes]: of an upload, of a log (30 000 samples take 500 000), of others."""
RECORDING_BYTES = 30_000_000
"""The largest recording taken in [bytes]: a quarter of an hour at 16 kHz, 16 bit (design choice)."""
_log = logging.getLogger("hushpoint")
_HOST = re.compile(r"[A-Za-z0-9._-]*(:[0-9]{1,5})?|\[[0-9A-Fa-f:.]+\](:[0-9]{1,5})?")
_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data:; style-src 'self'; script-src 'self'; object-src 'none'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
}

_HTTPS_ONLY = {"Strict-Transport-Security": "max-age=2592000"}
"""A browser that saw this keeps to https for 30 days; never sent with a certificate of one's own making."""


class TooLargeError(Exception):
    """The body grew beyond the limit while it was read."""


class Guard:
    """Refuses writes that come from another site and bodies that are too large; adds the headers."""

    def __init__(self, app: ASGIApp, names: frozenset[str] | None = None, *, https_only: bool = False) -> None:
        """Answer to these names, to localhost and to plain addresses; to any name where None is given.

        A page of another site whose name was turned to this machine's address would be of the same origin as ours;
        with an address in the place of a name that cannot be.
        """
        self._app = app
        self._names = names
        self._headers = {**_HEADERS, **(_HTTPS_ONLY if https_only else {})}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        if not _HOST.fullmatch(headers.get("host", "")):
            await _refuse(send, 400, "the Host header must be a name or an address, with a port or without")
            return
        if self._names is not None and not _is_ours(headers.get("host", ""), self._names):
            await _refuse(send, 421, "this name is not of this server; serve it with --name to allow it")
            return
        if scope["method"] not in _SAFE and _from_elsewhere(headers):
            await _refuse(send, 403, "this came from another site: open the page here and try again")
            return
        limit = _limit(scope["path"])
        length = headers.get("content-length", "0")
        if not (length.isascii() and length.isdigit() and len(length) < 16 and int(length) <= limit):
            await _refuse(send, 413, f"the body must be at most {limit} bytes")
            return

        read, started = 0, False

        async def counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > limit:
                raise TooLargeError
            return message

        async def with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                sent = MutableHeaders(scope=message)
                for name, value in self._headers.items():
                    sent.setdefault(name, value)
                static = scope["path"].startswith("/static/")
                sent.setdefault("Cache-Control", "no-cache" if static else "no-store")
            await send(message)

        try:
            await self._app(scope, counted, with_headers)
        except TooLargeError:
            if not started:
                await _refuse(send, 413, f"the body must be at most {limit} bytes")
        except Exception as fault:  # whatever it is: a calm line to the asker, and no data of theirs in the log
            place = traceback.extract_tb(fault.__traceback__)[-1]
            _log.error("%s in %s, line %s", type(fault).__name__, place.name, place.lineno)
            if not started:
                await _refuse(send, 500, "Something here is broken. Nothing was half written; try again.")


def _is_ours(host: str, names: frozenset[str]) -> bool:
    name = host[1:].split("]", 1)[0] if host.startswith("[") else host.split(":", 1)[0]
    if name.lower().rstrip(".") in names | {"localhost"}:
        return True
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _limit(path: str) -> int:
    if path.endswith("/log"):
        return LOG_BYTES
    if path == "/recordings":
        return RECORDING_BYTES
    uploads = ("/roster", "/agreement", "/check", "/timed", "/pairs/import", "/evidence/rules", "/evidence/units")
    return UPLOAD_BYTES if path.endswith(uploads) else OTHER_BYTES


def _from_elsewhere(headers: Headers) -> bool:
    """A browser says where a write comes from; other programs say nothing and carry no cookie of ours by accident."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in {"same-origin", "none"}
    origin = headers.get("origin")
    try:
        return origin is not None and urlsplit(origin).netloc != headers.get("host", "")
    except ValueError:  # no address at all
        return True


async def _refuse(send: Send, status: int, line: str) -> None:
    body = json.dumps({"error": line}).encode()
    fields = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode())]
    fields += [(name.lower().encode(), value.encode()) for name, value in _HEADERS.items()]
    await send({"type": "http.response.start", "status": status, "headers": fields})
    await send({"type": "http.response.body", "body": body})
