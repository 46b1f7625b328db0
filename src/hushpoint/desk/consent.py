"""Being measured by classmates: agreed to or not, arm by arm, in private; and a reading that surprises, in private too.

Nobody has to say why an arm, or both, are not to be measured, and no reason can be written down. An agreement ends by
itself. A reading that is out of the ordinary is the business of the person measured: they may note it for the lecturer,
under the course's own plan, which the lecturer writes. Neither is ever on a board or a wall.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal

from hushpoint.desk import classes
from hushpoint.desk.standing import standing
from hushpoint.errors import BadInputError
from hushpoint.ledger.records import Entry, Kind, Ledger
from hushpoint.practice.rotation import Arms

VALID_DAYS = 180
"""An agreement ends after so many days, about a term (design choice)."""
LONGEST_PLAN, LONGEST_NOTE = 4000, 500
LEGAL_MMHG = (0, 300)
USUAL_PLAN = "\n".join(
    (
        "Sit quietly for five minutes, then let your lecturer measure again, in private.",
        "One reading in a noisy class is no diagnosis, high or low. Take the numbers to a doctor if they come again.",
        "Nobody else in the class is told. It changes nothing about your marks.",
    )
)
"""What the page says until the lecturer writes the course's own plan (design choice)."""
Wish = Literal["talk", "measure_again", "nothing"]
WISHES: dict[Wish, str] = {
    "talk": "Please talk with me in private",
    "measure_again": "Please measure me again in private",
    "nothing": "Nothing more, I only want it noted",
}


@dataclass(frozen=True, slots=True)
class Agreement:
    """What a person last said: on which arms they may be measured, up to and including which day."""

    arms: Arms
    until: date


@dataclass(frozen=True, slots=True)
class Finding:
    """What a person noted about a reading of their own."""

    who: str
    at: str
    systolic_mmhg: int | None
    diastolic_mmhg: int | None
    wish: Wish
    note: str


def agree(ledger: Ledger, *, room: str, who: str, left: bool, right: bool, today: date) -> Agreement:
    """Store that a person may be measured on these arms by classmates, for VALID_DAYS; both False withdraws."""
    if not (left or right):
        withdraw(ledger, room=room, who=who)
        return Agreement("none", today)
    until = today + timedelta(days=VALID_DAYS)
    body = {"left": left, "right": right, "until": until.isoformat()}
    ledger.append(Entry(Kind.CONSENT_GIVEN, body, room=room, who=who))
    return Agreement(_arms(body), until)


def withdraw(ledger: Ledger, *, room: str, who: str) -> None:
    """Store that a person is not to be measured by classmates; no reason is asked or kept."""
    ledger.append(Entry(Kind.CONSENT_WITHDRAWN, {}, room=room, who=who))


def agreements(ledger: Ledger, room: str, today: date) -> dict[str, Agreement]:
    """Return what each person of a class last said; an agreement that has ended is not among them."""
    found: dict[str, Agreement] = {}
    for row in standing(ledger, [Kind.CONSENT_GIVEN, Kind.CONSENT_WITHDRAWN], room=room):
        if row.body is None:
            found.pop(row.who, None)
        elif row.kind is Kind.CONSENT_WITHDRAWN:
            found[row.who] = Agreement("none", date.max)
        else:
            found[row.who] = Agreement(_arms(row.body), date.fromisoformat(row.body["until"]))
    return {who: one for who, one in found.items() if one.until >= today}


def set_plan(ledger: Ledger, *, room: str, text: str) -> None:
    """Store the course's own plan for a reading out of the ordinary; raises BadInputError where empty or too long."""
    tidy = "\n".join(line.rstrip() for line in text.strip().splitlines())
    if not 1 <= len(tidy) <= LONGEST_PLAN:
        raise BadInputError(f"the plan: must have 1 to {LONGEST_PLAN} characters")
    info = classes.find_class(ledger, room)
    ledger.append(Entry(Kind.FINDING_PLAN_SET, {"text": tidy}, room=info.code))


def plan_text(ledger: Ledger, room: str) -> str:
    """Return the course's own plan, or the usual one."""
    texts = [row.body["text"] for row in standing(ledger, [Kind.FINDING_PLAN_SET], room=room) if row.body]
    return str(texts[-1]) if texts else USUAL_PLAN


def note_finding(ledger: Ledger, *, room: str, who: str, systolic: str, diastolic: str, wish: str, note: str) -> None:
    """Store what a person notes about a reading of their own; raises BadInputError, one line."""
    if wish not in WISHES:
        raise BadInputError(f"what you wish: must be one of {', '.join(WISHES)}")
    if len(note.strip()) > LONGEST_NOTE:
        raise BadInputError(f"the note: must have at most {LONGEST_NOTE} characters")
    body = {
        "systolic": _mmhg(systolic, "systolic"),
        "diastolic": _mmhg(diastolic, "diastolic"),
        "wish": wish,
        "note": note.strip(),
    }
    ledger.append(Entry(Kind.FINDING_NOTED, body, room=room, who=who))


def findings(ledger: Ledger, room: str) -> list[Finding]:
    """Return what people of a class noted, newest first; erased ones are left out."""
    rows = [row for row in standing(ledger, [Kind.FINDING_NOTED], room=room) if row.body is not None]
    return [_finding(row.who, row.at, row.body or {}) for row in reversed(rows)]


def _finding(who: str, at: str, body: Mapping[str, Any]) -> Finding:
    return Finding(who, at, body["systolic"], body["diastolic"], body["wish"], body["note"])


def _arms(body: Mapping[str, Any]) -> Arms:
    if body["left"] and body["right"]:
        return "both"
    return "left" if body["left"] else "right"


def _mmhg(text: str, what: str) -> int | None:
    tidy = text.strip()
    if not tidy:
        return None
    low, high = LEGAL_MMHG
    if not (tidy.isascii() and tidy.isdigit() and len(tidy) <= 3 and low <= int(tidy) <= high):
        raise BadInputError(f"{what}: must be a whole number from {low} to {high}, or empty")
    return int(tidy)
