"""Every page of the furnished school, drawn in German: no word is left that only the English texts have."""

from __future__ import annotations

import csv
import html
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from hushpoint.words.reader import catalogue
from school import TABLE, School, furnished

DATA = Path(__file__).parents[2] / "src" / "hushpoint" / "guideline" / "data"
ORDER = ("learner", "lecturer", "assessor", "practitioner", "auditor", "stranger")
WORD = re.compile(r"(?<!\w)[^\W\d_]{2,}(?!\w)")
NO_TEXT = re.compile(r"\{\w+\}|<[^>]*>")
SPOKEN = ("title", "aria-label", "placeholder", "alt", "data-label", "label")
AS_TYPED = ("script", "style", "code", "pre", "textarea")
OF_BOTH = {
    "one",
    "two",
    "and",
    "the",
    "of",
    "to",
    "is",
    "not",
    "with",
    "at",
    "from",
    "by",
    "for",
    "on",
    "or",
    "no",
    "your",
}
"""Words of German texts that quote a file's English column names; they tell English all the same."""
TYPED = re.compile(r"Name of \w+|Week 8|more pairs")
"""What the furnished school's people typed."""
QUOTED = re.compile(
    r"FROM MEMORY|CHOICE|SEEN|DERIVED|waits from memory|Spalten .*|Entweder eine Zeile je Paar.*|.*keine Spalte at .*"
    r"|.*competent oder not_yet.*|O'Brien/Beaumont 1991.*|NHANES 2003-2014.*"
)
"""Marks of sources and the names of columns and codes in files, which are English in every language."""


class Texts(HTMLParser):
    """Gathers what a person reads or hears of a page."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self._inside = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take in the attributes that are read aloud."""
        self._inside += tag in AS_TYPED
        self.found += [value for name, value in attrs if name in SPOKEN and value]

    def handle_endtag(self, tag: str) -> None:
        """Come out of what is data."""
        self._inside -= tag in AS_TYPED

    def handle_data(self, data: str) -> None:
        """Take in text."""
        if not self._inside and data.strip():
            self.found.append(" ".join(data.split()))


def english_alone() -> set[str]:
    """The words of English texts that no German text has."""
    english: set[str] = set()
    german: set[str] = set()
    with catalogue("de").open("rb") as file:
        for one in read_po(file, locale="de"):
            english |= {word.lower() for word in WORD.findall(NO_TEXT.sub(" ", str(one.id)))}
            german |= {word.lower() for word in WORD.findall(NO_TEXT.sub(" ", str(one.string)))}
    return (english - german) | OF_BOTH


def sources() -> list[str]:
    """The sources of shipped figures, English in every language, the longest first."""
    found: set[str] = set()
    for path in DATA.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            found |= {row["source"] for row in csv.DictReader(file)}
    found |= {re.sub(r"(\d)\.(\d)", r"\1,\2", one) for one in found}  # a decimal on a German page
    return sorted(found, key=len, reverse=True)


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[School]:
    """Every area has what its pages need."""
    with furnished(tmp_path_factory.mktemp("german")) as made:
        yield made


def pages(school: School) -> Iterator[tuple[str, str]]:
    """Yield each page but the manual's with its German text, as the first who may see it."""
    for (method, route), asked in TABLE.items():
        last = route.rpartition("/")[2]
        if method != "GET" or route.startswith(("/manual", "/static", "/words")) or last == "events" or "." in last:
            continue
        may = [role for role in ORDER if asked.statuses()[role] == 200]
        if not may or "sheets" in route:
            continue
        answer = school.device(may[0]).get(
            route.format(**school.words), headers={"accept": "text/html", "accept-language": "de"}
        )
        if answer.headers.get("content-type", "").startswith("text/html"):
            yield route, answer.text


def test_no_english_word_is_left_on_a_german_page(school: School) -> None:
    """Short values, halves of sentences and labels too: each is said in German or is what somebody typed."""
    english, quoted = english_alone(), sources()
    left: list[str] = []
    seen = 0
    for route, page in pages(school):
        seen += 1
        reader = Texts()
        reader.feed(page)
        for text in reader.found:
            bare = html.unescape(text)
            for source in quoted:
                bare = bare.replace(source, "")
            words = [word for word in WORD.findall(TYPED.sub("", QUOTED.sub("", bare))) if word.lower() in english]
            if words:
                left.append(f"{route}: {text} {words[:4]}")
    assert seen > 60
    assert left == [], "\n".join(left)
