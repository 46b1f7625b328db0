"""Pairs written down elsewhere: a line of a paper sheet, or a CSV file; read strictly, nothing stored here.

A file comes in one of two forms. Tidy: one row an observer (measurement, observer, systolic, diastolic), rows of one
measurement being one inflation. Wide: one row a pair (learner, systolic, diastolic, reference_systolic,
reference_diastolic).
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

from hushpoint.agreement.differences import shown
from hushpoint.desk import kit, live, pairs
from hushpoint.desk.csv_file import CsvFileError, table_of, told_name
from hushpoint.errors import BadInputError, HushpointError
from hushpoint.ledger.records import Ledger

WIDE = ("learner", "systolic", "diastolic", "reference_systolic", "reference_diastolic")
TIDY = ("measurement", "observer", "systolic", "diastolic")
OPTIONAL = ("client", "at", "arm", "gauge", "cuff", "stethoscope", "inflation", "reference_gauge")
MOST_ROWS = 2000
"""The most rows one file holds (design choice): a preview longer than this is read by nobody."""
_END = r"(\d{1,3}|[-*]|not heard)"
_BOTH = re.compile(rf"{_END}\s*[/ .,]\s*{_END}", re.ASCII | re.IGNORECASE)
_IN_ONE = re.compile(r"([12]\d\d|300|[4-9]\d)([12]\d\d|[2-9]\d|[-*])", re.ASCII)
"""Both ends typed without anything between, as a number pad asks for: 12482 can be 124/82 and nothing else."""
_NOT_HEARD = frozenset({"-", "*", "not heard"})


@dataclass(frozen=True, slots=True)
class FilePair:
    """One pair of a file: its line, what was read, and what is wrong with it ("" where nothing is).

    `alike` is the number of a pair stored before with the same learner, client, time and numbers, 0 where none is.
    """

    line: int
    learner: str
    opening: pairs.Opening
    mine: pairs.Numbers = (None, None)
    theirs: pairs.Numbers = (None, None)
    ref: str = ""
    problem: str = ""
    alike: int = 0


@dataclass(frozen=True, slots=True)
class Known:
    """What names in a file may mean: learners by name, kit by type and label, the reference's name, the day."""

    learners: Mapping[str, str]
    items: Mapping[tuple[str, str], str] = field(default_factory=dict)
    reference: str = ""
    day: str = ""


def known_in(ledger: Ledger, names: Mapping[str, str], *, reference: str, day: str) -> Known:
    """Return what the names in this class's files mean; `day` is an ISO date, "" for today."""
    items = {(one.type, one.label.casefold()): one.id for one in kit.register(ledger, retired=True).values()}
    learners = {name.casefold(): who for who, name in names.items()}
    return Known({**learners}, {(str(kind), label): found for (kind, label), found in items.items()}, reference, day)


def numbers_in(text: str, what: str) -> pairs.Numbers:
    """Return systolic and diastolic from "124/82", "124 82" or "12482"; - or * is not heard. Raises BadInputError."""
    found = _BOTH.fullmatch(text.strip()) or _IN_ONE.fullmatch(text.strip())
    if found is None:
        raise BadInputError(f"{what}: must be like 124/82 or 12482, with - or * for an end that was not heard")
    systolic, diastolic = (_pressure(part, what) for part in found.groups())
    return _in_order(systolic, diastolic, what)


def who_is(name: str, known: Mapping[str, str], what: str = "learner") -> str:
    """Return the id of a name on the class list: the whole name, or the beginning of one that no other shares."""
    wanted = " ".join(name.split()).casefold()
    if wanted in known:
        return known[wanted]
    begun = {who for whole, who in known.items() if wanted and whole.startswith(wanted)}
    begun = begun or {
        who for whole, who in known.items() if wanted and any(part.startswith(wanted) for part in whole.split())
    }
    if len(begun) == 1:
        return begun.pop()
    reason = "nobody of this name is on the class list" if not begun else "more than one name begins like this"
    raise BadInputError(f"{what}: {reason}")


