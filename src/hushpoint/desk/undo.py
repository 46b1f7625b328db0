"""Taking back: an act done by mistake is undone by a further entry, once, by the same role, while nothing rests on it.

The entry act.undone names the rows it takes back. They stay in the journal, and `desk.standing` passes them over; where
the opposite act has a kind of its own (a learner put back on the list), that one is stored beside it. What can be taken
back is in `ACTS`; docs/undo.md says so for every act of the app.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from hushpoint.desk import kit
from hushpoint.desk.access import ASSESSOR, LECTURER, PRACTITIONER
from hushpoint.desk.classes import off_or_on
from hushpoint.desk.standing import standing, taken_back
from hushpoint.errors import AlreadyDoneError, NotFoundError
from hushpoint.ledger.records import AlreadyStoredError, Entry, Kind, Ledger, Row

WITHIN_HOURS = 24
"""So long an act can be taken back (design choice: the same teaching day, and the morning after)."""
MOST_SHOWN = 30
LOOKED_AT = 20_000
"""The list of what was done looks through so many of the newest rows (design choice)."""
LEARNER = "learner"
_TURN = "undo"
_OF_ITEM = (Kind.KIT_CHANGED, Kind.KIT_RETIRED, Kind.KIT_WIPED, Kind.KIT_KNOCKED, Kind.KIT_CHECKED, Kind.KIT_TIMED)

Rests = Callable[[Ledger, Row, Mapping[str, Any]], str]
"""Says in one line what rests on an act since then and what to do instead; "" where nothing does."""


@dataclass(frozen=True, slots=True)
class Asker:
    """Who asks: a role; of a learner the id; and how the kit's log calls them."""

    role: str
    who: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True)
class Offer:
    """An act that can be taken back by whoever asks: its row, when (UTC, ISO 8601 with Z), and what was done."""

    row: int
    at: str
    words: str
    gone: bool = False
    """Whether it was taken back already."""


def _nothing(_ledger: Ledger, _row: Row, _body: Mapping[str, Any]) -> str:
    return ""


def _no_entries(_rows: Sequence[Row]) -> list[Entry]:
    return []


@dataclass(frozen=True, slots=True)
class Act:
    """How acts of a kind are taken back.

    `roles`: who may, LEARNER meaning the learner whose row it is. `along`: kinds that are stored with it in one go and
    go with it. `opposite`: entries stored beside act.undone. `own_log`: also by whoever the kit's log names.
    """

    words: Callable[[Ledger, Row, Mapping[str, Any]], str]
    rests: Rests = _nothing
    roles: tuple[str, ...] = (LECTURER,)
    along: tuple[Kind, ...] = ()
    opposite: Callable[[Sequence[Row]], list[Entry]] = _no_entries
    own_log: bool = False


def newest(ledger: Ledger, kind: Kind, *, room: str = "", who: str | None = None, **about: str) -> int:
    """Return the row of the newest act of a kind in a room, about what the body names; 0 where there is none.

    Of several that were stored in one go it is the first.
    """
    first: Row | None = None
    last: Row | None = None
    found = 0
    for row in ledger.rows(kinds=[kind, *ACTS[kind].along], room=room, who=who):
        if last is None or not _in_one_go(last, row):
            first = row if row.kind is kind else None
        last = row
        if first is row and all((row.body or {}).get(name) == value for name, value in about.items()):
            found = row.seq
    return found


def offered(ledger: Ledger, seq: int, asker: Asker, now: datetime) -> Offer | None:
    """Return an act that this asker may take back, or took back; None for anything else.

    What rests on it is looked at when it is taken back.
    """
    row = _row(ledger, seq)
    return _offer(ledger, row, gone=seq in taken_back(ledger)) if row is not None and _may(row, asker, now) else None


