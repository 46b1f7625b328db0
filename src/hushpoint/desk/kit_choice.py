"""Which gauge, cuff and stethoscope a reading is taken with: what there is to choose, and what was chosen.

A page that takes a reading draws `kit_pick.html` from `choices`, and reads the three fields `gauge`, `cuff` and
`stethoscope` back through `chosen`, whose ids go into the reading as they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from hushpoint.desk.kit import TYPES, Item, Type, item, register
from hushpoint.desk.kit_due import State, due_of, interval_months
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.guideline import ArmRange
from hushpoint.ledger.records import Ledger


@dataclass(frozen=True, slots=True)
class Choice:
    """One item to choose: what to know of it in a few words, and whether it may be used."""

    item: Item
    note: str
    usable: bool
    caution: bool


@dataclass(frozen=True, slots=True)
class Choices:
    """What there is, by type, the last used first; `picked` holds the ids in use on this device."""

    by_type: Mapping[Type, tuple[Choice, ...]]
    picked: Mapping[str, str]

    def __bool__(self) -> bool:
        return any(self.by_type.values())

    def label(self, kind: Type) -> str:
        """The label of what is picked, "" where nothing is."""
        return next((one.item.label for one in self.by_type[kind] if one.item.id == self.picked.get(kind)), "")


def choices(ledger: Ledger, last: Mapping[str, str], now: datetime) -> Choices:
    """Return what there is to choose; `last` holds the ids last used on this device by type.

    What is out of use is listed too, last and not to be picked: whoever holds it sees why.
    """
    months = interval_months(ledger)
    every = [_choice(one, months, now) for one in register(ledger).values()]
    by_type = {
        kind: tuple(
            sorted(
                (one for one in every if one.item.type == kind),
                key=lambda one: (not one.usable, one.item.id != last.get(one.item.type)),
            )
        )
        for kind in TYPES
    }
    usable = {one.item.id for one in every if one.usable}
    return Choices(by_type, {kind: last[kind] for kind in TYPES if last.get(kind) in usable})


def chosen(ledger: Ledger, fields: Mapping[str, str]) -> dict[Type, str]:
    """Return the ids under `gauge`, `cuff` and `stethoscope`, "" where nobody said.

    Raises BadInputError, one line, for an id of another type, one that is not in the register, or kit out of use.
    """
    found: dict[Type, str] = {}
    for kind in TYPES:
        text = fields.get(kind, "").strip()
        found[kind] = in_use(ledger, text, kind).id if text else ""
    return found


def in_use(ledger: Ledger, item_id: str, kind: Type | None = None) -> Item:
    """Return an item that may be used for a reading; raises BadInputError where it may not."""
    try:
        one = item(ledger, item_id)
    except NotFoundError:
        raise BadInputError(f"{kind or 'kit'}: no such item in the register; pick one from the list") from None
    if kind is not None and one.type != kind:
        raise BadInputError(f"{kind}: {one.label} is a {one.type}; pick a {kind}")
    if one.retired:
        raise BadInputError(f"{one.type} {one.label}: is retired; take another and tell your lecturer")
    if one.out_of_use:
        raise BadInputError(
            f"{one.type} {one.label}: was outside its limits when last checked and is out of use; take another and "
            "tell your lecturer"
        )
    return one


def _choice(one: Item, months: int, now: datetime) -> Choice:
    if one.type == "gauge":
        due = due_of(one, months, now)
        caution = due.state is not State.GOOD
        return Choice(one, "" if not caution else due.state.words, due.state is not State.OUT, caution)
    if one.type == "cuff":
        arms = one.arms
        told = f"arm {arms.from_cm} to {arms.to_cm} cm" if isinstance(arms, ArmRange) else "covers no arm"
        latex = {"yes": ", latex", "unknown": ", latex not known"}.get(one.latex, "")
        return Choice(one, f"{told}{latex}", usable=True, caution=bool(one.label_against_tape))
    return Choice(one, f"{one.head} head", usable=True, caution=False)
