"""A server killed under load loses no reading that it had acknowledged to a learner's phone."""

from __future__ import annotations

import random
import threading
import time
from pathlib import Path

import httpx2
import pytest

from bench_logs import bench_log
from hushpoint.ledger.records import Kind
from hushpoint.ledger.store import open_ledger
from serving import start

LOG = bench_log()
PHONES = 6
KILLS = 5


def _measure(address: str, ref: str, acknowledged: list[str]) -> None:
    """Join, set up and file one measurement after another until the server is gone."""
    with httpx2.Client(base_url=address, timeout=20) as phone:
        try:
            phone.post("/join/alone")
            for number in range(1000):
                asked = {"ref": f"{ref}-{number}", "guided": False, "again": None}
                begun = phone.post("/practise/measurements", json=asked).json()
                path = f"/practise/measurements/{begun['measurement']}"
                choices = {row["id"]: row["choices"][0]["id"] for row in begun["rows"]}
                phone.post(f"{path}/set-up", json={"choices": choices})
                if phone.post(f"{path}/log", json=LOG).status_code == httpx2.codes.CREATED:
                    acknowledged.append(begun["measurement"])
        except httpx2.TransportError:
            return


def _kill_often(data: Path, url: str | None) -> None:
    draw, acknowledged = random.Random(11), []
    for turn in range(KILLS):
        site = start(data, *(("--database", url) if url else ()))
        phones = [
            threading.Thread(target=_measure, args=(site.here, f"{turn}-{place}", acknowledged))
            for place in range(PHONES)
        ]
        for phone in phones:
            phone.start()
        enough, latest = len(acknowledged) + 2, time.monotonic() + 30
        while len(acknowledged) < enough and time.monotonic() < latest:
            time.sleep(0.05)
        time.sleep(draw.uniform(0.0, 1.0))
        site.process.kill()
        site.process.wait()
        for phone in phones:
            phone.join()
        if site.process.stdout:
            site.process.stdout.close()
    ledger = open_ledger(data, url)
    stored = [row.ref for row in ledger.rows(kinds=[Kind.MEASUREMENT_FILED])]
    found = ledger.verify()
    ledger.close()
    assert len(acknowledged) > KILLS
    assert set(acknowledged) <= set(stored)
    assert len(stored) == len(set(stored))
    assert found.first_altered is None
    print(f"{KILLS} kills of the server, {len(acknowledged)} acknowledged readings, none lost")


def test_a_killed_server_keeps_what_it_acknowledged_on_sqlite(tmp_path: Path) -> None:
    """Five kills -9 of the whole app while phones post, on a SQLite file."""
    _kill_often(tmp_path, None)


@pytest.mark.postgres
def test_a_killed_server_keeps_what_it_acknowledged_on_postgres(tmp_path: Path, postgres_url: str) -> None:
    """Five kills -9 of the whole app while phones post, on PostgreSQL."""
    _kill_often(tmp_path, postgres_url)