def lately(ledger: Ledger, asker: Asker, now: datetime) -> list[Offer]:
    """Return what this asker may take back, the newest first, the newest MOST_SHOWN."""
    gone = taken_back(ledger)
    found = [
        row
        for row in ledger.rows(kinds=ACTS, after=max(0, ledger.last() - LOOKED_AT))
        if row.seq not in gone and _may(row, asker, now)
    ]
    firsts: list[Row] = []
    last: Row | None = None
    for row in found:
        if last is None or row.kind not in ACTS[firsts[-1].kind].along or not _in_one_go(last, row):
            firsts.append(row)
        last = row
    return [_offer(ledger, row) for row in firsts[::-1][:MOST_SHOWN]]


def take_back(ledger: Ledger, seq: int, asker: Asker, now: datetime) -> Row:
    """Take an act back, once however often it is asked, and return its row.

    Raises NotFoundError where there is no such act of this asker's, AlreadyDoneError, one line, where something rests
    on it.
    """
    with ledger.turn(_TURN):
        row = _row(ledger, seq)
        if row is None or not _may(row, asker, now):
            raise NotFoundError(
                f"Nothing of yours to take back here: acts can be taken back for {WITHIN_HOURS} hours by who did them."
            )
        act, body = ACTS[row.kind], row.body or {}
        if seq in taken_back(ledger):
            return row
        if why := act.rests(ledger, row, body):
            raise AlreadyDoneError(why)
        rows = _together(ledger.rows(kinds=[row.kind, *act.along], after=seq - 1, room=row.room), row)
        who = row.who if {one.who for one in rows} == {row.who} else ""
        undone = {"rows": [one.seq for one in rows], "by": asker.role}
        with suppress(AlreadyStoredError):  # by two at once
            ledger.append(Entry(Kind.ACT_UNDONE, undone, room=row.room, who=who, ref=str(seq)), *act.opposite(rows))
        return row


def _offer(ledger: Ledger, row: Row, *, gone: bool = False) -> Offer:
    return Offer(row.seq, row.at, ACTS[row.kind].words(ledger, row, row.body or {}), gone)


def _row(ledger: Ledger, seq: int) -> Row | None:
    if seq < 1:
        return None
    row = next(ledger.rows(after=seq - 1, kinds=ACTS, limit=1), None)
    return row if row is not None and row.seq == seq and row.body is not None else None


def _may(row: Row, asker: Asker, now: datetime) -> bool:
    act, body = ACTS[row.kind], row.body
    if body is None or "undo" in body or now - datetime.fromisoformat(row.at) > timedelta(hours=WITHIN_HOURS):
        return False
    if act.own_log and body["by"] == asker.by:
        return True
    if asker.role == LEARNER:
        return LEARNER in act.roles and bool(asker.who) and row.who == asker.who
    return asker.role in act.roles


def _together(rows: Iterable[Row], first: Row) -> list[Row]:
    """Return a row with those stored in one go with it."""
    along = ACTS[first.kind].along
    found = [first]
    for row in rows:
        if row.kind in along and _in_one_go(found[-1], row):
            found.append(row)
    return found


def _in_one_go(before: Row, row: Row) -> bool:
    return row.seq == before.seq + 1 and (row.at, row.room) == (before.at, before.room)


def _mentions(value: Any, wanted: frozenset[str]) -> bool:
    """Return whether something stored names one of these ids."""
    if isinstance(value, Mapping):
        return any(_mentions(inner, wanted) for inner in value.values())
    if isinstance(value, list):
        return any(_mentions(inner, wanted) for inner in value)
    return value in wanted if isinstance(value, str) else False


def _since(
    ledger: Ledger, row: Row, *kinds: Kind, ids: Iterable[str] = (), room: str | None = None, who: str | None = None
) -> bool:
    """Return whether something of these kinds that stands was stored since, where ids are given about one of them."""
    wanted = frozenset(ids)
    return any(
        not wanted or _mentions(one.body or {}, wanted)
        for one in standing(ledger, kinds, room=room, who=who, after=row.seq)
    )


def _label(ledger: Ledger, body: Mapping[str, Any]) -> str:
    found = kit.register(ledger, retired=True).get(body["item"])
    return found.label if found else str(body.get("label", body["item"]))