def likely_next(typed: Sequence[str], names: Sequence[str]) -> str:
    """Return whose line of a sheet most likely comes after those typed: the same person's, or the next on the list's.

    `typed` holds the ids of the lines so far, newest first; `names` those of the class list in its order. "" before the
    first line and after the last name. A sheet of one learner shows itself by two lines of one after another.
    """
    if not typed or typed[0] not in names:
        return ""
    if len(typed) > 1 and typed[0] == typed[1]:
        return typed[0]
    after = names.index(typed[0]) + 1
    return names[after] if after < len(names) else ""


def moment_of(text: str, what: str, day: str = "") -> str:
    """Return a time in UTC as the journal writes it; local where no zone stands, noon where only a day does.

    Empty means `day`, or today. Raises BadInputError outside 1990 to a day from now.
    """
    now = datetime.now(UTC)
    text = text.strip() or day.strip() or now.date().isoformat()
    try:
        found = datetime.fromisoformat(f"{text}T12:00" if len(text) == 10 else text).astimezone(UTC)
    except (ValueError, OverflowError):
        raise BadInputError(f"{what}: must be a day or a time such as 2026-05-01 or 2026-05-01T10:30") from None
    if not datetime(1990, 1, 1, tzinfo=UTC) <= found <= now + timedelta(days=1):
        raise BadInputError(f"{what}: must lie between 1990 and today")
    return found.isoformat(timespec="seconds").replace("+00:00", "Z")


def pairs_in(data: bytes, name: str, known: Known, room: str, stored: pairs.Book) -> list[FilePair]:
    """Return every pair of a file, the wrong ones with what is wrong; raises CsvFileError where no table is there."""
    name = told_name(name)
    header = data.split(b"\n", 1)[0].lower()
    tidy = b"observer" in header
    ragged: dict[int, str] = {}
    rows = list(table_of(data, name, TIDY if tidy else WIDE, once=OPTIONAL, ragged=ragged))
    if not rows and not ragged:
        raise CsvFileError(f"{name}: no rows under the header; at least 1 is needed")
    if len(rows) > MOST_ROWS:
        raise CsvFileError(f"{name}: {len(rows)} rows; at most {MOST_ROWS} are taken in at once")
    found = _tidy(rows, known) if tidy else [_wide(line, cells, known) for line, cells in rows]
    found += [FilePair(line, "", pairs.Opening("", via="import"), problem=told) for line, told in ragged.items()]
    found.sort(key=lambda one: one.line)
    digest = hashlib.sha256(data).hexdigest()[:20]
    alike = {
        _likeness(one.opening, one.learner.written, one.reference.written): one.number for one in stored.pairs.values()
    }
    return [
        replace(
            one,
            ref=f"file.{room}.{digest}.{one.line}",
            alike=0 if one.problem else alike.get(_likeness(one.opening, one.mine, one.theirs), 0),
        )
        for one in found
    ]


def _likeness(opening: pairs.Opening, mine: pairs.Numbers | None, theirs: pairs.Numbers | None) -> tuple[object, ...]:
    return opening.learner, opening.client, opening.taken_at, opening.label, mine, theirs


def _wide(line: int, cells: Mapping[str, str], known: Known) -> FilePair:
    blank = FilePair(line, cells["learner"].strip()[:80], pairs.Opening("", via="import"))
    try:
        opening = _opening(cells, known, who_is(cells["learner"], known.learners))
        gauge = _item(cells, "reference_gauge", "gauge", known)
        opening = replace(opening, reference_gauge=gauge, two_gauges=bool(gauge) and gauge != opening.gauge)
        mine = _both(cells, "systolic", "diastolic")
        theirs = _both(cells, "reference_systolic", "reference_diastolic")
    except HushpointError as refusal:
        return replace(blank, problem=str(refusal))
    return replace(blank, opening=opening, mine=mine, theirs=theirs)


