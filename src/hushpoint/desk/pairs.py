"""Pairs: learner and reference on one measurement, each entering alone, neither seen before both are in.

What an observer seals stands in kind pair.sealed, which nobody is shown; the moment the second is in, both become
readings (kind reading.taken, desk/live.py) in one write with kind pair.turned. So no page that lists readings can tell
one observer what the other wrote, or that the other has written at all. Paper sheets and imported files make the same
rows without the sealing, and say so in `via`.
"""

from __future__ import annotations

import contextlib
import re
import secrets
import threading
import weakref
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Literal

from hushpoint.agreement import PairedReading
from hushpoint.desk import classes, live
from hushpoint.desk.kept import Kept
from hushpoint.errors import AlreadyDoneError, BadInputError, NotAllowedError, NotFoundError
from hushpoint.ledger.records import AlreadyStoredError, Entry, Kind, Ledger, Row, is_about

LECTURER = "lecturer"
"""The observer who signs in as the lecturer: another assessor who does so counts as the same reference."""
KINDS = (
    Kind.PAIR_OPENED,
    Kind.PAIR_SEALED,
    Kind.PAIR_TAKEN_BACK,
    Kind.PAIR_TURNED,
    Kind.PAIR_CANCELLED,
    Kind.READING_TAKEN,
    Kind.READING_AMENDED,
    Kind.PERSON_ERASED,
)
_OF_OTHERS = (Kind.PAIR_SEALED, Kind.PAIR_TAKEN_BACK, Kind.READING_TAKEN)
"""What another observer of a learner's pair writes, each with a ref that begins with the pair's id."""
ARMS = ("", "left", "right")
LONGEST_ID, LONGEST_CLIENT = 40, 20
DIFFERENT_INFLATIONS = "different inflations: kept, never counted"
TWO_GAUGES = "two gauges: kept, never counted"
_CLIENT = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]*")
_REF = re.compile(r"[A-Za-z0-9._-]{1,80}")
_ONE_AT_A_TIME = "pairs"
"""The turn in which numbers are sealed: the second to seal is known only while nobody else does."""

_BOOKS: weakref.WeakKeyDictionary[Ledger, Kept[Book]] = weakref.WeakKeyDictionary()
_KEEPING = threading.Lock()

Numbers = tuple[int | None, int | None]
"""Systolic and diastolic as written [mmHg]; None where not heard."""
State = Literal["open", "turned", "cancelled"]


@dataclass(frozen=True, slots=True)
class Opening:
    """How a pair is measured, said when it is opened.

    `learner` and `reference` are random ids, the reference LECTURER unless the lecturer named a learner. Ids of the kit
    are "" where nobody said. `taken_at` is UTC; "" means now. `label` is what a file called the measurement.
    """

    learner: str
    reference: str = LECTURER
    same_inflation: bool = True
    two_gauges: bool = False
    gauge: str = ""
    reference_gauge: str = ""
    cuff: str = ""
    stethoscope: str = ""
    client: str = ""
    arm: str = ""
    taken_at: str = ""
    via: live.Via = "pair"
    label: str = ""

    @property
    def unfair(self) -> str:
        """Why this pair never counts towards a sign-off, "" where it may."""
        if not self.same_inflation:
            return DIFFERENT_INFLATIONS
        return TWO_GAUGES if self.two_gauges else ""


@dataclass(frozen=True, slots=True)
class Correction:
    """What a reading was corrected to, by whom (LECTURER or a learner's id), when and why."""

    numbers: Numbers
    by: str
    why: str
    at: str


@dataclass(frozen=True, slots=True)
class Side:
    """One observer's half of a pair.

    `written` is what was first sealed or typed in, None while it is not in; `row` the journal row of the reading,
    0 before both are in.
    """

    observer: str
    written: Numbers | None = None
    ref: str = ""
    at: str = ""
    row: int = 0
    corrections: tuple[Correction, ...] = ()

    @property
    def now(self) -> Numbers | None:
        """The numbers as they stand after every correction."""
        return self.corrections[-1].numbers if self.corrections else self.written

    @property
    def counts(self) -> Numbers | None:
        """The numbers a sign-off counts: the lecturer's last correction, else what was sealed.

        A learner's own correction, made after seeing the other, is kept and shown but is no sealed evidence.
        """
        by_lecturer = [one.numbers for one in self.corrections if one.by == LECTURER]
        return by_lecturer[-1] if by_lecturer else self.written


