"""How long whose error takes over 100 000 live readings in a SQLite file, page and all: printed, never asserted."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient

from drawn_class import drawn_class
from hushpoint.desk import classes, live
from hushpoint.desk.whose import ClassReadings
from hushpoint.ledger.store import open_sqlite
from hushpoint.wiring import Settings, build

pytestmark = pytest.mark.speed
READINGS, A_CLASS, LEARNERS, GAUGES = 100_000, 30, 300, 40


def seconds(act: Callable[[], object]) -> float:
    """Return how long an act takes once [s]."""
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def test_a_hundred_thousand_readings_to_a_page(tmp_path: Path) -> None:
    """Ten classes of 30: rows read, worked out, the page first, again, and after one more reading."""
    ledger = open_sqlite(tmp_path / "ledger.db")
    codes = [classes.open_class(ledger, name=f"C{one}", policy_id="PALPATED_30") for one in range(10)]
    room = {"lecturer": codes[0], **{f"L{one + 1}": codes[one // A_CLASS] for one in range(LEARNERS)}}
    entries = []
    for row in drawn_class(np.random.default_rng(2), READINGS // 2, LEARNERS, GAUGES).readings:
        high = min(300, max(60, int(row.systolic_mmhg)))
        at = "2026-03-02T09:00:00.000000Z"
        one = live.LiveReading(row.measurement, row.observer, high, high - 40, at, "pair", gauge=row.gauge)
        entries.append(
            live.entry_of(one, room=room[row.observer], who="" if row.observer == "lecturer" else row.observer)
        )
    for start in range(0, len(entries), 5000):
        ledger.append(*entries[start : start + 5000])
    kept = ClassReadings(ledger)
    rows = seconds(kept.observers)
    worked = seconds(lambda: kept.whose(None, "lecturer"))
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, headers={"accept": "text/html"}, client=("127.0.0.1", 1)) as lecturer:
        lecturer.post("/class/first-run", data={"password": "ten letters or more"})

        def page(address: str) -> float:
            return seconds(lambda: lecturer.get(address).raise_for_status())

        first, again, picture = page("/whose"), page("/whose"), page("/whose/picture.svg")
        one_class, class_again = page(f"/class/{codes[1]}/whose"), page(f"/class/{codes[1]}/whose")
        ledger.append(
            live.entry_of(
                live.LiveReading("new", "L1", 120, 80, "2026-03-03T09:00:00Z", "pair"), room=codes[0], who="L1"
            )
        )
        after = page("/whose")
    print(
        f"\n{READINGS} readings: SQLite {rows:.2f} s, worked out {worked:.2f} s; page first {first:.2f}, again "
        f"{again:.2f}, picture {picture:.2f};"
        f" one class first {one_class:.2f}, again {class_again:.2f}; one reading later {after:.2f}"
    )
    ledger.close()