def _item_used(ledger: Ledger, row: Row, body: Mapping[str, Any]) -> str:
    used = (*_OF_ITEM, Kind.READING_TAKEN, Kind.PAIR_OPENED, Kind.VISIT_TOLD)
    if _since(ledger, row, *used, ids=[body["item"]]):
        return "It was used, checked or changed since: retire it on its page instead."
    return ""


def _item_described(ledger: Ledger, row: Row, body: Mapping[str, Any]) -> str:
    if _since(ledger, row, Kind.KIT_CHANGED, ids=[body["item"]], room=""):
        return "It was described anew since: describe it as it should be on its page."
    labels = [
        str(one.body["label"])
        for one in standing(ledger, [Kind.KIT_ADDED, Kind.KIT_CHANGED], room="")
        if one.body is not None and one.body["item"] == body["item"] and one.seq < row.seq
    ]
    return _label_taken(ledger, body["item"], str(body["type"]), labels[-1])


def _item_on_shelf(ledger: Ledger, row: Row, body: Mapping[str, Any]) -> str:
    if _since(ledger, row, Kind.KIT_RETIRED, ids=[body["item"]], room=""):
        return "It was retired or brought back again since: look at its page."
    if not body["retired"]:
        return ""
    retired = kit.item(ledger, body["item"])
    return _label_taken(ledger, retired.id, retired.type, retired.label)


def _label_taken(ledger: Ledger, item: str, kind: str, label: str) -> str:
    for one in kit.register(ledger).values():
        if one.id != item and (one.type, one.label.casefold()) == (kind, label.casefold()):
            return f"Another {one.type} has the label {one.label} since: give that one another label first."
    return ""


def _check_recalled(ledger: Ledger, row: Row, body: Mapping[str, Any]) -> str:
    for one in ledger.rows(kinds=[Kind.RECALL_OPENED], after=row.seq):
        if _mentions(one.body or {}, frozenset([body["item"]])):
            return "A recall was decided on this check since: store a further check with the right figures instead."
    return ""


def _logged_again(kind: Kind) -> Rests:
    def rests(ledger: Ledger, row: Row, body: Mapping[str, Any]) -> str:
        again = _since(ledger, row, kind, ids=[body["item"]], room="")
        return "It was logged again since: take back the newer one first." if again else ""

    return rests


def _policy_used(ledger: Ledger, row: Row, body: Mapping[str, Any]) -> str:
    if _since(ledger, row, Kind.VISIT_BEGUN, ids=[body["id"]]):
        return "A visit was begun under it since: adopt the right file under the same id, later visits take that one."
    return ""


def _rules_used(ledger: Ledger, row: Row, body: Mapping[str, Any]) -> str:
    if _since(ledger, row, Kind.DECISION_SIGNED, Kind.PAPER_SET, ids=body["ids"]):
        return "A decision or a paper rests on them since: adopt the right file under the same ids instead."
    return ""


def _class_used(ledger: Ledger, row: Row, _body: Mapping[str, Any]) -> str:
    others = (one for one in ledger.heads(after=row.seq, room=row.room) if one.kind not in _OF_CLASS)
    if next(others, None) is None:
        return ""
    return "Somebody or something is in this class since: change its name or its policy, or close it, on its page."


_OF_CLASS = frozenset({Kind.CLASS_CHANGED, Kind.CLASS_CLOSED, Kind.ACT_UNDONE})


def _again(line: str, *kinds: Kind, by_who: bool = False) -> Rests:
    """Refuse where an act of these kinds came later in the same room, where asked about the same person."""

    def rests(ledger: Ledger, row: Row, _body: Mapping[str, Any]) -> str:
        return line if _since(ledger, row, *kinds, room=row.room, who=row.who if by_who else None) else ""

    return rests


def _about(line: str, name: str, *kinds: Kind) -> Rests:
    """Refuse where an act of these kinds about the same thing came later in the same room."""

    def rests(ledger: Ledger, row: Row, body: Mapping[str, Any]) -> str:
        wanted = row.ref if name == "ref" else body[name]
        return line if _since(ledger, row, *kinds, ids=[str(wanted)], room=row.room) else ""

    return rests