@dataclass(frozen=True, slots=True)
class Pair:
    """One pair as it stands. `number` counts the learner's pairs in this class, in order of opening."""

    id: str
    room: str
    number: int
    opening: Opening
    opened_at: str
    learner: Side
    reference: Side
    state: State = "open"
    turned_at: str = ""
    why_cancelled: str = ""

    @property
    def fair(self) -> bool:
        """Whether a sign-off may count it: both in, not set aside, one inflation, one gauge."""
        return self.state == "turned" and not self.opening.unfair

    def side(self, observer: str) -> Side:
        """Return an observer's half; raises NotFoundError for anybody else, so that nothing is learnt of the pair."""
        for side in (self.learner, self.reference):
            if side.observer == observer:
                return side
        raise NotFoundError("No such pair here.")


@dataclass(slots=True)
class Book:
    """The pairs of one class, folded from its rows; `take` brings it up to date."""

    pairs: dict[str, Pair] = field(default_factory=dict)
    _numbers: dict[str, int] = field(default_factory=dict)
    _rows: dict[int, tuple[str, str]] = field(default_factory=dict)
    """Which pair and observer a reading's row belongs to."""

    def take(self, rows: Iterable[Row]) -> None:
        """Fold further rows of this class, in order."""
        for row in rows:
            if row.kind is Kind.PERSON_ERASED:
                self.pairs = {
                    key: pair
                    for key, pair in self.pairs.items()
                    if row.who not in (pair.opening.learner, pair.opening.reference)
                }
                self._numbers.pop(row.who, None)
                self._rows = {seq: one for seq, one in self._rows.items() if one[0] in self.pairs}
            elif row.body is not None:
                self._take(row, row.body)

    def copy(self) -> Book:
        """Return a book that is not changed when this one is brought up to date."""
        return Book(dict(self.pairs), dict(self._numbers), dict(self._rows))

    def of(self, learner: str) -> list[Pair]:
        """Return a learner's pairs as the one who learns, in order of opening."""
        return [pair for pair in self.pairs.values() if pair.opening.learner == learner]

    def with_observer(self, who: str) -> list[Pair]:
        """Return the pairs somebody enters in, as learner or as reference."""
        return [pair for pair in self.pairs.values() if who in (pair.opening.learner, pair.opening.reference)]

    def find(self, pair: str) -> Pair:
        """Return a pair by its id; raises NotFoundError."""
        if pair not in self.pairs:
            raise NotFoundError("No such pair here.")
        return self.pairs[pair]

    def _take(self, row: Row, body: Mapping[str, Any]) -> None:
        if row.kind is Kind.PAIR_OPENED:
            self._opened(row, body)
        elif row.kind is Kind.READING_TAKEN:
            pair = self.pairs.get(str(body["measurement"]).partition(".")[0])
            if pair is not None:
                numbers = (body["systolic"], body["diastolic"])
                self._rows[row.seq] = (pair.id, body["observer"])
                self._put(pair, body["observer"], row=row.seq, written=numbers)
        elif row.kind is Kind.READING_AMENDED:
            key, observer = self._rows.get(body["row"], ("", ""))
            pair = self.pairs.get(key)
            if pair is not None:
                told = Correction((body["systolic"], body["diastolic"]), body["by"], body["why"], row.at)
                self._put(pair, observer, corrections=(*pair.side(observer).corrections, told))
        elif body.get("pair") in self.pairs:
            self._acted(self.pairs[body["pair"]], row, body)

    def _acted(self, pair: Pair, row: Row, body: Mapping[str, Any]) -> None:
        if row.kind is Kind.PAIR_SEALED:
            numbers = (body["systolic"], body["diastolic"])
            self._put(pair, body["observer"], written=numbers, ref=body["ref"], at=row.at)
        elif row.kind is Kind.PAIR_TAKEN_BACK:
            self._put(pair, body["observer"], written=None, ref="", at="")
        elif row.kind is Kind.PAIR_TURNED:
            self.pairs[pair.id] = replace(pair, state="turned", turned_at=row.at)
        elif row.kind is Kind.PAIR_CANCELLED:
            back: State = "turned" if pair.turned_at else "open"
            state: State = "cancelled" if body["cancelled"] else back
            self.pairs[pair.id] = replace(pair, state=state, why_cancelled=body["why"])

    def _opened(self, row: Row, body: Mapping[str, Any]) -> None:
        opening = Opening(**{name: body[name] for name in Opening.__dataclass_fields__})
        number = self._numbers.get(opening.learner, 0) + 1
        self._numbers[opening.learner] = number
        self.pairs[body["pair"]] = Pair(
            body["pair"], row.room, number, opening, row.at, Side(opening.learner), Side(opening.reference)
        )

    def _put(self, pair: Pair, observer: str, **changes: Any) -> None:
        if pair.learner.observer == observer:
            self.pairs[pair.id] = replace(pair, learner=replace(pair.learner, **changes))
        else:
            self.pairs[pair.id] = replace(pair, reference=replace(pair.reference, **changes))


