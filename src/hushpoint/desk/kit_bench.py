"""A check as it is typed at the bench or comes as a file: texts to points, so that a page can show them back and store.

Nothing is kept between looking and storing: the page carries what was typed, and it is read and judged anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from hushpoint.agreement.differences import shown
from hushpoint.desk.check_csv import parse_check
from hushpoint.desk.csv_file import number_in
from hushpoint.desk.kit import ROLES, How, Reference, StoredCheck, file_check, judged, refuse_time
from hushpoint.desk.kit_timed import TESTS, StoredTimed, TimedResult, file_timed, timed
from hushpoint.desk.timed_csv import parse_timed
from hushpoint.errors import BadInputError
from hushpoint.guideline import DEFAULT_RULE, gauge_rule, gauge_tests
from hushpoint.instrument import Direction, GaugeCheck, GaugePoint, PointError, TimedReading, refuse_disorder
from hushpoint.instrument.check import READING_MMHG, REFERENCE_ERROR_MMHG, REFERENCE_MMHG
from hushpoint.instrument.timed import LONGEST_S
from hushpoint.ledger.records import Ledger

TIMES = 8
"""Rows for timed readings at the bench."""
LONGEST_TEXT = 80
_USUAL_S = {"leak": range(0, 360, 60), "valve": range(0, 40, 5), "exhaust": (0,)}


@dataclass(frozen=True, slots=True)
class Line:
    """One row at the bench: a step of the procedure, what was typed, and its error once judged."""

    direction: Direction
    step_mmhg: float
    reference: str
    reading: str = ""
    error: PointError | None = None

    @property
    def place(self) -> str:
        """What a refusal calls it."""
        return f"going {self.direction}, step {self.step_mmhg:g}"


@dataclass(frozen=True, slots=True)
class Sheet:
    """A check as typed. `points` is the CSV of a file that was sent, "" where the lines count."""

    lines: tuple[Line, ...]
    points: str = ""
    points_name: str = ""
    rule: str = DEFAULT_RULE
    limit: str = ""
    reference: str = ""
    certificate: str = ""
    error: str = ""
    against: str = "reference"
    checked_at: str = ""
    by: str = ROLES[0]


@dataclass(frozen=True, slots=True)
class Asked:
    """A check that could be read and judged; not stored."""

    points: tuple[GaugePoint, ...]
    rule: str
    reference: Reference
    checked_at: datetime
    how: How
    by: str
    check: GaugeCheck


def blank() -> Sheet:
    """Return the empty sheet: the steps the procedure names, going up, then down."""
    steps = sorted(step.value for step in gauge_tests().steps)
    up = [Line(Direction.UP, step, f"{step:g}") for step in steps]
    down = [Line(Direction.DOWN, step, f"{step:g}") for step in reversed(steps)]
    return Sheet((*up, *down))


def sheet_of(texts: Mapping[str, str], file: tuple[str, bytes] | None) -> Sheet:
    """Return what a form holds; a file wins over the rows. Raises BadInputError where a file is no text."""
    lines = tuple(
        replace(line, reference=_cut(texts, f"r{place}"), reading=_cut(texts, f"g{place}"))
        for place, line in enumerate(blank().lines)
    )
    points, name = _file(file) or (texts.get("points", ""), _cut(texts, "points_name"))
    meta = {
        key: _cut(texts, key) for key in ("rule", "limit", "reference", "certificate", "error", "against", "checked_at")
    }
    return Sheet(lines, points, name, by=_cut(texts, "by"), **meta)


def read(sheet: Sheet, now: datetime) -> Asked:
    """Return the check a sheet holds, judged; raises BadInputError, one line, with what is missing or wrong."""
    rule = sheet.rule
    if sheet.limit.strip():
        if rule != "local":
            raise BadInputError("own limit: counts under the workplace's own rule alone; choose that rule or empty it")
        rule = f"local={sheet.limit.strip().replace(',', '.')}"
    low, high = REFERENCE_ERROR_MMHG
    error = number_in(sheet.error.replace(",", "."), low, high)
    if sheet.reference.strip() and error is None:
        told = f" {shown(sheet.error)};" if sheet.error.strip() else " missing;"
        raise BadInputError(f"certificate error:{told} a number from {low:g} to {high:g} mmHg is needed")
    if sheet.against not in ("", "reference", "second gauge"):
        raise BadInputError("checked against: must be one of reference, second gauge")
    reference = Reference(sheet.reference.strip(), sheet.certificate.strip(), error or 0.0)
    asked_rule = gauge_rule(rule)
    how: How = "second gauge" if sheet.against == "second gauge" else "file" if sheet.points else "bench"
    points = _points(sheet)
    check = judged(points, asked_rule, reference)
    checked_at = moment(sheet.checked_at, now)
    refuse_time(checked_at, now)
    return Asked(points, rule, reference, checked_at, how, sheet.by, check)


def store(ledger: Ledger, gauge_id: str, asked: Asked, *, now: datetime, ref: str) -> StoredCheck:
    """Store a check that was read; the same `ref` stores once."""
    return file_check(
        ledger,
        gauge_id,
        points=asked.points,
        rule=asked.rule,
        reference=asked.reference,
        checked_at=asked.checked_at,
        how=asked.how,
        by=asked.by,
        now=now,
        ref=ref,
    )


def sheet_from(sheet: Sheet, asked: Asked) -> Sheet:
    """Return the sheet with each row's error beside it."""
    if sheet.points:
        return sheet
    errors = iter(asked.check.errors)
    lines = tuple(replace(line, error=next(errors) if line.reading.strip() else None) for line in sheet.lines)
    return replace(sheet, lines=lines)