def _names_joined(ledger: Ledger, row: Row, _body: Mapping[str, Any]) -> str:
    rows = _together(ledger.rows(kinds=[Kind.ROSTER_ADDED], after=row.seq - 1, room=row.room), row)
    listed = {one.who for one in rows}
    if any(one.who in listed for one in ledger.rows(kinds=[Kind.LEARNER_JOINED], room=row.room, after=row.seq)):
        return "Somebody of these has joined since: take the others off the list one by one, each on their own page."
    return ""


def _off_the_list(rows: Sequence[Row]) -> list[Entry]:
    return [off_or_on(row.room, row.who, off=True) for row in rows if row.body is not None]


def _on_or_off_again(rows: Sequence[Row]) -> list[Entry]:
    return [off_or_on(row.room, row.who, off=not (row.body or {})["off"]) for row in rows]


def _pairs_with(ledger: Ledger, row: Row) -> list[Row]:
    """Return a pair's opening with all that was stored in one go with it: of paper and files the numbers too."""
    return _together(ledger.rows(kinds=[row.kind, *ACTS[row.kind].along], after=row.seq - 1, room=row.room), row)


def _pair_words(ledger: Ledger, row: Row, _body: Mapping[str, Any]) -> str:
    stored = sum(one.kind is Kind.PAIR_TURNED for one in _pairs_with(ledger, row))
    return f"pairs stored from paper or a file: {stored}" if stored else "a pair is opened"


def _pair_rests(ledger: Ledger, row: Row, _body: Mapping[str, Any]) -> str:
    rows = _pairs_with(ledger, row)
    ids = [one.body["pair"] for one in rows if one.body is not None and one.kind is Kind.PAIR_OPENED]
    if _since(ledger, rows[-1], Kind.PAIR_TURNED, Kind.PAIR_CANCELLED, ids=ids, room=row.room):
        return "Both numbers are in or it was set aside: set it aside, with a reason, on its page."
    people = {one.who for one in rows if one.kind is Kind.PAIR_TURNED}
    if any(one.who in people for one in ledger.rows(kinds=[Kind.DECISION_SIGNED], room=row.room, after=row.seq)):
        return "A decision rests on these since: set each aside, with a reason, on its page."
    return ""


def _pair_aside(rows: Sequence[Row]) -> list[Entry]:
    return [
        Entry(
            Kind.PAIR_CANCELLED,
            {"pair": one.body["pair"], "cancelled": True, "why": "stored by mistake"},
            room=one.room,
            who=one.who,
        )
        for one in rows
        if one.kind is Kind.PAIR_OPENED and one.body is not None
    ]


def _pair_back(rows: Sequence[Row]) -> list[Entry]:
    body = dict(rows[0].body or {})
    body |= {"cancelled": not body["cancelled"], "why": "" if body["cancelled"] else "taken in by mistake"}
    return [Entry(Kind.PAIR_CANCELLED, body, room=rows[0].room, who=rows[0].who)]


def _round_cancelled(rows: Sequence[Row]) -> list[Entry]:
    body = {"round": rows[0].ref, "how": "cancelled"}
    return [Entry(Kind.ROUND_CLOSED, body, room=rows[0].room, ref=rows[0].ref)]


_PAPER_WORDS = {
    "withdrawn": "a paper is withdrawn",
    "offered": "a paper is offered again",
    "results_open": "the results of a paper are open",
    "results_covered": "the results of a paper are covered",
}
_ROTATION = (Kind.ROTATION_PLANNED, Kind.ROTATION_CHANGED)
_CONSENT = (Kind.CONSENT_GIVEN, Kind.CONSENT_WITHDRAWN)
_SAID_AGAIN = "You answered again since: choose on the page what holds now."
_ROTATION_MOVED = "The rotation went on since: change it on its page, or plan another."
_STAFF_OF_CLASS = (LECTURER, ASSESSOR)
_STAFF_OF_CLIENTS = (LECTURER, PRACTITIONER)


