"""A throw-away PostgreSQL server for the tests; HUSHPOINT_TEST_PG names one that runs already."""

from __future__ import annotations

import os
import secrets
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
import sqlalchemy as sa


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class OwnServer:
    """A PostgreSQL server in a folder of its own, that can be stopped and started again on the same port."""

    def __init__(self, programs: Path, *settings: str) -> None:
        self._programs, self._settings = programs, settings
        self._folder, self._port = Path(tempfile.mkdtemp(prefix="hushpoint-pg-")), _free_port()
        self._as_other: list[str] = []
        if os.geteuid() == 0:
            shutil.chown(self._folder, "postgres")
            self._as_other = ["runuser", "-u", "postgres", "--"]
        self._run("initdb", "-A", "trust", "-U", "app", "-E", "UTF8", "--locale=C.UTF-8")

    @property
    def url(self) -> str:
        """URL of an account that may make databases."""
        return f"postgresql+psycopg://app@127.0.0.1:{self._port}/postgres"

    def start(self) -> None:
        """Start it and wait until it answers."""
        listen = f"-p {self._port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self._folder}"
        more = " ".join(f"-c {setting}" for setting in self._settings)
        self._run("pg_ctl", "-w", "-t", "30", "-l", str(self._folder / "log"), "-o", f"{listen} {more}", "start")

    def stop(self, mode: str = "fast") -> None:
        """Stop it: every connection is cut."""
        self._run("pg_ctl", "-m", mode, "stop")

    def remove(self) -> None:
        """Remove its folder."""
        shutil.rmtree(self._folder, ignore_errors=True)

    def _run(self, program: str, *words: str) -> None:
        command = [*self._as_other, str(self._programs / program), "-D", str(self._folder / "data"), *words]
        subprocess.run(command, cwd=self._folder, check=True, stdout=subprocess.DEVNULL)


def _programs() -> Path:
    """The newest PostgreSQL of this machine; skips where there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[4]))
    if not found:
        pytest.skip("PostgreSQL is not installed here and HUSHPOINT_TEST_PG is not set")
    return found[-1].parent


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """URL of a server whose account may make databases."""
    given = os.environ.get("HUSHPOINT_TEST_PG")
    if given:
        yield given
        return
    server = OwnServer(_programs())
    try:
        server.start()
        try:
            yield server.url
        finally:
            server.stop()
    finally:
        server.remove()


@pytest.fixture
def own_postgres() -> Iterator[OwnServer]:
    """A started server of this test's own, which it may stop and start."""
    server = OwnServer(_programs())
    try:
        server.start()
        yield server
        with suppress(subprocess.CalledProcessError):  # the test left it stopped
            server.stop("immediate")
    finally:
        server.remove()


@pytest.fixture
def postgres_url(postgres_server: str) -> Iterator[str]:
    """URL of an empty database of this test's own, dropped afterwards."""
    with empty_database(postgres_server) as url:
        yield url


@contextmanager
def empty_database(postgres_server: str) -> Iterator[str]:
    """Make an empty database, give its URL, drop it afterwards."""
    name = f"hushpoint_{secrets.token_hex(6)}"
    engine = sa.create_engine(postgres_server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    try:
        yield sa.make_url(postgres_server).set(database=name).render_as_string(hide_password=False)
    finally:
        with engine.connect() as connection:
            connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
        engine.dispose()
