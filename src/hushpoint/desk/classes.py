"""Classes: open and close, roster, joining, the board for the lecturer and the wall for everyone.

Names live in payloads only (kinds roster.added and learner.joined, `who` a random id), so that they can be erased.
"""

from __future__ import annotations

import csv
import heapq
import hmac
import io
import itertools
import secrets
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from hushpoint.desk.access import cookie_key
from hushpoint.desk.standing import standing
from hushpoint.errors import AlreadyDoneError, BadInputError, NotAllowedError, NotFoundError
from hushpoint.guideline import teaching_policy
from hushpoint.ledger.records import AlreadyStoredError, Entry, Kind, Ledger, Row
from hushpoint.measure import whole_mmhg

LETTERS = "BCDFGHJKLMNPQRSTVWXZ"
"""Codes have four of these: no vowels, so no words; and no digits, so none is taken for a letter."""
CODE_LENGTH = 4
LONGEST_NAME = 80
ROSTER_HEADINGS = frozenset({"name", "names", "learner", "student"})
MOST_LEARNERS = 500
"""The most a class holds, list and all (design choice)."""
FEWEST_FOR_SPREAD = 5
"""Below five people a spread would point at them."""
ALONE = ""
"""The room of those who practise alone."""
WITHHELD_COUNTS_MMHG = 10.0
"""On the board a withheld end stands as high as an ear error of this much (design choice)."""
SPREAD_MMHG = 10
"""The wall's spread runs from this much low to this much high; the rest is counted at its ends."""


ON_THE_BOARD = frozenset(
    {
        Kind.ROSTER_ADDED, Kind.ROSTER_CHANGED, Kind.LEARNER_JOINED, Kind.DEVICES_ENDED, Kind.MEASUREMENT_BEGUN,
        Kind.MEASUREMENT_SET_UP,
        Kind.MEASUREMENT_FILED, Kind.MEASUREMENT_JUDGED, Kind.READING_CORRECTED, Kind.PAIR_TURNED, Kind.PAIR_CANCELLED,
        Kind.ROUND_OPENED, Kind.ROUND_READY, Kind.ROUND_STARTED, Kind.ROUND_SEALED, Kind.ROUND_CLOSED,
    }
)  # fmt: skip
"""What board, wall and rounds are folded from. A sealed half of a pair does not even wake the board: its reader may be
the other half."""

_NAMING = "naming"
"""The turn in which a name is looked up and added: two joins at once would make two of one person."""
_INVISIBLE_BUT_WRITTEN = "\u200c\u200d"
"""Joiners that some scripts cannot be written without."""


class NameTakenError(AlreadyDoneError):
    """Someone has joined with this name already: another device needs the word that the first one shows."""


class NotListedError(AlreadyDoneError):
    """Nobody of this name is on the list, and somebody on it has not come in yet: it may be a slip of writing."""


@dataclass(frozen=True, slots=True)
class ClassInfo:
    """A class as opened."""

    code: str
    name: str
    policy_id: str
    opened_at: str
    closed: bool


@dataclass(frozen=True, slots=True)
class RosterRow:
    """One row of a class list: its line, the name as read, and what is wrong with it ("" where nothing is)."""

    number: int
    name: str
    problem: str = ""


@dataclass(slots=True)
class BoardLine:
    """What the lecturer sees of one learner.

    `doing` is one of "not in yet", "in", "setting up", "measuring", "being judged", "judged"; ear errors and the
    fastest release rate are of the last reading, None where withheld. `came_in` is how often somebody came in under
    this name since its devices were last signed out: the lecturer sees each. `off`: taken off the list.
    """

    who: str
    name: str
    joined: bool = False
    off: bool = False
    came_in: int = 0
    doing: str = "not in yet"
    last_at: str = ""
    reading: Mapping[str, int | None] | None = None
    systolic_error_mmhg: float | None = None
    diastolic_error_mmhg: float | None = None
    rate_mmhg_per_s: float | None = None
    readings: int = 0
    next_act: str = ""
    fair_pairs: int = 0

    @property
    def needs_mmhg(self) -> float:
        """How far the last reading was off: who needs the lecturer first is listed first.

        An end without an ear error (nothing could be heard, or the cuff was pumped too low) counts as
        WITHHELD_COUNTS_MMHG.
        """
        if self.doing != "judged":
            return 0.0
        ends = (self.systolic_error_mmhg, self.diastolic_error_mmhg)
        return max(WITHHELD_COUNTS_MMHG if end is None else abs(end) for end in ends)


