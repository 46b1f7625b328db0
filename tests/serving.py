"""`hushpoint serve` in a process of its own, for tests that need the real server."""

from __future__ import annotations

import os
import signal
import socket
import ssl
import subprocess
import sys
import time
import urllib.request
from dataclasses import dataclass
from pathlib import Path


@dataclass
class Site:
    """A running server: `here` is the trusted local address, `classroom` the same by its plain network name."""

    port: int
    data: Path
    process: subprocess.Popen[str]

    @property
    def here(self) -> str:
        """The address on this machine."""
        return f"http://localhost:{self.port}"

    @property
    def classroom(self) -> str:
        """The address as phones see it: plain http, no secure context."""
        return f"http://classroom.test:{self.port}"


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


COMMAND = [sys.executable, "-c", "from hushpoint.cli.main import run; run()"]


def start(data: Path, *options: str) -> Site:
    """Start `hushpoint serve` and wait until it answers."""
    return waited_for(data, free_port(), *options)


def start_demo(data: Path) -> Site:
    """Start `hushpoint demo`, the invented college, and wait until it answers."""
    return waited_for(data, free_port(), command="demo")


def waited_for(data: Path, port: int, *options: str, https: bool = False, command: str = "serve") -> Site:
    """Start the server on a port and wait until it answers, over https whatever its certificate."""
    named = ["--name", "classroom.test"] if command == "serve" else []
    process = subprocess.Popen(
        [*COMMAND, command, "--data", str(data), "--port", str(port), *named, *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    site = Site(port, data, process)
    trust = ssl.create_default_context() if https else None
    if trust:
        trust.check_hostname, trust.verify_mode = False, ssl.CERT_NONE
    address = f"{'https' if https else 'http'}://127.0.0.1:{port}/healthz"
    for _ in range(300):
        if process.poll() is not None:
            raise RuntimeError(process.stdout.read() if process.stdout else "the server stopped")
        try:
            with urllib.request.urlopen(address, timeout=1, context=trust):  # noqa: S310 - our own server
                return site
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("the server does not answer")


def stop(site: Site) -> int:
    """Ask the server to stop and return its exit status."""
    site.process.send_signal(signal.SIGTERM)
    try:
        return site.process.wait(timeout=15)
    finally:
        if site.process.poll() is None:
            site.process.kill()
            site.process.wait()
        if site.process.stdout:
            site.process.stdout.close()
