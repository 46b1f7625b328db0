"""How long the list of a bad gauge takes over 10 000 readings in a SQLite file: printed, never asserted."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from hushpoint.desk import kit, live
from hushpoint.desk import recall as desk
from hushpoint.ledger.store import open_sqlite
from recall_scene import FOUND, GOOD, checked, reading
from timing import median_s

pytestmark = pytest.mark.speed


@pytest.mark.parametrize("gauges", [1, 6], ids=["all on the failed gauge", "one gauge of six"])
@pytest.mark.parametrize(("visits", "pairs"), [(0, 5000), (1500, 2750), (3333, 0)], ids=["pairs", "mixed", "visits"])
def test_listing_ten_thousand_readings(tmp_path: Path, visits: int, pairs: int, gauges: int) -> None:
    """Three to a visit, two to a pair, the failed gauge among so many in use; beside reading the rows alone."""
    ledger = open_sqlite(tmp_path / "ledger.db")
    gauge = kit.add(ledger, {"type": "gauge", "label": "G4"}, by="lecturer")
    used = [gauge, *(kit.add(ledger, {"type": "gauge", "label": f"H{n}"}, by="lecturer") for n in range(gauges - 1))]
    checked(ledger, gauge.id, 0.0, GOOD)
    rng = np.random.default_rng(7)
    entries = []
    for number in range(visits + pairs):
        mine = used[number % gauges].id
        at = GOOD + timedelta(minutes=int(rng.integers(0, 20 * 24 * 60)))
        base = int(rng.normal(124, 16)), int(rng.normal(78, 10))
        for turn in range(3 if number < visits else 2):
            pair = base[0] + 2 * int(rng.integers(-2, 3)), base[1] + 2 * int(rng.integers(-1, 2))
            if number < visits:
                one = reading(f"m{number}-{turn}", "P1", pair, at + timedelta(minutes=turn), mine, "visit", "K")
                entries.append(live.entry_of(one, room=f"visit{number}", who=f"client{number}"))
            else:
                one = reading(f"m{number}", f"L{turn}", pair, at, mine, "pair")
                entries.append(live.entry_of(one, room="RKTM", who=f"L{turn}"))
    ledger.append(*entries)
    checked(ledger, gauge.id, -6.0, FOUND)
    window = desk.window_of(kit.item(ledger, gauge.id))
    found = desk.recall(ledger, window)
    assert sum(len(line.touched) for line in found.lines) == sum(one.body["gauge"] == gauge.id for one in entries)
    ours = median_s(lambda: desk.recall(ledger, window), 3)
    rows = median_s(lambda: list(live.readings(ledger)), 3)
    print(
        f"\n{len(entries)} readings, {len(found.lines)} lines: {ours:.2f} s, rows alone {rows:.2f} s, {found.counted()}"
    )
    ledger.close()
