"""A throw-away PostgreSQL server for the tests; HUSHPOINT_TEST_PG names one that runs already."""

from __future__ import annotations

import os
import secrets
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """URL of a server whose account may make databases."""
    given = os.environ.get("HUSHPOINT_TEST_PG")
    if given:
        yield given
        return
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[4]))
    if not found:
        pytest.skip("PostgreSQL is not installed here and HUSHPOINT_TEST_PG is not set")
    programs, folder, port = found[-1].parent, Path(tempfile.mkdtemp(prefix="hushpoint-pg-")), _free_port()
    as_other = []
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres")
        as_other = ["runuser", "-u", "postgres", "--"]

    def run(program: str, *words: str) -> None:
        command = [*as_other, str(programs / program), "-D", str(folder / "data"), *words]
        subprocess.run(command, cwd=folder, check=True, stdout=subprocess.DEVNULL)

    try:
        run("initdb", "-A", "trust", "-U", "app", "-E", "UTF8", "--locale=C.UTF-8")
        listen = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder}"
        run("pg_ctl", "-w", "-t", "30", "-l", str(folder / "log"), "-o", listen, "start")
        try:
            yield f"postgresql+psycopg://app@127.0.0.1:{port}/postgres"
        finally:
            run("pg_ctl", "-m", "fast", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def postgres_url(postgres_server: str) -> Iterator[str]:
    """URL of an empty database of this test's own, dropped afterwards."""
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
