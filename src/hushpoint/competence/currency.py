"""How long a sign-off stays current: dates only, the clock is handed in.

Six months is what the research minimum standard asks (JACC 2019, Table 4; SEEN) and what the shipped rules carry.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date

from hushpoint.errors import BadInputError

DUE_WITHIN_DAYS = 28
"""A renewal shows on the due list this long before the day it lapses (our choice)."""


@dataclass(frozen=True, slots=True)
class Current:
    """Signed off, and current up to the day before `until`; `due` when renewal is near."""

    until: date
    due: bool
    reason: str
    signed: date
    months: int


@dataclass(frozen=True, slots=True)
class Lapsed:
    """Signed off, but no longer current from `since` on."""

    since: date
    reason: str
    signed: date
    months: int


@dataclass(frozen=True, slots=True)
class NeverSigned:
    """No sign-off up to the day asked about."""

    reason: str


Currency = Current | Lapsed | NeverSigned


def months_after(day: date, months: int) -> date:
    """Return the same day of the month `months` later, or the month's last day where there is none such."""
    if not 1 <= months <= 60:
        raise BadInputError(f"{months} months: 1 to 60 are allowed")
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))


def currency(signed: list[date], today: date, months: int = 6) -> Currency:
    """Return whether the latest sign-off on or before `today` is still current.

    `signed` holds the days on which the learner was signed off; attempts that were not are not among them.
    """
    past = [day for day in signed if day <= today]
    if not past:
        return NeverSigned("not signed off yet")
    latest = max(past)
    until = months_after(latest, months)
    if today >= until:
        return Lapsed(
            until, f"signed {day_words(latest)}, lapsed {day_words(until)}: a new test renews it", latest, months
        )
    due = (until - today).days <= DUE_WITHIN_DAYS
    told = f"signed {day_words(latest)}, current to {day_words(until)}" + (", renewal is due" if due else "")
    return Current(until, due, told, latest, months)


def day_words(day: date) -> str:
    """Return a day such as "3 Mar 2026"."""
    return f"{day.day} {calendar.month_abbr[day.month]} {day.year}"