def books_of(ledger: Ledger) -> Kept[Book]:
    """Return what keeps the pairs of a ledger's classes: one for all who ask."""
    with _KEEPING:
        if ledger not in _BOOKS:
            _BOOKS[ledger] = Kept(weakref.proxy(ledger), Book, partial(classes.board_rows, kinds=KINDS))
        return _BOOKS[ledger]


def book_of(ledger: Ledger, room: str) -> Book:
    """Return the pairs of a class as they stand."""
    return books_of(ledger).now(room)


def rows_of(ledger: Ledger, room: str, learner: str) -> list[Row]:
    """Return every row that speaks of a learner's pairs in this class, in order: their own and the other observers'.

    The lecturer's are found by their heads: of a whole class they are many, of one learner few.
    """
    found = {row.seq: row for row in ledger.rows(kinds=KINDS, room=room, who=learner)}
    opened = [row.body for row in found.values() if row.kind is Kind.PAIR_OPENED and row.body is not None]
    ids = {body["pair"] for body in opened}
    for other in sorted({_who(str(body["reference"])) for body in opened}):
        if other:
            mine = [row for row in ledger.rows(kinds=_OF_OTHERS, room=room, who=other) if is_about(row.ref, ids)]
            found |= {row.seq: row for row in ledger.rows(kinds=[Kind.PERSON_ERASED], who=other)}
        else:
            heads = ledger.heads(kinds=_OF_OTHERS, room=room, who=other, about=ids)
            mine = [one.row for one in ledger.kept(head.seq for head in heads)]
        found |= {row.seq: row for row in mine}
        seqs = {row.seq for row in mine}
        for row in ledger.rows(kinds=[Kind.READING_AMENDED], room=room, who=other):
            if row.body is not None and row.body["row"] in seqs:
                found[row.seq] = row
    return [found[seq] for seq in sorted(found)]


def of_learner(ledger: Ledger, room: str, learner: str) -> list[Pair]:
    """Return a learner's pairs as the one who learns, in order of opening; the class's are not read for them."""
    kept = books_of(ledger).at_hand(room)
    if kept is None:
        kept = Book()
        kept.take(rows_of(ledger, room, learner))
    return kept.of(learner)


def fair_pairs(ledger: Ledger, room: str, learner: str) -> tuple[Pair, ...]:
    """Return what a sign-off counts: the learner's fair pairs in order, `Side.counts` being the numbers to judge."""
    return tuple(pair for pair in book_of(ledger, room).of(learner) if pair.fair)


