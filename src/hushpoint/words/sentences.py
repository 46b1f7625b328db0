"""Sentences of ours found again: the Python rooms speak English, and what they said is looked up by its shape.

A verdict's reason is made once, in English, and kept in the journal so; whoever opens it later may read another
language. So a sentence is not carried about with its parts: it is held against the catalogue's sentences with gaps
("the first two differ by {gap} mmHg") and said again with the same parts. Only whole sentences of at least three words
are taken for ours, so that a name or a code that somebody typed stays as typed.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache

LEAST_WORDS = 3
"""Shorter texts are said again only where a page asks for it by name."""
_GAP = re.compile(r"\{(\w+)\}")
_HALVES, _ENDS, _JOINTS = re.compile(r"(;\s+)"), re.compile(r"(?<=[.;!?:])(\s+)"), re.compile(r"(, and |, | and | or )")
"""Where one of a row of sentences ends; where any does; where parts of one are joined."""
_BRACKET = re.compile(r"([^()]+) \((.+)\)", re.DOTALL)
"""A sentence with something in brackets behind it."""
_FULL_STOPS = re.compile(r"(?<=[.!?])\s+(?=[A-Z])")
_RANGE = re.compile(r"([+\u2212-]?[\d.]+) to ([+\u2212-]?[\d.]+)")
_COUNTED = re.compile(r"([\d.]+) (.+)")
_PLAIN = re.compile(r"(?<![^\W_])[a-z]{2,}(?![^\W_])")
"""A word that is no name: it has no capital."""
_Way = tuple[str, int]
"""A text as it is said, and how many joints its gaps have swallowed."""
_MOST_WAYS = 8
"""How many sentences of a text's shape are tried, so that a long note costs no more than so many."""
_LETTER = re.compile(r"[^\W\d_]")
_TRIED_EVERYWHERE = 2
"""A sentence of so many gaps is tried at every place of a text; of more, a gap ends at the first place it can."""
_LEAST_FIXED = 5
"""A sentence with gaps needs so many letters of its own to be told from others."""


class Sentences:
    """The sentences of one catalogue, with and without gaps."""

    def __init__(self, messages: Mapping[str, str]) -> None:
        self._messages = messages
        shaped = [one for one in messages if _GAP.search(one) and "<" not in one and _fixed(one) >= _LEAST_FIXED]
        shaped.sort(key=_fixed, reverse=True)  # the one with most words of its own first
        self._shaped = [(_longest(one), _shape(one), one) for one in shaped]
        self.found = lru_cache(maxsize=8192)(self._found)

    def _found(self, text: str) -> str | None:
        """Return a sentence in this language, None where it is none of ours: of several ways the one that says most."""
        if text in self._messages and (said := self._messages[text]):
            return said
        best = _fullest(text, self._ways(text))
        return None if best is None else best[0]

    def _ways(self, text: str) -> Iterator[_Way | None]:
        each = self._each_in_full(text)
        if each is not None:
            yield each, 0
            return
        yield self._whole(text)
        for said in (
            self._bracketed(text),
            self._after_colon(text),
            self._in_pieces(text, _HALVES),
            self._in_pieces(text, _ENDS),
            self._in_pieces(text, _JOINTS),
        ):
            yield None if said is None else (said, 0)

    def _whole(self, text: str) -> _Way | None:
        """Return a text that is one sentence of ours, with or without a stop behind it."""
        ways: list[_Way | None] = []
        for end in ".;":  # first without its stop: a gap at the end would take it into the middle of the sentence
            if text.endswith(end) and (bare := self._one(text[:-1])) is not None:
                ways.append((bare[0] + end, bare[1]))
        return _fullest(text, [*ways, self._one(text)])

    def _each_in_full(self, text: str) -> str | None:
        """Return several full sentences, each said for itself; None where they are not several, or not all ours."""
        pieces = _FULL_STOPS.split(text)
        if len(pieces) < 2:
            return None
        ways = [_fullest(one, (self._whole(one), *self._stopped(one))) for one in pieces]
        said = [way[0] for way in ways if way is not None]
        return " ".join(said) if len(said) == len(ways) else None

    def _stopped(self, text: str) -> Iterator[_Way]:
        """Yield a full sentence as what stands before its stop is said in two parts: by a colon, by brackets."""
        for said in (self._after_colon(text[:-1]), self._bracketed(text[:-1])) if text.endswith(".") else ():
            if said is not None:
                yield f"{said}.", 0

    def _bracketed(self, text: str) -> str | None:
        """Return a sentence with what stands in brackets behind it, each said for itself."""
        found = _BRACKET.fullmatch(text)
        said = [self.found(one) for one in found.groups()] if found else []
        if found is None or said == [None, None]:
            return None
        return "{} ({})".format(*(again or one for again, one in zip(said, found.groups(), strict=True)))

    def _after_colon(self, text: str) -> str | None:
        """Return a value or a word of ours, a colon, and the sentence behind it."""
        head, _, rest = text.partition(": ")
        if not rest:
            return None
        first = self.found(head) if _LETTER.search(head) else head
        said = None if first is None else self.found(rest)
        return None if said is None else f"{first}: {said}"

    def _in_pieces(self, text: str, between: re.Pattern[str]) -> str | None:
        """Return a row of sentences or parts; one of fewer words than a sentence only where all of them are ours."""
        pieces = between.split(text)
        if len(pieces) < 2 or not all(pieces[::2]):
            return None
        said = [self.value(one) for one in pieces[::2]]
        if not all(one is not None for one in said):
            if between is _JOINTS:
                return None
            said = [
                one if len(piece.split()) >= LEAST_WORDS else None for one, piece in zip(said, pieces[::2], strict=True)
            ]
        if not any(one is not None for one in said):
            return None
        joints = [self._joint(one) for one in pieces[1::2]]
        parts = [one if again is None else again for one, again in zip(pieces[::2], said, strict=True)]
        return "".join(part + joint for part, joint in zip(parts, [*joints, ""], strict=True))

    def _joint(self, text: str) -> str:
        word = text.strip(" ,")
        return text.replace(word, self._messages.get(word) or word) if word else text

    def _one(self, text: str) -> _Way | None:
        ways = [self._exact(text)]
        lower = text[:1].lower() + text[1:]
        if lower != text and (way := self._exact(lower)) is not None:
            ways.append((way[0][:1].upper() + way[0][1:], way[1]))
        return _fullest(text, ways)

    def _exact(self, text: str) -> _Way | None:
        if text in self._messages:
            return self._messages[text], 0
        return _fullest(text, itertools.islice(self._shapes_of(text), _MOST_WAYS))

    def _shapes_of(self, text: str) -> Iterator[_Way]:
        """Yield a text as each sentence with gaps says it that has its shape, the one with most words first."""
        for fixed, shape, message in self._shaped:
            if fixed in text and (found := shape.fullmatch(text)):
                values = {name: self._part(value) for name, value in found.groupdict().items()}
                swallowed = sum(
                    len(_JOINTS.findall(value)) + len(_HALVES.findall(value)) for value in found.groupdict().values()
                )
                yield _filled(self._messages[message], values), swallowed

    def value(self, text: str) -> str | None:
        """Return a value of ours in this language, a number and a word too ("6 low"); None where it is none of ours."""
        said = self._part(text)
        return None if said == text and text not in self._messages else said

    def _part(self, text: str) -> str:
        said = self.found(text) if text else None
        if said is None and (counted := _COUNTED.fullmatch(text)) and counted[2] in self._messages:
            return f"{counted[1]} {self._messages[counted[2]]}"
        if said is None and (between := _RANGE.fullmatch(text)):
            return f"{between[1]} {self._messages.get('to', 'to')} {between[2]}"
        return text if said is None else said


