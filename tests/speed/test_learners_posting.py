"""50, 100 and 300 learners post a finished measurement within ten seconds: how long until each knows it is stored."""

from __future__ import annotations

import asyncio
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from statistics import median, quantiles

import httpx2
import numpy as np
import pytest

pytestmark = pytest.mark.speed
WITHIN_S = 10.0


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """A real server on a ledger file of its own."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    program = Path(sys.executable).with_name("hushpoint")
    server = subprocess.Popen(
        [program, "serve", "--data", tmp_path / "data", "--port", str(port)], stdout=subprocess.DEVNULL
    )
    base = f"http://127.0.0.1:{port}"
    start = time.perf_counter()
    while True:
        try:
            httpx2.get(f"{base}/healthz", timeout=1)
            break
        except httpx2.TransportError:
            if server.poll() is not None or time.perf_counter() - start > 60:
                raise
            time.sleep(0.02)
    print(f"app start to first answer {time.perf_counter() - start:.2f} s")
    yield base
    server.terminate()
    server.wait(timeout=10)


@pytest.mark.parametrize("learners", [50, 100, 300])
def test_acknowledgements_against_a_page_that_stores_nothing(address: str, learners: int) -> None:
    """The acknowledgement of a stored log beside an answer that stores nothing, at the same rate."""
    from hushpoint.arm import STANDARD_CUFF, held_release

    time_s, pressure_mmhg, events = held_release(STANDARD_CUFF, 190, 2.5, np.random.default_rng(1))
    log = {
        "time_s": [round(float(second), 4) for second in time_s],
        "pressure_mmhg": [round(float(mmhg), 2) for mmhg in pressure_mmhg],
        "events": events,
        "pulse": None,
        "palpated_mmhg": None,
        "reading": {"systolic": 128, "diastolic": 82, "muffling": None},
        "guided": False,
        "visible_pulse": False,
        "needle_spoken": False,
        "input": "touch",
    }
    stored_s, peer_s = asyncio.run(_class_of_learners(address, log, learners))
    print(f"{learners} learners")
    for name, taken in (("stored log", stored_s), ("peer page", peer_s)):
        p95 = quantiles(taken, n=20)[-1]
        print(
            f"{name}: median {median(taken) * 1000:.0f} ms, p95 {p95 * 1000:.0f} ms, worst {max(taken) * 1000:.0f} ms"
        )
    print(f"ratio of medians {median(stored_s) / median(peer_s):.1f}")


async def _class_of_learners(address: str, log: dict[str, object], count: int) -> tuple[list[float], list[float]]:
    learners = [httpx2.AsyncClient(base_url=address, timeout=30) for _ in range(count)]
    paths = []
    for learner in learners:
        await learner.post("/join/alone")
        begun = (
            await learner.post("/practise/measurements", json={"ref": "one", "guided": False, "again": None})
        ).json()
        path = f"/practise/measurements/{begun['measurement']}"
        choices = {row["id"]: row["choices"][0]["id"] for row in begun["rows"]}
        (await learner.post(f"{path}/set-up", json={"choices": choices})).raise_for_status()
        paths.append(path)

    async def later(place: int, act: object) -> float:
        await asyncio.sleep(place * WITHIN_S / count)
        start = time.perf_counter()
        answer = await act()  # type: ignore[operator]
        taken = time.perf_counter() - start
        assert answer.status_code in {200, 201}
        return taken

    stored = await asyncio.gather(
        *(
            later(place, lambda learner=learner, path=path: learner.post(f"{path}/log", json=log))
            for place, (learner, path) in enumerate(zip(learners, paths, strict=True))
        )
    )
    await asyncio.sleep(3)
    peer = await asyncio.gather(
        *(later(place, lambda learner=learner: learner.get("/healthz")) for place, learner in enumerate(learners))
    )
    for learner in learners:
        await learner.aclose()
    return list(stored), list(peer)