@dataclass(slots=True)
class Board:
    """A class's state, folded from its rows; `take` brings it up to date."""

    seq: int = 0
    lines: dict[str, BoardLine] = field(default_factory=dict)
    errors_mmhg: list[tuple[str, float | None, float | None]] = field(default_factory=list)
    turned: dict[str, tuple[str, bool]] = field(default_factory=dict)
    """Pairs with both numbers in: the learner, and whether it is fair: one set aside may be taken in again."""

    def copy(self) -> Board:
        """Return a board that is not changed when this one is brought up to date."""
        lines = {who: replace(line) for who, line in self.lines.items()}
        return Board(self.seq, lines, list(self.errors_mmhg), dict(self.turned))

    def take(self, rows: Iterable[Row]) -> None:
        """Fold further rows of this class, in order."""
        for row in rows:
            self.seq = row.seq
            if row.kind == Kind.PERSON_ERASED:
                self.lines.pop(row.who, None)
                self.errors_mmhg = [one for one in self.errors_mmhg if one[0] != row.who]
                self.turned = {pair: one for pair, one in self.turned.items() if one[0] != row.who}
            elif row.body is not None and row.who:
                self._take(row, row.body)

    def _take(self, row: Row, body: Mapping[str, Any]) -> None:
        line = self.lines.setdefault(row.who, BoardLine(row.who, ""))
        match row.kind:
            case Kind.ROSTER_ADDED:
                line.name = str(body["name"])
            case Kind.LEARNER_JOINED:
                line.name, line.came_in = str(body["name"]), line.came_in + 1
                line.doing = line.doing if line.joined else "in"
                line.joined, line.off = True, False
            case Kind.ROSTER_CHANGED:
                line.off = body["off"]
            case Kind.DEVICES_ENDED:
                line.came_in = 0
            case Kind.MEASUREMENT_BEGUN:
                line.doing, line.last_at = "setting up", row.at
            case Kind.MEASUREMENT_SET_UP:
                line.doing, line.last_at = "measuring", row.at
            case Kind.MEASUREMENT_FILED:
                line.doing, line.last_at = "being judged", row.at
                line.reading = body["log"]["reading"]
                line.readings += 1
                line.systolic_error_mmhg = line.diastolic_error_mmhg = line.rate_mmhg_per_s = None
            case Kind.MEASUREMENT_JUDGED:
                self._judged(line, body["judgement"])
            case Kind.READING_CORRECTED:
                line.reading = body["reading"]
            case Kind.PAIR_TURNED:
                self.turned[body["pair"]] = (line.who, body["fair"])
                line.fair_pairs += body["fair"]
            case Kind.PAIR_CANCELLED:
                line.fair_pairs += self.turned.get(body["pair"], ("", False))[1] * (-1 if body["cancelled"] else 1)
            case _:
                pass

    def _judged(self, line: BoardLine, judgement: Mapping[str, Any]) -> None:
        ear = judgement["ear"]
        line.doing, line.next_act = "judged", str(judgement["next"])
        line.systolic_error_mmhg = ear["systolic_error_mmhg"]
        line.diastolic_error_mmhg = ear["diastolic_error_mmhg"]
        rates = [segment["rate_mmhg_per_s"] for segment in judgement["hand"]["segments"]]
        line.rate_mmhg_per_s = max(rates, default=None)
        self.errors_mmhg.append((line.who, line.systolic_error_mmhg, line.diastolic_error_mmhg))

    def in_order(self) -> list[BoardLine]:
        """Return the lines: the furthest off first, then those with fewest readings, then by name."""
        return sorted(self._on(), key=lambda line: (-line.needs_mmhg, line.readings, line.name.casefold()))

    def taken_off(self) -> list[BoardLine]:
        """Return who was taken off the list, by name: their data is there."""
        return sorted((line for line in self.lines.values() if line.off), key=lambda line: line.name.casefold())

    def _on(self) -> list[BoardLine]:
        return [line for line in self.lines.values() if not line.off]

    def wall(self) -> dict[str, Any]:
        """Return what everyone may see: counts, and the spread of ear errors from five people on; no names."""
        return {
            "joined": sum(line.joined for line in self._on()),
            "listed": len(self._on()),
            "measured": sum(line.readings > 0 for line in self._on()),
            "readings": sum(line.readings for line in self._on()),
            "measuring": sum(line.doing == "measuring" for line in self._on()),
            "systolic": self._spread(1),
            "diastolic": self._spread(2),
        }

    def _spread(self, place: int) -> list[tuple[int, int]] | None:
        """Count errors in steps of 2 mmHg; None while fewer than five people have one."""
        found = [(one[0], one[place]) for one in self.errors_mmhg if one[place] is not None]
        if len({who for who, _ in found}) < FEWEST_FOR_SPREAD:
            return None
        steps = Counter(
            max(-SPREAD_MMHG, min(SPREAD_MMHG, 2 * whole_mmhg(float(error or 0) / 2))) for _, error in found
        )
        return [(step, steps.get(step, 0)) for step in range(-SPREAD_MMHG, SPREAD_MMHG + 1, 2)]


