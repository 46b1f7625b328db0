"""When each gauge is to be checked: out of use, after a knock, never checked, overdue, due, in date."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import IntEnum

from hushpoint.competence.currency import months_after
from hushpoint.desk.kit import Item, register
from hushpoint.errors import BadInputError
from hushpoint.ledger.records import Ledger

INTERVAL_MONTHS = 6
"""An aneroid every 6 months (a research manual, facts 4.1, SEEN); 12 months elsewhere (FROM MEMORY)."""
INTERVAL_SOURCE = "an aneroid every 6 months, and at once when its pointer is off zero (a research manual, SEEN)"
LEGAL_MONTHS = (1, 24)
DUE_WITHIN_DAYS = 28
"""A check shows as due this long before its day (design choice)."""
_SETTING = "kit_check_months"


class State(IntEnum):
    """How a gauge stands, the most urgent first."""

    OUT = 0
    KNOCKED = 1
    NEVER = 2
    OVERDUE = 3
    SOON = 4
    GOOD = 5

    @property
    def words(self) -> str:
        """The state in a word or two."""
        return ("out of use", "after a knock", "never checked", "overdue", "due soon", "in date")[self]


@dataclass(frozen=True, slots=True)
class Due:
    """A gauge, how it stands, the day its next check is due (None where it is out of use), and why in words."""

    item: Item
    state: State
    on: date | None
    why: str


def interval_months(ledger: Ledger) -> int:
    """Return the institution's interval between checks [months], the shipped one where none was set."""
    return int(ledger.setting(_SETTING) or INTERVAL_MONTHS)


def set_interval(ledger: Ledger, typed: str) -> None:
    """Set the institution's interval from text as typed; raises BadInputError with the legal range."""
    low, high = LEGAL_MONTHS
    text = typed.strip()
    if not (text.isascii() and text.isdigit() and len(text) <= 3 and low <= int(text) <= high):
        raise BadInputError(f"months between checks: must be a whole number from {low} to {high}")
    ledger.set_setting(_SETTING, str(int(text)))


def due_of(gauge: Item, months: int, now: datetime) -> Due:
    """Say how a gauge stands at `now` (aware); days are the laptop's own."""
    today, last = now.astimezone().date(), gauge.last_check
    if last is not None and not last.passed:
        return Due(
            gauge, State.OUT, None, f"outside its limits on {told(last.at)}: mend or replace it, then check anew"
        )
    if gauge.knocked:
        return Due(
            gauge, State.KNOCKED, today, f"knocked on {told(datetime.fromisoformat(gauge.knocked_at))}: check now"
        )
    if last is None:
        return Due(gauge, State.NEVER, today, "no check is on record: check it before it is used")
    on = months_after(last.at.astimezone().date(), months)
    since = f"last checked on {told(last.at)}"
    if today >= on:
        return Due(gauge, State.OVERDUE, on, f"{since}; was due on {told_day(on)}")
    state = State.SOON if (on - today).days <= DUE_WITHIN_DAYS else State.GOOD
    return Due(gauge, state, on, f"{since}; due on {told_day(on)}")


def due_list(ledger: Ledger, now: datetime) -> list[Due]:
    """Return every gauge that is not retired, the most urgent first."""
    return in_order(register(ledger).values(), interval_months(ledger), now)


def in_order(items: Iterable[Item], months: int, now: datetime) -> list[Due]:
    """Return how each gauge among the items stands, the most urgent first."""
    found = [due_of(one, months, now) for one in items if one.type == "gauge" and not one.retired]
    return sorted(found, key=lambda one: (one.state, one.on or date.min))


def told(at: datetime) -> str:
    """Return a moment as its day on this laptop, such as 1 May 2026."""
    return told_day(at.astimezone().date())


def told_day(day: date) -> str:
    """Return a day in words."""
    return f"{day.day} {day:%b %Y}"
