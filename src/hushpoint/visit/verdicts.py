"""What a policy says to do: proceed, repeat, refer or call for help, each with when and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Proceed:
    """The policy lets today's plan go ahead; no word about the client's health."""

    word: ClassVar[str] = "proceed"
    when: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Repeat:
    """Measure again, when and how; nothing is decided yet."""

    word: ClassVar[str] = "repeat"
    when: str
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Refer:
    """Ask somebody qualified first: how soon, and whom."""

    word: ClassVar[str] = "refer"
    when: str
    reasons: tuple[str, ...]
    to: str


@dataclass(frozen=True, slots=True)
class Emergency:
    """Stop and call the emergency service."""

    word: ClassVar[str] = "emergency"
    when: str
    reasons: tuple[str, ...]


Action = Proceed | Repeat | Refer | Emergency
GRAVITY = ("proceed", "repeat", "refer", "emergency")
BEFORE_EXERCISE = "before any exercise"


@dataclass(frozen=True, slots=True)
class Finding:
    """One reason for a verdict. `within_days` is the clock of a referral, None for "before any exercise"."""

    verdict: str
    reason: str
    when: str = ""
    to: str = ""
    within_days: int | None = None


def days_in_words(days: int) -> str:
    """Return a clock such as "today" or "within 2 months"."""
    if days == 0:
        return "today"
    for length, one in ((365, "within 1 year"), (30, "within 1 month"), (7, "within 1 week")):
        if days == length:
            return one
    if days % 365 == 0:
        return f"within {days // 365} years"
    if days % 30 == 0:
        return f"within {days // 30} months"
    if days % 7 == 0:
        return f"within {days // 7} weeks"
    return "within 1 day" if days == 1 else f"within {days} days"


def decide(findings: Sequence[Finding]) -> Action:
    """Return the gravest verdict with every reason of at least that gravity first, then the others, each in order.

    Of several clocks the shortest is taken (JNC 7: where the two ends point to different clocks, the shorter).
    """
    gravest = max(findings, key=lambda finding: GRAVITY.index(finding.verdict)).verdict
    deciding = [finding for finding in findings if finding.verdict == gravest]
    others = [finding for finding in findings if finding.verdict != gravest]
    reasons = tuple(dict.fromkeys(finding.reason for finding in (*deciding, *others)))
    if gravest == "emergency":
        return Emergency("now", reasons)
    if gravest == "refer":
        clocks = [finding.within_days for finding in deciding if finding.within_days is not None]
        told = [days_in_words(min(clocks))] if clocks else []
        if len(clocks) < len(deciding):
            told.append(BEFORE_EXERCISE)
        to = " and ".join(dict.fromkeys(finding.to for finding in deciding))
        return Refer(", and ".join(told), reasons, to)
    return (Repeat if gravest == "repeat" else Proceed)(deciding[0].when, reasons)
