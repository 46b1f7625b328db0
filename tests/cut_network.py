"""A bad network as a TCP proxy before a real server: cuts, lost answers, delays, doubles, requests that come late."""

from __future__ import annotations

import random
import re
import socket
import threading
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field

_LENGTH = re.compile(rb"^content-length: *([0-9]+)", re.IGNORECASE | re.MULTILINE)
_KEPT_OPEN = re.compile(rb"^connection:[^\r\n]*", re.IGNORECASE | re.MULTILINE)
CUTS = ("cut before", "cut in the middle", "answer lost", "cut, and sent later")
"""After each of these the phone knows nothing; the last two reach the server all the same, one of them late."""
OTHERS = ("delayed", "doubled", "doubled later", "whole")
LATE_S = 1.5


@dataclass
class BadNetwork:
    """Stands between phone and server; only requests whose line holds `spoilt` meet its faults, the others pass.

    `cuts` counts the connections that were cut while a request of these was on its way, `happened` every fault.
    """

    server_port: int
    spoilt: re.Pattern[bytes]
    seed: int
    often: float = 0.6
    happened: Counter[str] = field(default_factory=Counter)
    port: int = 0

    def __post_init__(self) -> None:
        self._draw = random.Random(self.seed)
        self._lock = threading.Lock()
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port = self._listener.getsockname()[1]
        self._late: list[threading.Timer] = []
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def cuts(self) -> int:
        """How many connections were cut with a request on its way."""
        return sum(self.happened[kind] for kind in CUTS)

    def close(self) -> None:
        """Let nobody in any more, once what comes late has come."""
        for one in self._late:
            one.join()
        self._listener.close()

    def _accept(self) -> None:
        while True:
            try:
                phone, _ = self._listener.accept()
            except OSError:
                return
            threading.Thread(target=self._one, args=(phone,), daemon=True).start()

    def _one(self, phone: socket.socket) -> None:
        """One request a connection: so each meets its own fault."""
        with phone:
            try:
                request = _whole_request(phone)
                if request:
                    self._pass(phone, request)
            except OSError:
                return

    def _pass(self, phone: socket.socket, request: bytes) -> None:
        what = self._fault() if self.spoilt.search(request.split(b"\r\n", 1)[0]) else "whole"
        if what == "cut before":
            return
        if what == "cut in the middle":
            with socket.create_connection(("127.0.0.1", self.server_port)) as server:
                server.sendall(request[: len(request) - 20])
            return
        if what == "cut, and sent later":
            self._later(request)
            return
        if what == "delayed":
            time.sleep(0.5)
        with socket.create_connection(("127.0.0.1", self.server_port)) as server:
            server.sendall(request)
            if what == "doubled":
                self._again(request)
            while part := server.recv(65536):
                if what != "answer lost":
                    phone.sendall(part)
        if what == "doubled later":
            self._later(request)

    def _fault(self) -> str:
        with self._lock:
            what = self._draw.choice(CUTS if self._draw.random() < self.often else OTHERS)
            self.happened[what] += 1
            return what

    def _again(self, request: bytes) -> None:
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.server_port)) as server:
            server.sendall(request)
            while server.recv(65536):
                pass

    def _later(self, request: bytes) -> None:
        """Send it when newer ones may have come before it: so they come in another order."""
        timer = threading.Timer(LATE_S, self._again, (request,))
        timer.start()
        self._late.append(timer)


def _whole_request(phone: socket.socket) -> bytes:
    """Read one request and ask for no second one on its connection."""
    got = b""
    while b"\r\n\r\n" not in got:
        part = phone.recv(65536)
        if not part:
            return b""
        got += part
    head, _, body = got.partition(b"\r\n\r\n")
    length = _LENGTH.search(head)
    while length and len(body) < int(length[1]):
        part = phone.recv(65536)
        if not part:
            return b""
        body += part
    return _KEPT_OPEN.sub(b"Connection: close", head) + b"\r\n\r\n" + body
