"""A tour of five minutes over the invented college: where each stop is, and what there is to see."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hushpoint.desk import classes, kit
from hushpoint.ledger.records import Kind, Ledger, Row


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop: what stands above the page, and how its address is found in the ledger ("" where it is not there)."""

    title: str
    words: str
    address: Callable[[Ledger], str]


def address_of(ledger: Ledger, number: int) -> str:
    """Return the address of stop `number`, 1 for the first; the start page where what it shows is no longer there."""
    return STOPS[number - 1].address(ledger) or "/"


def _class(ledger: Ledger) -> str:
    return next((f"/class/{one.code}" for one in classes.all_classes(ledger)), "")


def _in_class(part: str) -> Callable[[Ledger], str]:
    def address(ledger: Ledger) -> str:
        found = _class(ledger)
        return found and f"{found}/{part}"

    return address


def _first(ledger: Ledger, kind: Kind) -> Row | None:
    return next((row for row in ledger.rows(kinds=[kind]) if row.body is not None), None)


def _release(ledger: Ledger) -> str:
    row = _first(ledger, Kind.MEASUREMENT_JUDGED)
    return f"/class/{row.room}/learner/{row.who}/release/{row.ref}" if row else ""


def _evidence(ledger: Ledger) -> str:
    row = _first(ledger, Kind.PAIR_TURNED) or _first(ledger, Kind.LEARNER_JOINED)
    return f"/evidence/{row.room}/{row.who}" if row and row.who else "/evidence"


def _touched(ledger: Ledger) -> str:
    gauges = [one for one in kit.register(ledger).values() if one.type == "gauge" and one.checks]
    last = max(gauges, key=lambda one: one.checks[-1].seq, default=None)
    return f"/kit/recall/{last.id}" if last else "/kit"


def _visit(ledger: Ledger) -> str:
    row = next((row for row in reversed([*ledger.rows(kinds=[Kind.VISIT_CLOSED])]) if row.body is not None), None)
    return f"/client/{row.room}/record" if row else "/client"


STOPS: tuple[Stop, ...] = (
    Stop(
        "A class in its third week",
        "One line a learner; whoever was furthest off stands first. Nothing of it is on the projector.",
        _class,
    ),
    Stop(
        "What the room sees", "The code to join and how many have read. No names, nobody's pressure.", _in_class("wall")
    ),
    Stop(
        "One measurement with a known answer",
        "This arm's truth is known, so that ear, hand and pen are judged apart. Of a real classmate nobody knows it.",
        _release,
    ),
    Stop(
        "What the sounds are",
        "Play a phase, slowly if you like. Then the silent gap: what a fixed target misses on the same person.",
        _in_class("lesson"),
    ),
    Stop(
        "Whose error is it?",
        "All pairs of the class at once: each observer's own bias, each gauge's, and what the readings cannot tell.",
        _in_class("whose"),
    ),
    Stop(
        "What a sign-off rests on",
        "The rule, how often it passes whom, each piece of evidence and what is missing. You decide and sign.",
        _evidence,
    ),
    Stop(
        "A gauge that reads 6 low",
        "It was found this morning. Each reading it touched, what it would have been, and who has to be told.",
        _touched,
    ),
    Stop(
        "A client's visit",
        "Three readings, the value, its category, the limit that decided, and the letter. No diagnosis.",
        _visit,
    ),
    Stop(
        "Your turn",
        "Practise alone on an arm, open a class of your own, or leave the tour and look around.",
        lambda _: "/",
    ),
)
"""Nine stops of about half a minute."""