def paired_readings(pairs: Sequence[Pair], learner: str, reference: str) -> tuple[PairedReading, ...]:
    """Return counted numbers as readings to compare, under the two names given; only pairs with two systolics.

    A pair in which somebody heard no systolic cannot be subtracted: the caller says how many there are.
    """
    found = []
    for pair in pairs:
        mine, theirs = pair.learner.counts, pair.reference.counts
        if mine is None or theirs is None or mine[0] is None or theirs[0] is None:
            continue
        for observer, systolic, diastolic in ((learner, mine[0], mine[1]), (reference, theirs[0], theirs[1])):
            found.append(PairedReading(pair.id, observer, systolic, diastolic, pair.opening.client))
    return tuple(found)


def difference(pair: Pair) -> Numbers:
    """Return learner minus reference as the pair stands [mmHg]; None at an end somebody did not hear."""
    mine, theirs = pair.learner.now or (None, None), pair.reference.now or (None, None)
    ends = [None if a is None or b is None else a - b for a, b in zip(mine, theirs, strict=True)]
    return ends[0], ends[1]


def open_pair(ledger: Ledger, *, room: str, opening: Opening, ref: str = "") -> str:
    """Open a pair and return its id; `ref` makes it once. Raises BadInputError, NotFoundError or NotAllowedError."""
    info = classes.find_class(ledger, room)
    checked = check_opening(ledger, info.code, opening)
    pair = secrets.token_hex(8)
    try:
        ledger.append(_opened(pair, info.code, checked, checked_ref(ref) if ref else None))
    except AlreadyStoredError as stored:
        if stored.row.body is None:
            raise
        return str(stored.row.body["pair"])
    return pair


def seal(
    ledger: Ledger, *, room: str, pair: str, observer: str, systolic: object, diastolic: object, ref: object
) -> Pair:
    """Seal an observer's numbers, and turn the pair where the other's are in; the same `ref` seals once.

    Raises NotFoundError for who is not in the pair, AlreadyDoneError where other numbers are sealed already.
    """
    numbers = (live.checked_mmhg(systolic, "systolic"), live.checked_mmhg(diastolic, "diastolic"))
    mark = f"{pair}.{observer}.{checked_ref(ref)}"
    with ledger.turn(_ONE_AT_A_TIME):
        found = book_of(ledger, room).find(pair)
        side = found.side(observer)
        taken_back = any(True for _ in ledger.rows(kinds=[Kind.PAIR_TAKEN_BACK], ref=mark, limit=1))
        if side.ref == ref or taken_back:  # an answer was lost, or the numbers come after they were taken back
            return found
        _still_open(found)
        if side.written is not None:
            raise AlreadyDoneError("Your numbers are sealed already. Take them back first.")
        body = {"pair": pair, "observer": observer, "ref": ref, "systolic": numbers[0], "diastolic": numbers[1]}
        entries = [Entry(Kind.PAIR_SEALED, body, room=found.room, who=_who(observer), ref=mark)]
        other = found.reference if observer == found.learner.observer else found.learner
        if other.written is not None:
            both = {observer: numbers, other.observer: other.written}
            entries += _turned(found.id, found.room, found.opening, both, found.opening.taken_at or found.opened_at)
        ledger.append(*entries)
        return book_of(ledger, room).find(pair)


def take_back(ledger: Ledger, *, room: str, pair: str, observer: str, ref: object) -> Pair:
    """Take an observer's own sealed numbers back while the pair is open; twice, or before they came, is once."""
    mark = f"{pair}.{observer}.{checked_ref(ref)}"
    with ledger.turn(_ONE_AT_A_TIME):
        found = book_of(ledger, room).find(pair)
        side = found.side(observer)
        _still_open(found)
        if side.ref not in ("", ref):
            return found
        with contextlib.suppress(AlreadyStoredError):
            body = {"pair": pair, "observer": observer}
            ledger.append(Entry(Kind.PAIR_TAKEN_BACK, body, room=found.room, who=_who(observer), ref=mark))
        return book_of(ledger, room).find(pair)