def _listed_words(ledger: Ledger, row: Row, _body: Mapping[str, Any]) -> str:
    rows = _together(ledger.rows(kinds=[Kind.ROSTER_ADDED], after=row.seq - 1, room=row.room), row)
    return f"names added to the list: {len(rows)}"


def _client(ledger: Ledger, row: Row) -> str:
    codes = [one.body["code"] for one in ledger.rows(kinds=[Kind.VISIT_BEGUN], room=row.room) if one.body is not None]
    return codes[0] if codes else "?"


ACTS: Mapping[Kind, Act] = {
    Kind.CLASS_OPENED: Act(lambda _l, row, _b: f"class {row.room} is opened", _class_used),
    Kind.CLASS_CHANGED: Act(
        lambda _l, row, _b: f"class {row.room} has another name or policy",
        _again("The class was changed again since: put it right on its page.", Kind.CLASS_CHANGED),
    ),
    Kind.CLASS_CLOSED: Act(
        lambda _l, row, b: (
            f"class {row.room} is closed to newcomers" if b["closed"] else f"class {row.room} is open again"
        ),
        _again("The class was closed or opened again since: look at its page.", Kind.CLASS_CLOSED),
    ),
    Kind.ROSTER_ADDED: Act(_listed_words, _names_joined, along=(Kind.ROSTER_ADDED,), opposite=_off_the_list),
    Kind.ROSTER_CHANGED: Act(
        lambda _l, _r, b: "a learner is taken off the list" if b["off"] else "a learner is back on the list",
        _again(
            "This learner came in or was moved again since: look at the class list.",
            Kind.ROSTER_CHANGED,
            Kind.LEARNER_JOINED,
            by_who=True,
        ),
        opposite=_on_or_off_again,
    ),
    Kind.KIT_ADDED: Act(lambda ledger, _r, b: f"{_label(ledger, b)} is added to the kit", _item_used),
    Kind.KIT_CHANGED: Act(lambda ledger, _r, b: f"{_label(ledger, b)} is described anew", _item_described),
    Kind.KIT_RETIRED: Act(
        lambda ledger, _r, b: (
            f"{_label(ledger, b)} is retired" if b["retired"] else f"{_label(ledger, b)} is back on the shelf"
        ),
        _item_on_shelf,
    ),
    Kind.KIT_WIPED: Act(
        lambda ledger, _r, b: f"{_label(ledger, b)} is logged as wiped", _logged_again(Kind.KIT_WIPED), own_log=True
    ),
    Kind.KIT_KNOCKED: Act(
        lambda ledger, _r, b: f"{_label(ledger, b)} is logged as knocked",
        _logged_again(Kind.KIT_KNOCKED),
        own_log=True,
    ),
    Kind.KIT_CHECKED: Act(lambda ledger, _r, b: f"a check of {_label(ledger, b)} is stored", _check_recalled),
    Kind.KIT_TIMED: Act(lambda ledger, _r, b: f"a timed test of {_label(ledger, b)} is stored"),
    Kind.POLICY_ADOPTED: Act(
        lambda _l, _r, b: f"policy {b['id']} is adopted", _policy_used, roles=_STAFF_OF_CLIENTS
    ),
    Kind.RULE_ADOPTED: Act(lambda _l, _r, b: f"pass rules are adopted: {', '.join(b['ids'])}", _rules_used),
    Kind.UNIT_ADOPTED: Act(lambda _l, _r, b: f"unit {b['id']} is adopted"),
    Kind.PAPER_SET: Act(
        lambda _l, _r, b: f"paper {b['title']} is set",
        _about("Somebody has begun it or it was changed since: withdraw it on its page.", "ref",
               Kind.PAPER_BEGUN, Kind.PAPER_EXPORTED, Kind.PAPER_CHANGED),
    ),
    Kind.PAPER_CHANGED: Act(
        lambda _l, _r, b: _PAPER_WORDS[b["to"]],
        _about("The paper was changed again since: look at its page.", "paper", Kind.PAPER_CHANGED),
    ),
    Kind.ROUND_OPENED: Act(
        lambda _l, _r, _b: "a round is opened",
        _about("The round was played or is over: cancel it, or open another, on its page.", "ref",
               Kind.ROUND_STARTED, Kind.ROUND_CLOSED),
        opposite=_round_cancelled,
    ),
    Kind.PAIR_OPENED: Act(
        _pair_words,
        _pair_rests,
        roles=_STAFF_OF_CLASS,
        along=(Kind.PAIR_OPENED, Kind.PAIR_SEALED, Kind.READING_TAKEN, Kind.PAIR_TURNED),
        opposite=_pair_aside,
    ),
    Kind.PAIR_CANCELLED: Act(
        lambda _l, _r, b: "a pair is set aside" if b["cancelled"] else "a pair is taken in again",
        _about("The pair was set aside or taken in again since: look at its page.", "pair", Kind.PAIR_CANCELLED),
        roles=_STAFF_OF_CLASS,
        opposite=_pair_back,
    ),
    Kind.TECHNIQUE_BEGUN: Act(
        lambda _l, _r, _b: "a technique sheet is begun",
        _about("A sheet is in for it since: take that one back first.", "performance", Kind.TECHNIQUE_MARKED),
        roles=_STAFF_OF_CLASS,
    ),
    Kind.TECHNIQUE_MARKED: Act(
        lambda _l, _r, b: f"the technique sheet of {b['assessor']} is in",
        _again("A decision about this learner was signed since: hand in a further sheet, the newer one counts.",
               Kind.DECISION_SIGNED, by_who=True),
        roles=_STAFF_OF_CLASS,
    ),
    Kind.ROTATION_PLANNED: Act(lambda _l, _r, _b: "a rotation is planned", _again(_ROTATION_MOVED, *_ROTATION)),
    Kind.ROTATION_CHANGED: Act(lambda _l, _r, _b: "the rotation is changed", _again(_ROTATION_MOVED, *_ROTATION)),
    Kind.FINDING_PLAN_SET: Act(
        lambda _l, _r, _b: "the course's plan is kept",
        _again("The plan was written anew since: write it as it should be.", Kind.FINDING_PLAN_SET),
    ),
    Kind.CONSENT_GIVEN: Act(
        lambda _l, _r, _b: "your answer about being measured is kept",
        _again(_SAID_AGAIN, *_CONSENT, by_who=True),
        roles=(LEARNER,),
    ),
    Kind.CONSENT_WITHDRAWN: Act(
        lambda _l, _r, _b: "your answer about being measured is taken back",
        _again(_SAID_AGAIN, *_CONSENT, by_who=True),
        roles=(LEARNER,),
    ),
    Kind.FINDING_NOTED: Act(lambda _l, _r, _b: "your note for the lecturer is kept", roles=(LEARNER,)),
    Kind.VISIT_BEGUN: Act(
        lambda _l, _r, b: f"a visit of {b['code']} is begun",
        _again("Something is written in this visit since: close it, or erase the client's data, on its page.",
               Kind.VISIT_TOLD, Kind.READING_TAKEN, Kind.VISIT_CLOSED),
        roles=_STAFF_OF_CLIENTS,
    ),
    Kind.VISIT_CLOSED: Act(
        lambda ledger, row, _b: f"the visit of {_client(ledger, row)} is closed",
        _again("A sheet was made or a reply came since: begin another visit, this one stands as it was told.",
               Kind.LETTER_MADE, Kind.REFERRAL_REPLIED),
        roles=_STAFF_OF_CLIENTS,
    ),
    Kind.REFERRAL_REPLIED: Act(
        lambda ledger, row, _b: f"a reply about {_client(ledger, row)} is kept",
        _again("A further reply came since: take that one back first.", Kind.REFERRAL_REPLIED),
        roles=_STAFF_OF_CLIENTS,
        along=(Kind.REFERRAL_CLOSED,),
    ),
}  # fmt: skip
"""Every kind of act that can be taken back by one tap."""