def moment(typed: str, now: datetime) -> datetime:
    """Return a day and time as a page sends them, in this laptop's zone; now where nothing was typed."""
    text = typed.strip()
    if not text:
        return now
    try:
        found = datetime.fromisoformat(text)
        return found.astimezone(UTC) if 1900 < found.year < 9999 else found.replace(tzinfo=UTC)
    except (ValueError, OverflowError):
        raise BadInputError("checked on: must be a day and time such as 2026-05-01T10:00") from None


def _points(sheet: Sheet) -> tuple[GaugePoint, ...]:
    if sheet.points:
        return parse_check(sheet.points.encode(), sheet.points_name or "the points")
    points, places = [], []
    for line in sheet.lines:
        if not line.reading.strip():
            continue
        points.append(
            GaugePoint(
                _number(line.reference, REFERENCE_MMHG, f"{line.place}: reference"),
                _number(line.reading, READING_MMHG, f"{line.place}: gauge"),
                line.direction,
            )
        )
        places.append(line.place)
    refuse_disorder(points, places)
    return tuple(points)


@dataclass(frozen=True, slots=True)
class Times:
    """Timed readings as typed: rows of seconds and mmHg, or the CSV of a file."""

    test: str
    rows: tuple[tuple[str, str], ...]
    points: str = ""
    points_name: str = ""
    rule: str = DEFAULT_RULE
    by: str = ROLES[0]


@dataclass(frozen=True, slots=True)
class AskedTimes:
    """Timed readings that could be read and judged; not stored."""

    readings: tuple[TimedReading, ...]
    rule: str
    by: str
    result: TimedResult


def blank_times(test: str) -> Times:
    """Return empty rows with the usual times of a test; the leak's where none is named."""
    known = test if test in TESTS else TESTS[0]
    usual = [str(second) for second in _USUAL_S[known]]
    return Times(known, tuple((second, "") for second in [*usual, *[""] * TIMES][:TIMES]))


def times_of(texts: Mapping[str, str], file: tuple[str, bytes] | None) -> Times:
    """Return what a form holds; a file wins over the rows. Raises BadInputError where a file is no text."""
    rows = tuple((_cut(texts, f"t{place}"), _cut(texts, f"p{place}")) for place in range(TIMES))
    points, name = _file(file) or (texts.get("points", ""), _cut(texts, "points_name"))
    return Times(_cut(texts, "test"), rows, points, name, _cut(texts, "rule"), _cut(texts, "by"))


def read_times(sheet: Times) -> AskedTimes:
    """Return the timed test a sheet holds, judged; raises BadInputError, one line."""
    if sheet.points:
        readings = parse_timed(sheet.points.encode(), sheet.points_name or "the readings")
    else:
        readings = tuple(
            TimedReading(
                _number(second, (0.0, LONGEST_S), f"row {place}: seconds"),
                _number(mmhg, READING_MMHG, f"row {place}: gauge"),
            )
            for place, (second, mmhg) in enumerate(sheet.rows, start=1)
            if mmhg.strip()
        )
    return AskedTimes(readings, sheet.rule, sheet.by, timed(sheet.test, readings, gauge_rule(sheet.rule)))


def store_times(ledger: Ledger, item_id: str, asked: AskedTimes, *, ref: str) -> StoredTimed:
    """Store a timed test that was read; the same `ref` stores once."""
    return file_timed(
        ledger, item_id, what=asked.result.what, readings=asked.readings, rule=asked.rule, by=asked.by, ref=ref
    )


def _number(text: str, legal: tuple[float, float], what: str) -> float:
    found = number_in(text.replace(",", "."), *legal)
    if found is None:
        told = shown(text) if text.strip() else "missing"
        raise BadInputError(f"{what} {told}; a number from {legal[0]:g} to {legal[1]:g} is needed")
    return found


def _file(file: tuple[str, bytes] | None) -> tuple[str, str] | None:
    if file is None or not (file[0] or file[1]):
        return None
    name = file[0] or "the file"
    try:
        return file[1].decode("utf-8-sig") or " ", name
    except UnicodeDecodeError:
        raise BadInputError(f"{shown(name, 80)}: must be CSV text in UTF-8") from None


def _cut(texts: Mapping[str, str], name: str) -> str:
    return texts.get(name, "")[:LONGEST_TEXT]
