"""Who reads: a language with its catalogue and habits, and the unit that stands beside mmHg."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any

from babel import Locale, negotiate_locale
from babel.dates import format_date
from babel.messages.pofile import read_po
from markupsafe import Markup, escape

from hushpoint.words.sentences import LEAST_WORDS, Sentences

ENGLISH = "en"
LANGUAGES: Mapping[str, str] = {ENGLISH: "English", "de": "Deutsch"}
"""Each language by its code (BCP 47), named in itself; each but English has a catalogue in this folder."""
UNITS: Mapping[str, str] = {"mmHg": "mmHg", "kPa": "mmHg and kPa"}
DOMAIN = "hushpoint"
HERE = Path(__file__).parent
_GAP = re.compile(r"\{(\w+)\}|<(\w+)>")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November"),
    "December",
)
_NAMED = "|".join(f"{name[:3]}(?:{name[3:]})?" if len(name) > 3 else name for name in _MONTHS)
_ISO_DATE = re.compile(r"(?<![\w.:/-])(\d{4})-(\d\d)-(\d\d)(?![\w:/-]|\.\w)")
_DATE = re.compile(rf"(?<![\w.:/-])(?:(\d{{1,2}}) )?\b({_NAMED}) (\d{{4}})(?![\w/-]|[.:]\w)")
_BETWEEN = re.compile(r"([+\u2212-]?[\d.]+) to ([+\u2212-]?[\d.]+)")
_DECIMAL = re.compile(r"(?<![\d.:\w-])([+\u2212-]?\d+)\.(\d+)(?![\d.\w-]|:\d)")


def catalogue(language: str) -> Path:
    """Return where a language's catalogue is kept."""
    return HERE / language / "LC_MESSAGES" / f"{DOMAIN}.po"


def chosen(wanted: str, accepted: str) -> str:
    """Return the language to speak: the one chosen by hand, else the best that a browser asks for, else English."""
    if wanted in LANGUAGES:
        return wanted
    asked: list[tuple[float, int, str]] = []
    for place, part in enumerate(accepted[:400].split(",")):
        tag, _, weight = part.partition(";")
        found = re.fullmatch(r"\s*q=([01](?:\.\d{1,3})?)\s*", weight) if weight else None
        if re.fullmatch(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{1,8})*", tag.strip()) and (found or not weight):
            asked.append((-float(found[1]) if found else -1.0, place, tag.strip()))
    best = [tag for weight, _, tag in sorted(asked) if weight < 0]
    return negotiate_locale(best, list(LANGUAGES), sep="-") or ENGLISH


class Reader:
    """Says texts, sentences and numbers in one language."""

    def __init__(self, language: str, messages: Mapping[str, str], of_scripts: Mapping[str, str]) -> None:
        """Take a language's code, its texts by their English ones, and those that scripts write; English has none."""
        self.language = language
        self.messages = messages
        self.of_scripts = of_scripts
        self._english = language == ENGLISH
        self._sentences = Sentences(messages)
        self._locale = Locale.parse(language)
        self._comma = str(self._locale.number_symbols["latn"]["decimal"])

    def say(self, text: str) -> str:
        """Return a text in this language, as it is where it is in no catalogue."""
        return self.messages.get(text) or text

    def markup(self, text: str, /, **values: object) -> Markup:
        """Return a template's text with its values; the text is ours and is HTML, values are escaped."""
        held = {name: escape(value) for name, value in values.items()}

        def value(gap: re.Match[str]) -> str:
            name = gap[1] or gap[2]
            return str(held.get(name, gap[0]))

        return Markup(_GAP.sub(value, self.say(text)))  # noqa: S704 - of our own catalogue

    def attribute(self, text: str, /, **values: object) -> Markup:
        """Return the same for an attribute between double quotes."""
        return Markup(self.markup(text, **values).replace('"', "&#34;"))  # noqa: S704 - of our own catalogue

    def ours(self, text: str) -> str:
        """Return a text that is known to be ours, however short, in this language."""
        if self._english or not text:
            return text
        return self._shown(self._sentences.value(text), text)

    @property
    def on_pictures(self) -> Callable[[str], str]:
        """What says a picture's texts; English ones are drawn as they are."""
        return str if self._english else self.ours

    def shown(self, values: Any) -> Any:
        """Return what a sheet shows, as JSON has it, with each of its values as a page would show it."""
        if self._english:
            return values
        if isinstance(values, Mapping):
            return {name: self.shown(value) for name, value in values.items()}
        if isinstance(values, list | tuple):
            return [self.shown(value) for value in values]
        return self.value(values)

    def value(self, value: object) -> object:
        """Return what a page shows for a value: sentences of ours and decimals in this language, all else as it is."""
        if self._english or isinstance(value, Markup):
            return value
        if isinstance(value, float):
            return str(value).replace(".", self._comma)
        return self.sentence(value) if isinstance(value, str) and value else value

    def sentence(self, text: str) -> str:
        """Return a sentence that a Python room said, in this language; anything else as it is."""
        if self._english:
            return text
        said = self._sentences.found(text) if len(text.split()) >= LEAST_WORDS else None
        return self._shown(said, text)

    def _shown(self, said: str | None, text: str) -> str:
        if said is None:
            between = _BETWEEN.fullmatch(text)
            said = f"{between[1]} {self.say('to')} {between[2]}" if between else text
        return self.dates(self.decimals(said))

    def dates(self, text: str) -> str:
        """Return a text with its days as this language writes them: 2026-11-25 and 25 Nov 2026 are 25.11.2026."""
        if self._english:
            return text
        return _DATE.sub(self._named_date, _ISO_DATE.sub(self._iso_date, text))

    def _iso_date(self, found: re.Match[str]) -> str:
        return self._day(found[0], int(found[1]), int(found[2]), int(found[3]))

    def _named_date(self, found: re.Match[str]) -> str:
        month = next(place for place, name in enumerate(_MONTHS, 1) if name.startswith(found[2]))
        if found[1] is None:
            return f"{self._locale.months['stand-alone']['wide'][month]} {found[3]}"
        return self._day(found[0], int(found[3]), month, int(found[1]))

    def _day(self, text: str, year: int, month: int, day: int) -> str:
        try:
            return format_date(date(year, month, day), "medium", locale=self._locale)
        except ValueError:  # no day of the calendar: somebody else's number
            return text

    def decimals(self, text: str) -> str:
        """Return a text with its decimal points as this language writes them; dates, clocks and names stay."""
        return text if self._english else _DECIMAL.sub(rf"\1{self._comma}\2", text)


@lru_cache(maxsize=len(LANGUAGES))
def reader(language: str) -> Reader:
    """Return the reader of a language, its catalogue read once."""
    if language == ENGLISH:
        return Reader(ENGLISH, {}, {})
    with catalogue(language).open("rb") as file:
        known = [one for one in read_po(file, locale=language) if one.id and one.string]
    scripts = [one for one in known if any(not path.endswith(".html") for path, _ in one.locations)]
    return Reader(
        language, {str(one.id): str(one.string) for one in known}, {str(o.id): str(o.string) for o in scripts}
    )
