"""PostgreSQL restarted in mid-class: 503 in one line, the app goes on by itself, nothing acknowledged is lost."""

from __future__ import annotations

import threading
import time
from pathlib import Path

import httpx2
import pytest

from hushpoint.ledger.records import Kind
from hushpoint.ledger.store import open_ledger
from phones import Phone, acknowledged_by, check_nothing_lost
from postgres_server import OwnServer
from serving import start, stop

pytestmark = [pytest.mark.postgres, pytest.mark.hard]
PHONES, RESTARTS = 6, 10
GONE_S = 1.0


def _more_than(phones: list[Phone], number: int) -> None:
    """Wait until the phones have so many more acknowledged."""
    wanted, latest = acknowledged_by(phones) + number, time.monotonic() + 60
    while acknowledged_by(phones) < wanted:
        assert time.monotonic() < latest, "the app does not go on"
        assert [fault for phone in phones for fault in phone.faults] == []
        time.sleep(0.05)


@pytest.mark.parametrize("mode", ["fast", "immediate"])
def test_the_database_is_restarted_in_mid_class(tmp_path: Path, own_postgres: OwnServer, mode: str) -> None:
    """Ten restarts while six phones post: the same server process answers before, between and after."""
    site = start(tmp_path, "--database", own_postgres.url)
    said: list[str] = []
    log = threading.Thread(target=lambda: said.extend(site.process.stdout or ()))  # a full pipe would stop the server
    log.start()
    phones = [Phone(f"phone-{place}") for place in range(PHONES)]
    at_work = [threading.Thread(target=phone.measure, args=(site.here,)) for phone in phones]
    try:
        for one in at_work:
            one.start()
        for _ in range(RESTARTS):
            _more_than(phones, 3)
            own_postgres.stop(mode)
            health = httpx2.get(f"{site.here}/healthz", timeout=30)
            assert health.status_code == httpx2.codes.SERVICE_UNAVAILABLE
            assert len(health.text.splitlines()) == 1
            time.sleep(GONE_S)
            own_postgres.start()
        _more_than(phones, 3)
        for phone in phones:
            phone.stopped = True
        for one in at_work:
            one.join()
        assert site.process.poll() is None
        _all_graded(tmp_path, own_postgres.url)
    finally:
        for phone in phones:
            phone.stopped = True
        stop(site)
        log.join()
    assert not [line for line in said if "Traceback" in line or "ungraded" in line]
    told = {line for phone in phones for line in phone.trouble}
    assert told == {"The store cannot be used at the moment. Nothing was half written; try again."}
    kept = check_nothing_lost(tmp_path, own_postgres.url, phones, at_least=RESTARTS)
    asked_again = sum(sum(phone.trouble.values()) for phone in phones)
    print(
        f"{RESTARTS} restarts ({mode}), {kept} acknowledged readings, none lost, {asked_again} times asked to try again"
    )


def _all_graded(data: Path, url: str) -> None:
    """Wait until every filed measurement is judged, by the running server alone."""
    ledger, latest = open_ledger(data, url), time.monotonic() + 120
    try:
        while True:
            filed = {row.ref for row in ledger.rows(kinds=[Kind.MEASUREMENT_FILED])}
            judged = {row.ref for row in ledger.rows(kinds=[Kind.MEASUREMENT_JUDGED])}
            if filed == judged:
                return
            assert time.monotonic() < latest, f"{len(filed - judged)} stay without judgement"
            time.sleep(0.5)
    finally:
        ledger.close()
