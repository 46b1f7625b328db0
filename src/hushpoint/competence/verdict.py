"""What the evidence shows of a learner: small frozen verdicts, each with its reasons. A lecturer decides and signs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Competent:
    """The evidence meets every part of the rule; `reasons` say by what."""

    reasons: tuple[str, ...]
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NotYet:
    """The evidence does not meet the rule yet; `missing` says what would."""

    reasons: tuple[str, ...]
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TooFew:
    """There is too little evidence to say; `missing` says how much more is needed."""

    reasons: tuple[str, ...]
    missing: tuple[str, ...]


Verdict = Competent | NotYet | TooFew

_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def counted(n: int, one: str, many: str | None = None) -> str:
    """Return "one reading", "eleven readings", "13 readings"."""
    number = _WORDS[n] if n < len(_WORDS) else str(n)
    return f"{number} {one if n == 1 else many or one + 's'}"
