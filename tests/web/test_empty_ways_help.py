"""Each way of the door on an empty ledger: its page says what to do first, and holds the way to do it."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hushpoint.ledger.memory import MemoryLedger
from hushpoint.wiring import Settings, build
from permission_rows.house import PASSWORD


@pytest.fixture
def newcomer(tmp_path: Path) -> TestClient:
    """A lecturer who has set the first password and done nothing else."""
    laptop = TestClient(build(Settings(data_dir=tmp_path), MemoryLedger()), client=("127.0.0.1", 1))
    laptop.post("/class/first-run", data={"password": PASSWORD})
    return laptop


@pytest.mark.parametrize(
    ("way", "says", "leads_to"),
    [
        ("/class", "Open one below", 'action="/class/open"'),
        ("/client", "Begin one above", 'action="/client/begin"'),
        ("/kit/due", "No gauge is in the register yet", 'name="to" value="check"'),
        ("/recordings", "hushpoint render --out", 'action="/recordings"'),
        ("/evidence", "It takes three steps", '<a href="/class">'),
    ],
)
def test_an_empty_way_says_what_comes_first(newcomer: TestClient, way: str, says: str, leads_to: str) -> None:
    """Help stands where the rows would, with the form or link that brings the first one."""
    page = newcomer.get(way).text
    assert says in page
    assert leads_to in page


def test_practice_alone_begins_with_help(newcomer: TestClient) -> None:
    """Who came in alone is told how long the first reading takes, and where to hear a sound."""
    page = newcomer.post("/join/alone").text
    assert "No readings yet. The first one starts with a set-up" in page
    assert 'href="/practise/check"' in page


def test_the_first_gauge_goes_straight_to_its_check(newcomer: TestClient) -> None:
    """Added from the empty list, the next page is its check; from the register it is not."""
    gauge = {"type": "gauge", "label": "G1"}
    assert newcomer.post("/kit/add", data=gauge | {"to": "check"}).url.path.endswith("/check")
    assert newcomer.post("/kit/add", data=gauge | {"label": "G2"}).url.path == "/kit"


@pytest.mark.parametrize(("host", "warned"), [("localhost:8000", True), ("classroom.test", False)])
def test_a_wall_that_no_phone_can_reach_says_so(newcomer: TestClient, host: str, warned: bool) -> None:
    """An address of this machine alone is no address for a class: wall and board name the command."""
    here = {"host": host}
    board = newcomer.post("/class/open", data={"name": "A"}, follow_redirects=False).headers["location"]
    for path in (board, f"{board}/wall"):
        page = newcomer.get(path, headers=here)
        assert page.status_code == 200
        assert ("hushpoint serve --class" in page.text) is warned