def open_class(ledger: Ledger, *, name: str, policy_id: str) -> str:
    """Open a class under a teaching policy and return its code."""
    name = clean_name(name, "class name")
    policy = teaching_policy(policy_id)
    while True:
        code = _code()
        try:
            ledger.append(Entry(Kind.CLASS_OPENED, {"name": name, "policy": policy.id}, room=code, ref=code))
        except AlreadyStoredError:  # the code is another class's: the ledger keeps each once
            continue
        return code


def close_class(ledger: Ledger, code: str, *, closed: bool) -> None:
    """Close a class to newcomers, or open it again; its readings stay."""
    info = find_class(ledger, code)
    if info.closed != closed:
        ledger.append(Entry(Kind.CLASS_CLOSED, {"closed": closed}, room=info.code))


def change_class(ledger: Ledger, code: str, *, name: str, policy_id: str) -> None:
    """Give a class another name or teaching policy; what was measured before keeps the policy it was measured under."""
    info = find_class(ledger, code)
    name, policy = clean_name(name, "class name"), teaching_policy(policy_id)
    if (name, policy.id) != (info.name, info.policy_id):
        ledger.append(Entry(Kind.CLASS_CHANGED, {"name": name, "policy": policy.id}, room=info.code))


_OF_CLASSES = (Kind.CLASS_OPENED, Kind.CLASS_CHANGED, Kind.CLASS_CLOSED)


def all_classes(ledger: Ledger) -> list[ClassInfo]:
    """Return every class, newest first."""
    found = _classes(standing(ledger, _OF_CLASSES))
    return sorted(found.values(), key=lambda one: one.opened_at, reverse=True)


def _classes(rows: Iterable[Row]) -> dict[str, ClassInfo]:
    found: dict[str, ClassInfo] = {}
    for row in rows:
        body = row.body
        if body is None:
            continue
        if row.kind == Kind.CLASS_OPENED:
            found[row.room] = ClassInfo(row.room, body["name"], body["policy"], row.at, closed=False)
        elif row.room in found and row.kind == Kind.CLASS_CHANGED:
            found[row.room] = replace(found[row.room], name=body["name"], policy_id=body["policy"])
        elif row.room in found:
            found[row.room] = replace(found[row.room], closed=bool(body["closed"]))
    return found


def find_class(ledger: Ledger, code: str) -> ClassInfo:
    """Return a class by its code, however it was typed; raises NotFoundError."""
    wanted = code.strip().upper()
    found = _classes(standing(ledger, _OF_CLASSES, room=wanted or "-")).get(wanted)
    if found is None:
        raise NotFoundError("No class has this code. Codes have four letters.")
    return found


def parse_roster(text: str) -> list[RosterRow]:
    """Read pasted lines or CSV, one name a line: the first column counts, a heading and empty lines do not.

    Columns part at tabs where there are any, else at semicolons, else at commas.
    """
    between = next((sign for sign in "\t;" if sign in text), ",")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=between, strict=True)
    rows: list[RosterRow] = []
    seen: set[str] = set()
    try:
        for cells in reader:
            cell = cells[0].strip() if cells else ""
            if not cell or (not rows and cell.casefold() in ROSTER_HEADINGS):
                continue
            row = _roster_row(reader.line_num, cell, seen)
            seen.add(row.name.casefold())
            rows.append(row)
    except csv.Error:
        rows.append(RosterRow(reader.line_num, "", "must be plain lines or CSV; check the quotation marks"))
    if len(rows) > MOST_LEARNERS:
        return [RosterRow(1, "", f"the list must have at most {MOST_LEARNERS} names, it has {len(rows)}")]
    return rows


