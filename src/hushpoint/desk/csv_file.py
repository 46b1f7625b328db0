"""A CSV file in UTF-8, strictly: bytes to rows of named cells, with one clear line for whatever cannot be read."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from hushpoint.agreement.differences import shown
from hushpoint.errors import BadInputError
from hushpoint.guideline.tables import TableError

LARGEST_BYTES = 50_000_000
LONGEST_LINE, LONGEST_HEADER = 400, 10_000
Whole = TypeVar("Whole")
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"\s*[+-]?[0-9]+,[0-9]+\s*", re.ASCII)
_FORMULA = "=+-@\t\r"


class CsvFileError(BadInputError):
    """A CSV file cannot be used; the line names file, row, column, value and legal range."""


def told_name(name: str) -> str:
    """A file's name as messages tell it, control characters made visible."""
    return shown(name, 80).strip('"')


def bytes_of(path: Path) -> bytes:
    """The bytes of a file on disk, one more than is read where it is too large. Raises CsvFileError."""
    name = told_name(path.name)
    try:
        if path.is_dir():
            raise CsvFileError(f"{name}: this is a folder; a CSV file is needed")
        with path.open("rb") as file:
            # One byte more than allowed tells too large a file, an endless device included.
            return file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as refusal:
        reason = getattr(refusal, "strerror", None) or "no such name"
        raise CsvFileError(f"{name}: cannot be read ({reason}); a CSV file is needed") from None


def own_file(
    data: bytes, name: str, read: Callable[[str, str], Whole], *, largest_bytes: int = 1_000_000
) -> tuple[Whole, str]:
    """What an institution's own table holds, as `read(text, name)` gives it, and its text.

    Raises CsvFileError, one line, for what is too large, not UTF-8, not CSV, or refused by `read` with a TableError.
    """
    told = told_name(name)
    if len(data) > largest_bytes:
        raise CsvFileError(f"{told}: larger than {_size(largest_bytes)}, the most that is read")
    try:
        text = data.decode("utf-8-sig")
        return read(text, told), text
    except UnicodeDecodeError:
        raise CsvFileError(f"{told}: not UTF-8; save the file as UTF-8") from None
    except csv.Error as refusal:
        raise CsvFileError(f"{told}: not readable as CSV ({str(refusal)[:80]}); check the quotation marks") from None
    except TableError as refusal:
        raise CsvFileError(str(refusal)[:LONGEST_LINE].encode("unicode_escape").decode()) from None


def _size(largest_bytes: int) -> str:
    whole_mb = largest_bytes // 1_000_000
    return f"{whole_mb} MB" if whole_mb else f"{largest_bytes // 1000} kB"


def table_of(
    data: bytes,
    name: str,
    required: Sequence[str],
    once: Sequence[str] = (),
    ragged: dict[int, str] | None = None,
) -> Iterator[tuple[int, dict[str, str]]]:
    """(line the row begins on, cells by column) of each row that is not blank, the header being line 1.

    The header, in any order and case, must hold `required` once each, and `once` at most once. Cells part at commas;
    at semicolons or tabs where the header has none of the required columns otherwise, and there a number may have a
    decimal comma, as spreadsheets write it in languages that do. `name` is for messages, as `told_name` gives it. Rows
    with more or fewer fields than the header are refused, or where `ragged` is given passed over and told there by
    line. Raises CsvFileError.
    """
    text = _text(data, name)
    mark = _mark_between_cells(text, required)
    rows = _rows(text, name, mark)
    header_line, header = next(rows, (1, []))
    columns = [column.strip().lower() for column in header]
    missing = [column for column in required if column not in columns]
    if missing:
        raise CsvFileError(
            f"{name}, row {header_line}: no column {', '.join(missing)} in {shown(','.join(header))}; "
            f"the header needs {','.join(required)}"
        )
    twice = [column for column in (*required, *once) if columns.count(column) > 1]
    if twice:
        raise CsvFileError(f"{name}, row {header_line}: column {twice[0]} stands twice; once is allowed")
    for line, cells in rows:
        if len(cells) != len(columns):
            problem = f"{len(cells)} fields where the header has {len(columns)}"
            if ragged is None:
                raise CsvFileError(f"{name}, row {line}: {problem}")
            ragged[line] = problem
            continue
        yield line, dict(zip(columns, cells if mark == "," else map(_pointed, cells), strict=True))


def _pointed(cell: str) -> str:
    return cell.replace(",", ".") if _DECIMAL_COMMA.fullmatch(cell) else cell


def number_in(cell: str, low: float, high: float) -> float | None:
    """The plain decimal number in a cell, or None where there is none from `low` to `high`."""
    text = cell.strip()
    # Sixteen characters hold every number in range with more decimals than any gauge gives.
    value = float(text) if len(text) <= 16 and _NUMBER.fullmatch(text) else None
    return value if value is not None and low <= value <= high else None


def plain_cell(text: str) -> str:
    """A cell that no spreadsheet takes for a formula: an apostrophe before a sign that begins one, unless a number.

    The signs are those of the OWASP page on CSV injection (=, +, -, @, tab, carriage return).
    """
    return f"'{text}" if text and text[0] in _FORMULA and not _NUMBER.fullmatch(text) else text


def _text(data: bytes, name: str) -> str:
    if len(data) > LARGEST_BYTES:
        raise CsvFileError(f"{name}: larger than {LARGEST_BYTES // 1_000_000} MB, the most that is read")
    if not data.strip():
        raise CsvFileError(f"{name}: the file is empty; a header and at least 1 row are needed")
    zero = data.find(b"\0")
    if zero >= 0:
        line = data.count(b"\n", 0, zero) + 1
        raise CsvFileError(f"{name}, row {line}: a zero byte; a CSV file in UTF-8 text is needed")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as refusal:
        line = data.count(b"\n", 0, refusal.start) + 1
        byte = data[refusal.start]
        raise CsvFileError(f"{name}, row {line}: byte 0x{byte:02x} is not UTF-8; save the file as UTF-8") from None


def _mark_between_cells(text: str, required: Sequence[str]) -> str:
    """What parts the cells: the comma, unless the header names a required column only at semicolons or tabs."""
    header = next((line for line in text[:LONGEST_HEADER].splitlines() if line.strip(",;\t ")), "").lower()
    for mark in ",;\t":
        if set(required) & {cell.strip().strip('"').strip() for cell in header.split(mark)}:
            return mark
    return ","


def _rows(text: str, name: str, mark: str) -> Iterator[tuple[int, list[str]]]:
    """(line the row begins on, cells), blank lines left out."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=mark)
    line = 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as refusal:
            reason = str(refusal).splitlines()[0]
            raise CsvFileError(
                f"{name}, row {line}: not readable as CSV ({reason}); check the quotation marks"
            ) from None
        if any(cell.strip() for cell in cells):
            yield line, cells
        line = reader.line_num + 1