def correct(
    ledger: Ledger, *, room: str, pair: str, observer: str, by: str, systolic: object, diastolic: object, why: object,
    ref: object,
) -> Pair:  # fmt: skip
    """Correct `observer`'s numbers after both are in: a new row with who and why; the first ones stay.

    `by` is the observer or LECTURER. Raises AlreadyDoneError while the pair is open.
    """
    numbers = (live.checked_mmhg(systolic, "systolic"), live.checked_mmhg(diastolic, "diastolic"))
    if not isinstance(why, str):
        raise BadInputError("why: say in a few words why the reading is corrected")
    mark = f"{pair}.{by}.{checked_ref(ref)}"
    with ledger.turn(_ONE_AT_A_TIME):
        found = book_of(ledger, room).find(pair)
        side = found.side(observer)
        if by not in (observer, LECTURER):
            raise NotAllowedError("Only your own numbers can be corrected.")
        if not side.row:
            raise AlreadyDoneError("The pair is open: take your numbers back instead.")
        row = next(ledger.rows(after=side.row - 1, limit=1))
        with contextlib.suppress(AlreadyStoredError):
            live.amend(ledger, row, systolic=numbers[0], diastolic=numbers[1], by=by, why=why, ref=mark)
        return book_of(ledger, room).find(pair)


def cancel(ledger: Ledger, *, room: str, pair: str, cancelled: bool, why: str) -> Pair:
    """Set a pair aside, or take it in again; its rows stay. Raises NotFoundError, or BadInputError without a reason."""
    with ledger.turn(_ONE_AT_A_TIME):
        found = book_of(ledger, room).find(pair)
        if (found.state == "cancelled") == cancelled:
            return found
        told = classes.clean_name(why, "why") if cancelled else ""
        body = {"pair": pair, "cancelled": cancelled, "why": told}
        ledger.append(Entry(Kind.PAIR_CANCELLED, body, room=found.room, who=found.opening.learner))
        return book_of(ledger, room).find(pair)


def store_written(ledger: Ledger, *, room: str, written: Sequence[tuple[Opening, Numbers, Numbers, str]]) -> int:
    """Store pairs from paper or a file (opening, learner's and reference's numbers, ref): all or none of the new ones.

    Return how many are new; the others' refs were stored before. Raises BadInputError, nothing stored.
    """
    code = classes.find_class(ledger, room).code
    names = classes.names_of(ledger, code)
    entries: list[Entry] = []
    new = 0
    with ledger.turn(_ONE_AT_A_TIME):
        for opening, mine, theirs, ref in written:
            checked = check_opening(ledger, code, opening, names)
            mark = checked_ref(ref)
            if any(True for _ in ledger.rows(kinds=[Kind.PAIR_OPENED], ref=mark, limit=1)):
                continue
            new += 1
            pair = secrets.token_hex(8)
            entries.append(_opened(pair, code, checked, mark))
            both = {checked.learner: mine, checked.reference: theirs}
            entries += _turned(pair, code, checked, both, checked.taken_at)
        if entries:
            ledger.append(*entries)
    return new


def check_opening(ledger: Ledger, room: str, opening: Opening, names: Mapping[str, str] | None = None) -> Opening:
    """Return an opening in order, or raise one line that names the field and what is allowed."""
    known = classes.names_of(ledger, room) if names is None else names
    if opening.learner not in known:
        raise NotFoundError("No such learner in this class.")
    if opening.reference != LECTURER and opening.reference not in known:
        raise NotFoundError("The reference: nobody of this name is in this class.")
    if opening.reference == opening.learner:
        raise BadInputError("the reference: must be somebody else than the learner")
    if opening.arm not in ARMS:
        raise BadInputError("arm: must be left, right, or not said")
    client = opening.client.strip()
    if client and (len(client) > LONGEST_CLIENT or not _CLIENT.fullmatch(client)):
        raise BadInputError(f"client: a code of at most {LONGEST_CLIENT} letters and digits, never a name")
    if client.casefold() in {name.casefold() for name in known.values()}:
        raise BadInputError("client: a code is needed; this is a name on the class list")
    kit = {}
    for part in ("gauge", "reference_gauge", "cuff", "stethoscope"):
        text = getattr(opening, part).strip()
        if len(text) > LONGEST_ID or not text.isprintable():
            raise BadInputError(f"{part.replace('_', ' ')}: at most {LONGEST_ID} printable characters")
        kit[part] = text
    # two named gauges are two, whether or not somebody ticked it
    two = opening.two_gauges or bool(kit["reference_gauge"] and kit["reference_gauge"] != kit["gauge"])
    return replace(opening, client=client, two_gauges=two, **kit)