def _fullest(text: str, ways: Iterable[_Way | None]) -> _Way | None:
    """Return the way of saying a text that leaves fewest of its words as they were, the first of equals; None of none.

    Of equals the one goes first whose gaps have swallowed fewest joints: a row of parts is no single part.
    """
    best, least = None, (0, 0)
    for way in ways:
        if way is None:
            continue
        cost = (_left(text, way[0]), way[1])
        if best is None or cost < least:
            best, least = way, cost
        if least == (0, 0):  # no other way can say more
            break
    return best


def _left(text: str, said: str) -> int:
    """Count the words that a text has in common with how it is said: those that were not translated."""
    own = set(_PLAIN.findall(text))
    return sum(word in own for word in _PLAIN.findall(said))


def _filled(text: str, values: Mapping[str, str]) -> str:
    return _GAP.sub(lambda gap: values.get(gap[1], gap[0]), text)


def _fixed(message: str) -> int:
    return len(_LETTER.findall(_GAP.sub("", message)))


def _longest(message: str) -> str:
    return max(_GAP.split(message)[::2], key=len)


def _shape(message: str) -> re.Pattern[str]:
    """Return the pattern of a message; a gap ends where the text behind it is found first.

    Nothing is tried twice (each gap and what follows it is an atomic group), so that a long note which somebody typed
    cannot keep the server busy: with two gaps at most that costs nothing, and there every place is tried.
    """
    parts = _GAP.split(message)
    once = len(parts) > 2 * _TRIED_EVERYWHERE + 1
    seen = set[str]()
    out, gaps = re.escape(parts[0]), ""
    for place, (name, fixed) in enumerate(zip(parts[1::2], parts[2::2], strict=True), 1):
        gaps += f"(?P={name})" if name in seen else f"(?P<{name}>.*?)"
        seen.add(name)
        if fixed:
            last = 2 * place + 1 == len(parts)
            out += f"(?>{gaps}{re.escape(fixed)})" if once and not last else gaps + re.escape(fixed)
            gaps = ""
    return re.compile(out + gaps, re.DOTALL)
