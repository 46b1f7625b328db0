"""A round of twenty-four phones on a real server: how long until all have its sound, and until all know its start."""

from __future__ import annotations

import asyncio
import json
import time
from pathlib import Path

import httpx2
import pytest

from hushpoint.desk import rounds
from serving import start, stop

pytestmark = pytest.mark.speed
PHONES = 24
PASSWORD = "ten letters or more"


def test_sound_and_start_reach_a_whole_class(tmp_path: Path) -> None:
    """Printed beside LEAD_MS, the time between the lecturer's start and the first sample."""
    site = start(tmp_path)
    try:
        asyncio.run(_round(site.here))
    finally:
        stop(site)


async def _round(base: str) -> None:
    async with httpx2.AsyncClient(base_url=base, timeout=60) as lecturer:
        await lecturer.post("/class/first-run", data={"password": PASSWORD})
        opened = await lecturer.post("/class/open", data={"name": "Speed", "policy": "PALPATED_30"})
        code = opened.headers["location"].rsplit("/", 1)[1]
        phones = [httpx2.AsyncClient(base_url=base, timeout=60) for _ in range(PHONES)]
        for place, phone in enumerate(phones):
            await phone.post(f"/join/{code}", data={"name": f"Phone {place} Invented"})
        await lecturer.post(f"/class/{code}/rounds", data={"kind": "gap"})
        heard: dict[int, float] = {}
        known = asyncio.Event()
        listening = [asyncio.create_task(_follow(phone, n, heard, known)) for n, phone in enumerate(phones)]
        round_id = await _round_id(phones[0])
        before = time.perf_counter()
        sizes = await asyncio.gather(*(_load(phone, round_id) for phone in phones))
        print(
            f"\n{PHONES} phones have sound and needle after {time.perf_counter() - before:.2f} s, "
            f"{sum(sizes) / PHONES / 1000:.0f} kB each"
        )
        pressed = time.perf_counter()
        await lecturer.post(f"/class/{code}/rounds/{round_id}/start")
        await asyncio.wait_for(known.wait(), 30)
        told = [at - pressed for at in heard.values()]
        lead_s = rounds.LEAD_MS / 1000
        print(f"{PHONES} phones know of the start after {min(told):.2f} to {max(told):.2f} s; {lead_s} s lead")
        for task in listening:
            task.cancel()
        await asyncio.gather(*listening, return_exceptions=True)
        for phone in phones:
            await phone.aclose()


async def _load(phone: httpx2.AsyncClient, round_id: str) -> int:
    here = f"/practise/rounds/{round_id}"
    sound, needle = await asyncio.gather(phone.get(f"{here}/sound.wav"), phone.get(f"{here}/needle"))
    await phone.post(f"{here}/ready", json={"profile": "headphones"})
    return int(sound.headers["content-length"]) + int(needle.headers["content-length"])


async def _round_id(phone: httpx2.AsyncClient) -> str:
    async with phone.stream("GET", "/practise/round/events") as stream:
        async for line in stream.aiter_lines():
            if line.startswith("data:"):
                return str(json.loads(line[5:])["round"])
    raise AssertionError


async def _follow(phone: httpx2.AsyncClient, n: int, heard: dict[int, float], known: asyncio.Event) -> None:
    async with phone.stream("GET", "/practise/round/events") as stream:
        async for line in stream.aiter_lines():
            if line.startswith("data:") and json.loads(line[5:])["state"] == "started":
                heard.setdefault(n, time.perf_counter())
                if len(heard) == PHONES:
                    known.set()