def _roster_row(number: int, cell: str, seen: set[str]) -> RosterRow:
    try:
        name = clean_name(cell, "the name")
    except BadInputError as refusal:
        shown = "".join(letter if letter.isprintable() else "\N{REPLACEMENT CHARACTER}" for letter in cell)
        return RosterRow(number, shown[: LONGEST_NAME + 1], str(refusal))
    twice = name.casefold() in seen
    return RosterRow(number, name, "stands twice; add something that tells the two apart" if twice else "")


def add_roster(ledger: Ledger, *, room: str, names: Sequence[str]) -> int:
    """Add names to a class's list; those on it already are passed over. Return how many are new."""
    code = find_class(ledger, room).code
    wanted: dict[str, str] = {}
    for name in (clean_name(one, "name") for one in names):
        wanted.setdefault(name.casefold(), name)
    with ledger.turn(_NAMING):
        while True:
            known = _known(ledger, code)
            there = {name.casefold(): who for who, name in known.names.items()}
            fresh = [name for key, name in wanted.items() if key not in there]
            back = [who for key, who in there.items() if key in wanted and who in known.off]
            if len(known.names) + len(fresh) > MOST_LEARNERS:
                raise BadInputError(f"the list: a class holds at most {MOST_LEARNERS} people, this would make more")
            try:
                ledger.append(
                    *(known.listed(name, place) for place, name in enumerate(fresh)),
                    *(off_or_on(code, who, off=False) for who in back),
                )
            except AlreadyStoredError:  # somebody else took the next place on the list: look again
                continue
            return len(fresh) + len(back)


def take_off(ledger: Ledger, *, room: str, who: str) -> None:
    """Take a learner off the class list and sign their devices out; data stays, and joining again puts them back."""
    code = find_class(ledger, room).code
    name_of(ledger, code, who)
    if who not in _known(ledger, code).off:
        ledger.append(off_or_on(code, who, off=True), Entry(Kind.DEVICES_ENDED, {}, room=code, who=who))


def put_back(ledger: Ledger, *, room: str, who: str) -> None:
    """Put a learner on the class list again."""
    code = find_class(ledger, room).code
    name_of(ledger, code, who)
    if who in _known(ledger, code).off:
        ledger.append(off_or_on(code, who, off=False))


def off_or_on(code: str, who: str, *, off: bool) -> Entry:
    """Return the entry that takes a learner off the list or puts them back."""
    return Entry(Kind.ROSTER_CHANGED, {"off": off}, room=code, who=who)


def is_off(ledger: Ledger, room: str, who: str) -> bool:
    """Return whether a learner was taken off the class list."""
    return who in _known(ledger, room).off


def on_the_list(ledger: Ledger, code: str) -> set[str]:
    """Return the names a class knows, listed or joined, casefolded: how names are compared."""
    return {name.casefold() for name in names_of(ledger, code).values()}


@dataclass(frozen=True, slots=True)
class _Known:
    """Whom a class knows, and how many places of its list are taken.

    A new name takes the next place, and the ledger keeps each place once: of two who look at the same moment and write
    the same name, in two processes or on two hosts, one is told to look again.
    """

    code: str
    names: Mapping[str, str]
    places: int
    off: frozenset[str]
    came: frozenset[str]

    @property
    def awaited(self) -> bool:
        """Whether somebody on the list has no device in: a name that is not on it may be theirs, written otherwise."""
        return bool(self.names.keys() - self.came - self.off)

    def listed(self, name: str, further: int = 0) -> Entry:
        """Return the entry that puts a name on the list."""
        ref = f"{self.code}/{self.places + further + 1}"
        return Entry(Kind.ROSTER_ADDED, {"name": name}, room=self.code, who=_who(), ref=ref)


def _known(ledger: Ledger, code: str) -> _Known:
    names: dict[str, str] = {}
    off: set[str] = set()
    came: set[str] = set()
    places = 0
    kinds = (Kind.ROSTER_ADDED, Kind.LEARNER_JOINED, Kind.ROSTER_CHANGED, Kind.DEVICES_ENDED)
    for row in ledger.rows(kinds=kinds, room=code):
        places += row.kind == Kind.ROSTER_ADDED
        if row.body is None:
            continue
        if row.kind == Kind.DEVICES_ENDED:
            came.discard(row.who)
            continue
        (off.add if row.body.get("off") else off.discard)(row.who)
        if row.kind == Kind.LEARNER_JOINED:
            came.add(row.who)
        if row.kind != Kind.ROSTER_CHANGED:
            names[row.who] = str(row.body["name"])
    return _Known(code, names, places, frozenset(off), frozenset(came))


