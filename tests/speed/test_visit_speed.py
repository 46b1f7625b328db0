"""How long the led visit's answers take, printed; beside them the plainest answer of the same server."""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient

from hushpoint.desk import visits
from hushpoint.ledger.store import open_sqlite
from hushpoint.wiring import Settings, build

pytestmark = pytest.mark.speed


def quantiles_ms(act: Callable[[], object], times: int = 200) -> tuple[float, float]:
    """Median and 95th percentile of an act [ms]."""
    took = []
    for _ in range(times):
        before = time.perf_counter()
        act()
        took.append(1000 * (time.perf_counter() - before))
    return float(np.median(took)), float(np.quantile(took, 0.95))


def test_next_step_answers_over_a_year_of_visits(tmp_path: Path) -> None:
    """1 000 visits in the file: the state of one, one act with its answer, the list, beside /healthz."""
    ledger = open_sqlite(tmp_path / "ledger.sqlite")
    now = datetime.now(UTC)
    for number in range(1000):
        visit = visits.begin(ledger, policy_id="NHFA_2016", code=f"K{number + 1}")
        told = {"consent": True, "symptoms": [], "client.arm_cm": 33, "pulse.regular": True}
        visits.act(ledger, visit, {"ref": f"told-{number:06d}", "told": told}, now)
        for place in range(3):
            reading = {"arm": "right", "systolic": 150 - place, "diastolic": 90}
            at = now + timedelta(seconds=70 * place)
            visits.act(
                ledger, visit, {"ref": f"read-{number:06d}-{place}", "at": at.isoformat(), "reading": reading}, at
            )
    with TestClient(build(Settings(data_dir=tmp_path), ledger), client=("127.0.0.1", 1)) as device:
        device.post("/class/first-run", data={"password": "ten letters or more"})
        count = iter(range(10**6))

        def act() -> None:
            body = {"ref": f"more-{next(count):06d}", "told": {"steps": "consent"}}
            assert device.post(f"/client/{visit}/acts", json=body).status_code == 200

        for name, what in (
            ("/healthz", lambda: device.get("/healthz")),
            ("state of a visit", lambda: device.get(f"/client/{visit}/state")),
            ("one act and its answer", act),
        ):
            median, p95 = quantiles_ms(what)
            print(f"{name}: median {median:.1f} ms, p95 {p95:.1f} ms")
        median, p95 = quantiles_ms(lambda: device.get("/client"), 5)
        print(f"list of 1 000 visits: median {median:.0f} ms")