def _tidy(rows: list[tuple[int, dict[str, str]]], known: Known) -> list[FilePair]:
    """Return a pair for each row that is not the reference's, beside the reference's row of the same measurement."""
    is_reference = known.reference.strip().casefold()
    references: dict[str, dict[str, str]] = {}
    seen: set[tuple[str, str]] = set()
    found = []
    twice = set()
    for line, cells in rows:
        key = (cells["measurement"].strip(), cells["observer"].strip().casefold())
        if key in seen:
            twice.add(line)
        seen.add(key)
        if key[1] == is_reference and line not in twice:
            references[key[0]] = cells
    for line, cells in rows:
        if cells["observer"].strip().casefold() == is_reference and line not in twice:
            continue
        blank = FilePair(line, cells["observer"].strip()[:80], pairs.Opening("", via="import"))
        try:
            if line in twice:
                raise BadInputError("the same measurement and observer stand in a row before this one")
            found.append(_beside(blank, cells, references.get(cells["measurement"].strip()), known))
        except HushpointError as refusal:
            found.append(replace(blank, problem=str(refusal)))
    return found


def _beside(blank: FilePair, cells: dict[str, str], theirs: dict[str, str] | None, known: Known) -> FilePair:
    who = who_is(cells["observer"], known.learners, "observer")
    if theirs is None:
        raise BadInputError(f"measurement {shown(cells['measurement'].strip())}: no row of the reference")
    opening = _opening(cells, known, who)
    gauge = _item(theirs, "gauge", "gauge", known)
    opening = replace(
        opening,
        label=cells["measurement"].strip()[:80],
        reference_gauge=gauge if gauge != opening.gauge else "",
        two_gauges=bool(gauge or opening.gauge) and gauge != opening.gauge,
    )
    numbers = _both(cells, "systolic", "diastolic"), _both(theirs, "systolic", "diastolic", "the reference's ")
    return replace(blank, opening=opening, mine=numbers[0], theirs=numbers[1])


def _opening(cells: Mapping[str, str], known: Known, who: str) -> pairs.Opening:
    inflation = cells.get("inflation", "").strip().casefold()
    if inflation not in ("", "same", "different"):
        raise BadInputError(f"inflation: {shown(inflation)}; same or different is needed")
    return pairs.Opening(
        learner=who,
        same_inflation=inflation != "different",
        gauge=_item(cells, "gauge", "gauge", known),
        cuff=_item(cells, "cuff", "cuff", known),
        stethoscope=_item(cells, "stethoscope", "stethoscope", known),
        client=cells.get("client", "").strip(),
        arm=cells.get("arm", "").strip().casefold(),
        taken_at=moment_of(cells.get("at", ""), "at", known.day),
        via="import",
    )


def _item(cells: Mapping[str, str], column: str, kind: Literal["gauge", "cuff", "stethoscope"], known: Known) -> str:
    label = cells.get(column, "").strip()
    if not label:
        return ""
    found = known.items.get((kind, label.casefold()))
    if found is None:
        raise BadInputError(f"{column}: no {kind} labelled {shown(label)} in the register; add it, or leave this empty")
    return found


def _both(cells: Mapping[str, str], upper: str, lower: str, whose: str = "") -> pairs.Numbers:
    systolic = _pressure(cells[upper], f"{whose}{upper}")
    diastolic = None if not cells[lower].strip() else _pressure(cells[lower], f"{whose}{lower}")
    return _in_order(systolic, diastolic, f"{whose}{lower}")


def _in_order(systolic: int | None, diastolic: int | None, what: str) -> pairs.Numbers:
    if systolic is not None and diastolic is not None and diastolic > systolic:
        raise BadInputError(f"{what}: diastolic {diastolic} is above systolic {systolic}")
    return systolic, diastolic


def _pressure(cell: str, what: str) -> int | None:
    text = cell.strip().casefold()
    if text in _NOT_HEARD:
        return None
    low, high = live.LEGAL_MMHG
    if not (text.isascii() and text.isdigit() and len(text) <= 3 and low <= int(text) <= high):
        raise BadInputError(
            f"{what}: {shown(cell.strip())}; a whole number from {low} to {high} is needed, or not heard"
        )
    return int(text)