def join(ledger: Ledger, *, room: str, name: str, word: str = "", new: bool = True) -> str:
    """Join a class by code and name; return the learner's id.

    A name on the class list becomes that person. A name that has joined already belongs to the device it joined on:
    another one needs the word that is shown there (`word_of`), or a lecturer who lets the person in again
    (`end_devices`). NameTakenError is raised without it, BadInputError where it is another word. With `new` False a
    name that is not on the list raises NotListedError while somebody on it has no device in: it may be theirs.
    """
    info = find_class(ledger, room)
    name = clean_name(name, "name")
    with ledger.turn(_NAMING):
        while True:
            try:
                return _joined(ledger, info, name, word, new=new)
            except AlreadyStoredError:  # somebody else came in at this moment: look again
                continue


def _joined(ledger: Ledger, info: ClassInfo, name: str, word: str, *, new: bool) -> str:
    known = _known(ledger, info.code)
    who = next((who for who, other in known.names.items() if other.casefold() == name.casefold()), "")
    ended, since = _devices(ledger, info.code, who) if who else (0, 0)
    if since:
        if not word.strip():
            raise NameTakenError(
                "Someone has joined with this name. If it was you, type the word that your first device shows under "
                "Your data; or ask your lecturer to let you in again."
            )
        if not secrets.compare_digest(word.strip().upper().encode(), word_of(ledger, info.code, who).encode()):
            raise BadInputError("That is not the word of this name. Look at your first device, or ask your lecturer.")
    elif info.closed and not (who and ended):
        raise NotAllowedError("This class is closed to newcomers. Ask your lecturer to open it again.")
    elif not who and len(known.names) >= MOST_LEARNERS:
        raise NotAllowedError(f"This class is full: it holds {MOST_LEARNERS} people. Ask your lecturer.")
    elif not who and not new and known.awaited:
        raise NotListedError(
            "Nobody of this name is on the class list. Write it as your lecturer has it there; or join as somebody new."
        )
    listed = [] if who else [known.listed(name)]
    who = who or listed[0].who
    first = None if since else f"{who}/{ended}"  # of two who come first at once, one is first
    ledger.append(*listed, Entry(Kind.LEARNER_JOINED, {"name": name}, room=info.code, who=who, ref=first))
    return who


def _devices(ledger: Ledger, room: str, who: str) -> tuple[int, int]:
    """Return how often a person's devices were signed out, and how often somebody came in since."""
    ended = since = 0
    for row in ledger.rows(kinds=[Kind.LEARNER_JOINED, Kind.DEVICES_ENDED], room=room, who=who):
        if row.kind == Kind.DEVICES_ENDED:
            ended, since = ended + 1, 0
        else:
            since += 1
    return ended, since


def devices_in(ledger: Ledger, room: str, who: str) -> int:
    """Return how often somebody came in as this person since their devices were last signed out."""
    return _devices(ledger, room, who)[1]


def word_of(ledger: Ledger, room: str, who: str) -> str:
    """Return the word with which a further device comes in as this person: four letters, another one after each
    `end_devices`; made from the key that signs cookies, so that it is stored nowhere."""
    ended, _ = _devices(ledger, room, who)
    digest = hmac.new(cookie_key(ledger).encode(), f"word/{room}/{who}/{ended}".encode(), "sha256").digest()
    return "".join(LETTERS[int.from_bytes(digest[2 * n : 2 * n + 2], "big") % len(LETTERS)] for n in range(CODE_LENGTH))


def end_devices(ledger: Ledger, *, room: str, who: str = "") -> int:
    """Sign out every device of a learner, or of all of a class; the next device that names itself is let in again.

    Return of how many people. Readings stay.
    """
    code = find_class(ledger, room).code
    if who:
        name_of(ledger, code, who)
    people = [who] if who else [one for one in names_of(ledger, code) if _devices(ledger, code, one)[1]]
    if people:
        ledger.append(*(Entry(Kind.DEVICES_ENDED, {}, room=code, who=one) for one in people))
    return len(people)


def still_in(ledger: Ledger, room: str, who: str, since: int) -> bool:
    """Return whether a device that came in with row `since` still stands for a person whose data is there."""
    named = False
    for row in ledger.rows(kinds=[Kind.ROSTER_ADDED, Kind.LEARNER_JOINED, Kind.DEVICES_ENDED], room=room, who=who):
        if row.kind == Kind.DEVICES_ENDED and row.seq > since:
            return False
        named = named or (row.body is not None and row.kind != Kind.DEVICES_ENDED)
    return named


