"""How long whose error takes over 100 000 live readings in a SQLite file, page and all: printed, never asserted."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient

from drawn_class import drawn_class
from hushpoint.desk import classes, live
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.store import open_sqlite
from hushpoint.wiring import Settings, build

pytestmark = pytest.mark.speed
READINGS, A_CLASS, GAUGES = 100_000, 30, 40


def seconds(act: Callable[[], object]) -> float:
    """Return how long an act takes once [s]."""
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def filled(ledger: SqlLedger, learners: int) -> list[str]:
    """Store the readings of classes of 30 and return the classes."""
    codes = [classes.open_class(ledger, name=f"C{one}", policy_id="PALPATED_30") for one in range(learners // A_CLASS)]
    room = {"lecturer": codes[0], **{f"L{one + 1}": codes[one // A_CLASS] for one in range(learners)}}
    entries = []
    rows = drawn_class(np.random.default_rng(2), READINGS // 2, learners, GAUGES, a_class=A_CLASS).readings
    for row in rows:
        high = min(300, max(60, int(row.systolic_mmhg)))
        at = "2026-03-02T09:00:00.000000Z"
        one = live.LiveReading(row.measurement, row.observer, high, high - 40, at, "pair", gauge=row.gauge)
        entries.append(
            live.entry_of(one, room=room[row.observer], who="" if row.observer == "lecturer" else row.observer)
        )
    for start in range(0, len(entries), 5000):
        ledger.append(*entries[start : start + 5000])
    return codes


@pytest.mark.parametrize("learners", [300, 3000])
def test_a_hundred_thousand_readings_to_a_page(tmp_path: Path, learners: int) -> None:
    """The page of a server that has this moment begun, warm, again, and after one more reading."""
    ledger = open_sqlite(tmp_path / "ledger.db")
    codes = filled(ledger, learners)
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, headers={"accept": "text/html"}, client=("127.0.0.1", 1)) as lecturer:
        begun = time.perf_counter()
        lecturer.post("/class/first-run", data={"password": "ten letters or more"})
        told = []

        def page(name: str, address: str = "/whose") -> str:
            start = time.perf_counter()
            answer = lecturer.get(address).raise_for_status()
            state = " (being worked out)" if 'id="working"' in answer.text else ""
            state = " (newer are being counted in)" if "Not the newest" in answer.text else state
            told.append(f"{name} {time.perf_counter() - start:.2f} s{state}, {len(answer.content) // 1000} kB")
            return state

        def until_whole(name: str) -> None:
            while page(name):
                told.pop()
                time.sleep(0.2)

        page("cold")
        until_whole("warm")
        told.append(f"whole {time.perf_counter() - begun:.1f} s after the start")
        page("again")
        page("one class first", f"/class/{codes[1]}/whose")
        page("one class again", f"/class/{codes[1]}/whose")
        told.append(f"picture {seconds(lambda: lecturer.get('/whose/picture.svg').raise_for_status()):.2f} s")
        one = live.LiveReading("new", "L1", 120, 80, "2026-03-03T09:00:00Z", "pair")
        ledger.append(live.entry_of(one, room=codes[0], who="L1"))
        page("one reading later")
        start = time.perf_counter()
        until_whole("then")
        told.append(f"counted in after {time.perf_counter() - start:.1f} s")
    print(f"\n{READINGS} readings of {learners}, load {os.getloadavg()[0]:.0f}:\n  " + "\n  ".join(told))
