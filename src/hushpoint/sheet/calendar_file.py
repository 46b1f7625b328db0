"""Days to remember as a calendar file (iCalendar, RFC 5545) that any diary takes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta


@dataclass(frozen=True, slots=True)
class Day:
    """One whole day: `uid` stays the same when the day moves, so that a diary moves it too."""

    uid: str
    on: date
    title: str
    why: str


def calendar_file(days: Iterable[Day], *, made_at: datetime) -> bytes:
    """Return the calendar; `made_at` (aware) stamps it, so that the same days give the same bytes."""
    from icalendar import Calendar, Event

    made = Calendar()
    made.add("prodid", "-//Hushpoint//kit//EN")
    made.add("version", "2.0")
    for day in days:
        event = Event()
        event.add("uid", f"{day.uid}@hushpoint")
        event.add("dtstamp", made_at)
        event.add("dtstart", day.on)
        event.add("dtend", day.on + timedelta(days=1))
        event.add("summary", day.title)
        event.add("description", day.why)
        event.add("transp", "TRANSPARENT")
        made.add_component(event)
    written: bytes = made.to_ical()
    return written