def came_in_with(ledger: Ledger, room: str, who: str) -> int:
    """Return the row with which somebody last came in as this person, 0 where nobody did."""
    return max((row.seq for row in ledger.rows(kinds=[Kind.LEARNER_JOINED], room=room, who=who)), default=0)


def join_alone(ledger: Ledger) -> str:
    """Begin to practise alone, without class or name; return an id."""
    who = _who()
    ledger.append(Entry(Kind.LEARNER_JOINED, {"name": ""}, room=ALONE, who=who))
    return who


def name_of(ledger: Ledger, room: str, who: str) -> str:
    """Return a learner's name; raises NotFoundError where there is none in this class."""
    rows = ledger.rows(kinds=[Kind.ROSTER_ADDED, Kind.LEARNER_JOINED], room=room, who=who)
    names = [str(row.body["name"]) for row in rows if row.body is not None]
    if not names:
        raise NotFoundError("No such learner in this class.")
    return names[-1]


def erase_learner(ledger: Ledger, *, room: str, who: str, why: str) -> int:
    """Erase everything about a learner of this class; the journal still verifies. Return how many rows."""
    name = name_of(ledger, room, who)
    why = clean_name(why, "why")
    if name.casefold() in why.casefold():
        raise BadInputError("why: leave the name out; the reason stays when the rest is erased")
    return ledger.erase(who, why=why)


def board_rows(
    ledger: Ledger, room: str, after: int, up_to: int, kinds: Iterable[Kind] = ON_THE_BOARD
) -> Iterator[Row]:
    """Yield a class's rows after `after` up to `up_to`, erasures of people among them, in order.

    Nothing beyond `up_to` comes, whatever is stored meanwhile: the next reading begins there. A term's logs are large,
    so rows pass one by one.
    """
    mine = ledger.rows(after=after, room=room, kinds=kinds)
    erased = ledger.rows(after=after, kinds=[Kind.PERSON_ERASED])
    both = heapq.merge(mine, erased, key=lambda row: row.seq)
    return itertools.takewhile(lambda row: row.seq <= up_to, both)


def clean_name(text: str, what: str) -> str:
    """Return a name without stray spaces; raises BadInputError, one line, without repeating it."""
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not 1 <= len(name) <= LONGEST_NAME:
        raise BadInputError(f"{what}: must have 1 to {LONGEST_NAME} characters")
    for letter in name:
        hidden = unicodedata.category(letter).startswith("C") and letter not in _INVISIBLE_BUT_WRITTEN
        if hidden:  # control, half and unknown characters; marks that turn the line round or hide in it
            raise BadInputError(f"{what}: must hold letters that can be printed")
    if not any(letter.isalnum() for letter in name):
        raise BadInputError(f"{what}: must hold a letter or a digit")
    return name


def names_of(ledger: Ledger, room: str) -> dict[str, str]:
    """Return names by id of everybody a class knows, listed or joined, those taken off the list too."""
    return dict(_known(ledger, room).names)


def people_of(ledger: Ledger, room: str) -> dict[str, str]:
    """Return names by id of those on a class's list: whom one chooses from."""
    known = _known(ledger, room)
    return {who: name for who, name in known.names.items() if who not in known.off}


@dataclass(frozen=True, slots=True)
class Lone:
    """Somebody who practises alone: a random id, when they began, how many measurements they filed, the last one."""

    who: str
    began_at: str
    readings: int = 0
    last_at: str = ""


def lone_learners(ledger: Ledger) -> list[Lone]:
    """Return those who practise alone and whose data is there, newest first."""
    found: dict[str, Lone] = {}
    for row in ledger.rows(kinds=[Kind.LEARNER_JOINED, Kind.MEASUREMENT_FILED], room=ALONE):
        if row.body is None:
            continue
        if row.kind == Kind.LEARNER_JOINED:
            found.setdefault(row.who, Lone(row.who, row.at))
        elif row.who in found:
            one = found[row.who]
            found[row.who] = replace(one, readings=one.readings + 1, last_at=row.at)
    return sorted(found.values(), key=lambda one: one.began_at, reverse=True)


def erase_lone(ledger: Ledger, *, who: str, why: str) -> int:
    """Erase everything about somebody who practises alone; the journal still verifies. Return how many rows."""
    name_of(ledger, ALONE, who)
    return ledger.erase(who, why=why)


def _code() -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))


def _who() -> str:
    return secrets.token_hex(10)