def checked_ref(ref: object) -> str:
    """Return the caller's id of an act; raises BadInputError."""
    if not isinstance(ref, str) or not _REF.fullmatch(ref):
        raise BadInputError("ref: must be 1 to 80 letters, digits, dots or dashes")
    return ref


def view(pair: Pair, observer: str) -> dict[str, Any]:
    """Return what somebody may see: own numbers; the other's and the differences once both are in, never before.

    The lecturer may look on at a pair of two learners, and sees neither's numbers before both are in.
    """
    looks_on = observer == LECTURER and pair.opening.reference != LECTURER
    mine = pair.reference if looks_on else pair.side(observer)
    turned = bool(pair.turned_at)
    other = pair.reference if mine is pair.learner else pair.learner
    return {
        "pair": pair.id,
        "number": pair.number,
        "state": pair.state,
        "mine": _told(mine) if turned or not looks_on else None,
        "other": _told(other) if turned else None,
        "difference": dict(zip(("systolic", "diastolic"), difference(pair), strict=True)) if turned else None,
        "unfair": pair.opening.unfair,
        "why_cancelled": pair.why_cancelled,
    }


def _told(side: Side) -> dict[str, Any] | None:
    if side.now is None:
        return None
    return {
        "systolic": side.now[0],
        "diastolic": side.now[1],
        "ref": side.ref,
        "corrected": bool(side.corrections),
    }


def _still_open(pair: Pair) -> None:
    if pair.state == "cancelled":
        raise AlreadyDoneError("This pair was set aside. Nothing more is taken for it.")
    if pair.turned_at:
        raise AlreadyDoneError("Both are in. Correct your numbers instead; the first ones stay beside them.")


def _who(observer: str) -> str:
    """Whose data an observer's numbers are: the lecturer's are nobody's on the class list."""
    return "" if observer == LECTURER else observer


def _opened(pair: str, room: str, opening: Opening, ref: str | None) -> Entry:
    body = {"pair": pair, **{name: getattr(opening, name) for name in Opening.__dataclass_fields__}}
    return Entry(Kind.PAIR_OPENED, body, room=room, who=opening.learner, ref=ref)


def _turned(pair: str, room: str, opening: Opening, both: Mapping[str, Numbers], taken_at: str) -> list[Entry]:
    """Return the entries that make both readings known at once.

    On one inflation both share the measurement's id; on two each has its own, so that no one takes them for a pair.
    """
    entries = []
    for place, observer in enumerate((opening.learner, opening.reference), start=1):
        systolic, diastolic = both[observer]
        reading = live.LiveReading(
            measurement=pair if opening.same_inflation else f"{pair}.{place}",
            observer=observer,
            systolic_mmhg=systolic,
            diastolic_mmhg=diastolic,
            taken_at=taken_at,
            via=opening.via,
            arm=opening.arm,  # type: ignore[arg-type]  # checked against ARMS
            client=opening.client,
            gauge=opening.reference_gauge if place == 2 and opening.two_gauges else opening.gauge,
            cuff=opening.cuff,
            stethoscope=opening.stethoscope,
        )
        entries.append(live.entry_of(reading, room=room, who=_who(observer), ref=f"{pair}.{observer}"))
    body = {"pair": pair, "fair": not opening.unfair}
    entries.append(Entry(Kind.PAIR_TURNED, body, room=room, who=opening.learner, ref=pair))
    return entries
