"""The tidy readings file: bytes to readings, strictly, with one clear line for whatever cannot be read."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from pathlib import Path

from hushpoint.agreement import PairedReading
from hushpoint.agreement.differences import shown
from hushpoint.errors import BadInputError
from hushpoint.measure.reading import HIGHEST_MMHG, LOWEST_MMHG

REQUIRED = ("measurement", "observer", "systolic", "diastolic")
LARGEST_BYTES = 50_000_000
LONGEST_NAME = 80
LEGAL = f"a number from {LOWEST_MMHG} to {HIGHEST_MMHG} is needed"
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?", re.ASCII)


class ReadingsError(BadInputError):
    """A readings file cannot be used; the line names file, row, column, value and legal range."""


def read_readings_file(path: Path) -> tuple[PairedReading, ...]:
    """The readings in a file on disk. Raises ReadingsError."""
    name = shown(path.name, 80).strip('"')
    try:
        if path.is_dir():
            raise ReadingsError(f"{name}: this is a folder; a CSV file is needed")
        with path.open("rb") as file:
            # One byte more than allowed tells too large a file, an endless device included.
            data = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as refusal:
        reason = getattr(refusal, "strerror", None) or "no such name"
        raise ReadingsError(f"{name}: cannot be read ({reason}); a CSV file is needed") from None
    return parse_readings(data, path.name)


def parse_readings(data: bytes, name: str) -> tuple[PairedReading, ...]:
    """Rows of a tidy CSV in UTF-8: measurement, observer, systolic, diastolic (or empty) and, if given, client.

    Values are finite numbers from 0 to 300 mmHg, systolic above 0. Other columns are ignored.
    `name` is for messages. Row numbers are lines of the file, the header being 1. Raises ReadingsError.
    """
    name = shown(name, 80).strip('"')
    rows = _rows(_text(data, name), name)
    header_line, header = next(rows, (1, []))
    columns = [column.strip().lower() for column in header]
    missing = [column for column in REQUIRED if column not in columns]
    if missing:
        raise ReadingsError(
            f"{name}, row {header_line}: no column {', '.join(missing)} in {shown(','.join(header))}; "
            f"the header needs {','.join(REQUIRED)}"
        )
    twice = [column for column in (*REQUIRED, "client") if columns.count(column) > 1]
    if twice:
        raise ReadingsError(f"{name}, row {header_line}: column {twice[0]} stands twice; once is allowed")
    readings = []
    first_line: dict[tuple[str, str], int] = {}
    for line, cells in rows:
        if len(cells) != len(columns):
            raise ReadingsError(f"{name}, row {line}: {len(cells)} fields where the header has {len(columns)}")
        reading = _reading(dict(zip(columns, cells, strict=True)), f"{name}, row {line}")
        earlier = first_line.setdefault((reading.measurement, reading.observer), line)
        if earlier != line:
            raise ReadingsError(
                f"{name}, row {line}: the same measurement and observer as row {earlier}; "
                "one row for each observer of a measurement is allowed"
            )
        readings.append(reading)
    if not readings:
        raise ReadingsError(f"{name}: no readings under the header; at least 1 row is needed")
    return tuple(readings)


def _text(data: bytes, name: str) -> str:
    if len(data) > LARGEST_BYTES:
        raise ReadingsError(f"{name}: larger than {LARGEST_BYTES // 1_000_000} MB, the most that is read")
    if not data.strip():
        raise ReadingsError(f"{name}: the file is empty; a header and at least 1 row are needed")
    zero = data.find(b"\0")
    if zero >= 0:
        line = data.count(b"\n", 0, zero) + 1
        raise ReadingsError(f"{name}, row {line}: a zero byte; a CSV file in UTF-8 text is needed")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as refusal:
        line = data.count(b"\n", 0, refusal.start) + 1
        byte = data[refusal.start]
        raise ReadingsError(f"{name}, row {line}: byte 0x{byte:02x} is not UTF-8; save the file as UTF-8") from None


def _rows(text: str, name: str) -> Iterator[tuple[int, list[str]]]:
    """(line the row begins on, cells), blank lines left out."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    line = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as refusal:
            reason = str(refusal).splitlines()[0]
            raise ReadingsError(
                f"{name}, row {line}: not readable as CSV ({reason}); check the quotation marks"
            ) from None
        if any(cell.strip() for cell in cells):
            yield line, cells
        line = reader.line_num + 1


def _reading(cells: dict[str, str], where: str) -> PairedReading:
    systolic = _pressure(cells["systolic"], f"{where}, column systolic")
    if systolic == 0:
        raise ReadingsError(
            f"{where}, column systolic: {shown(cells['systolic'])}; "
            f"a number above {LOWEST_MMHG} and up to {HIGHEST_MMHG} is needed"
        )
    diastolic = None
    if cells["diastolic"].strip():
        diastolic = _pressure(cells["diastolic"], f"{where}, column diastolic")
        if diastolic > systolic:
            raise ReadingsError(
                f"{where}, column diastolic: {shown(cells['diastolic'])} is above the systolic; "
                f"{LOWEST_MMHG} to {systolic:g} is allowed here"
            )
    return PairedReading(
        measurement=_name(cells["measurement"], f"{where}, column measurement"),
        observer=_name(cells["observer"], f"{where}, column observer"),
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        client=cells.get("client", "").strip(),
    )


def _pressure(cell: str, where: str) -> float:
    text = cell.strip()
    # Sixteen characters hold every number in range with more decimals than any gauge gives.
    value = float(text) if len(text) <= 16 and _NUMBER.fullmatch(text) else None
    if value is None or not LOWEST_MMHG <= value <= HIGHEST_MMHG:
        raise ReadingsError(f"{where}: {shown(cell)}; {LEGAL}")
    return value


def _name(cell: str, where: str) -> str:
    text = cell.strip()
    if not 1 <= len(text) <= LONGEST_NAME or not text.isprintable():
        raise ReadingsError(f"{where}: {shown(cell)}; 1 to {LONGEST_NAME} printable characters are needed")
    return text
