"""No act is forgotten: each POST of the app is in docs/undo.md: undone, done again, corrected, final or not kept."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from starlette.routing import Route

from hushpoint.desk.undo import ACTS
from hushpoint.ledger.records import Kind
from hushpoint.web.app import routes

ROOT = Path(__file__).resolve().parents[2]
WEB = ROOT / "src" / "hushpoint" / "web"
ROW = re.compile(r"^\| [^|]+ \| `(/[^`]*)` \| (.+?) \| (.+?) \| (.+?) \|$", re.MULTILINE)
ROWS = ROW.findall((ROOT / "docs" / "undo.md").read_text(encoding="utf-8"))
WAYS = ("Undo", "Again", "Correct", "Final", "Nothing kept")
UNDO, FINAL = re.compile(r"\*\*Undo\*\* `([a-z_.]+)`"), re.compile(r'\*\*Final\*\* "(.+)"')
TOLD = "\n".join(
    " ".join(path.read_text(encoding="utf-8").split())
    for path in (*sorted((WEB / "templates").glob("*.html")), WEB / "static" / "paper_page.js")
)
"""What the pages say."""


def posts() -> set[str]:
    """The address of every POST."""
    return {one.path for one in routes() if isinstance(one, Route) and "POST" in (one.methods or ())}


def test_each_act_stands_once_in_the_survey() -> None:
    """A new POST without a line of its own fails here, and so does a line without a POST."""
    assert sorted(address for address, *_ in ROWS) == sorted(posts())


@pytest.mark.parametrize(("address", "way"), [(address, way) for address, way, *_ in ROWS])
def test_each_act_is_put_right_in_a_known_way(address: str, way: str) -> None:
    """One of the five ways; Undo names a kind that can be taken back, Final the words that a page says before."""
    word = re.match(r"\*\*(.+?)\*\*", way)
    assert word is not None
    assert word.group(1) in WAYS
    if word.group(1) == "Undo":
        found = UNDO.fullmatch(way)
        assert found is not None
        assert Kind(found.group(1)) in ACTS
    if word.group(1) == "Final":
        said = FINAL.fullmatch(way)
        assert said is not None
        assert said.group(1) in TOLD


def test_every_kind_that_can_be_taken_back_is_offered_somewhere() -> None:
    """A kind in ACTS that no act of the survey stores would be an Undo that nobody finds."""
    named = {Kind(kind) for _, way, *_ in ROWS for kind in UNDO.findall(way)}
    assert named == set(ACTS)
