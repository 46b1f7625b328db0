"""Learners' phones that measure against a real server through its faults, and what must be stored afterwards."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import httpx2

from bench_logs import bench_log
from hushpoint.ledger.records import Kind
from hushpoint.ledger.store import open_ledger

LOG = bench_log()
OK = frozenset({200, 201})


@dataclass
class Phone:
    """A learner's phone: keeps a finished measurement until it is acknowledged, whichever server it finds.

    `trouble` counts the lines of answers that told it to come again later; `faults` anything else that is no success.
    """

    name: str
    cookies: dict[str, str] = field(default_factory=dict)
    outbox: list[str] = field(default_factory=list)
    acknowledged: list[str] = field(default_factory=list)
    begun: int = 0
    faults: list[str] = field(default_factory=list)
    trouble: Counter[str] = field(default_factory=Counter)
    stopped: bool = False

    def measure(self, address: str) -> None:
        """Send what waits, then measure again and again, until the server is gone or the phone is stopped."""
        try:
            with httpx2.Client(base_url=address, timeout=40, cookies=self.cookies) as link:
                if not self.cookies and self._post(link, "/join/alone", {}) is not None:
                    self.cookies = {one.name: str(one.value) for one in link.cookies.jar}
                while not self.faults and not self.stopped:
                    self._go_on(link)
        except httpx2.TransportError:
            return

    def _go_on(self, link: httpx2.Client) -> None:
        if not self.outbox:
            asked = {"ref": f"{self.name}-{self.begun}", "guided": False, "again": None}
            begun = self._post(link, "/practise/measurements", asked)
            choices = {row["id"]: row["choices"][0]["id"] for row in begun["rows"]} if begun else {}
            path = f"/practise/measurements/{begun['measurement']}" if begun else ""
            if not begun or self._post(link, f"{path}/set-up", {"choices": choices}) is None:
                return
            self.begun += 1
            self.outbox.append(begun["measurement"])
        if self._post(link, f"/practise/measurements/{self.outbox[0]}/log", LOG) is not None:
            self.acknowledged.append(self.outbox.pop(0))

    def _post(self, link: httpx2.Client, path: str, sent: object) -> dict[str, object] | None:
        """Return what was answered, None where it is to be tried again."""
        answer = link.post(path, json=sent)
        if answer.status_code in OK:
            return dict(answer.json())
        if answer.is_redirect:
            return {}
        line = answer.text.strip()
        if answer.status_code == httpx2.codes.SERVICE_UNAVAILABLE and len(line.splitlines()) == 1:
            self.trouble[answer.json()["error"]] += 1
            time.sleep(0.1)
        else:
            self.faults.append(f"{self.name}: {answer.status_code} {line[:200]}")
        return None


def acknowledged_by(phones: Sequence[Phone]) -> int:
    """How many readings were acknowledged to all of them."""
    return sum(len(phone.acknowledged) for phone in phones)


def check_nothing_lost(data: Path, url: str | None, phones: Sequence[Phone], *, at_least: int) -> int:
    """Check what is stored against what was acknowledged; return how many were.

    Every acknowledged measurement is stored, none twice; besides them only what a phone still holds, its answer lost.
    """
    ledger = open_ledger(data, url)
    stored = [str(row.ref) for row in ledger.rows(kinds=[Kind.MEASUREMENT_FILED])]
    found = ledger.verify()
    ledger.close()
    acknowledged = [one for phone in phones for one in phone.acknowledged]
    waiting = [one for phone in phones for one in phone.outbox]
    assert len(acknowledged) == len(set(acknowledged)) > at_least
    assert len(stored) == len(set(stored))
    assert set(acknowledged) <= set(stored) <= {*acknowledged, *waiting}
    assert found.first_altered is None
    return len(acknowledged)
