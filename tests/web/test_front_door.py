"""The front door: one question, a stranger taken on to where they wanted to go, the places in one order."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from hushpoint.ledger.memory import MemoryLedger
from hushpoint.web.context import PLACES, places_of, safe_next
from hushpoint.wiring import Settings, build

PASSWORD = "ten letters or more"
HTML = {"accept": "text/html"}


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[TestClient]:
    """The laptop's browser before anybody came in, at an app whose password is set."""
    app = build(Settings(data_dir=tmp_path), MemoryLedger())
    with TestClient(app, headers=HTML, client=("127.0.0.1", 40000)) as browser:
        browser.post("/class/first-run", data={"password": PASSWORD})
        browser.post("/leave")
        yield browser


@pytest.mark.parametrize("path", ["/client", "/kit/due", "/recordings", "/evidence"])
def test_a_stranger_comes_in_and_goes_on_to_where_they_wanted_to_go(laptop: TestClient, path: str) -> None:
    """From the door and from the page itself, through the password, to that page."""
    assert f'href="/class?next={path}"' in laptop.get("/").text
    refused = laptop.get(path)
    assert refused.status_code == 401
    link = re.search(r'href="(/class\?next=[^"]+)"', refused.text)
    assert link is not None
    asked = laptop.get(link[1])
    assert f'name="next" value="{path}"' in asked.text
    wrong = laptop.post("/class/sign-in", data={"password": "a wrong guess", "next": path})
    assert f'name="next" value="{path}"' in wrong.text
    right = laptop.post("/class/sign-in", data={"password": PASSWORD, "next": path}, follow_redirects=False)
    assert (right.status_code, right.headers["location"]) == (303, path)
    assert laptop.get(link[1], follow_redirects=False).headers["location"] == path


@pytest.mark.parametrize(
    "text",
    ["", "//elsewhere.test", "https://elsewhere.test", "/\\elsewhere.test", "\\/elsewhere", "/a\tb", "/ä", "/" * 999],
)
def test_nobody_is_led_to_another_site(laptop: TestClient, text: str) -> None:
    """Whatever stands in `next`, only a page of this site is gone on to."""
    assert safe_next(text, "/class") == "/class"
    answer = laptop.post("/class/sign-in", data={"password": PASSWORD, "next": text}, follow_redirects=False)
    assert answer.headers["location"] == "/class"


def test_the_first_run_goes_on_too(tmp_path: Path) -> None:
    """Somebody who came for the kit sets the password and is at the kit."""
    app = build(Settings(data_dir=tmp_path), MemoryLedger())
    browser = TestClient(app, headers=HTML, client=("127.0.0.1", 40000))
    assert 'name="next" value="/kit/due"' in browser.get("/class?next=/kit/due").text
    answer = browser.post("/class/first-run", data={"password": PASSWORD, "next": "/kit/due"}, follow_redirects=False)
    assert answer.headers["location"] == "/kit/due"


@pytest.mark.parametrize("role", ["", "lecturer", "assessor", "practitioner", "auditor"])
@pytest.mark.parametrize("learner", [False, True])
def test_places_stand_in_one_order_and_at_most_two_are_near(role: str, learner: bool) -> None:
    """The same order for everybody; one place is marked as the one that is open."""
    found = places_of("/kit/due", role, learner=learner)
    order = [address for address, _, _ in PLACES]
    assert [one["address"] for one in found] == [at for at in order if at in {one["address"] for one in found}]
    assert sum(one["near"] for one in found) == (2 if role or learner else 0)
    assert {one["address"] for one in found if one["current"]} <= {"/kit"}
    assert all(one["current"] == "true" for one in found if one["address"] == "/kit")


def test_a_wrong_code_is_typed_again_at_once(tmp_path: Path) -> None:
    """The refusal holds the field with what was typed; no other page that is not there has it."""
    stranger = TestClient(build(Settings(data_dir=tmp_path), MemoryLedger()), headers={"accept": "text/html"})
    refused = stranger.get("/join?code=QZ%22X")
    assert refused.status_code == 404
    assert 'value="QZ&#34;X"' in refused.text
    assert 'action="/join"' not in stranger.get("/nothing-here").text
