"""Timed readings of a gauge: bytes to readings, strictly, with one clear line for whatever cannot be read."""

from __future__ import annotations

from pathlib import Path

from hushpoint.agreement.differences import shown
from hushpoint.desk.csv_file import CsvFileError, bytes_of, number_in, table_of, told_name
from hushpoint.instrument import TimedReading
from hushpoint.instrument.check import READING_MMHG
from hushpoint.instrument.timed import LONGEST_S, MOST_READINGS

REQUIRED = ("time_s", "reading_mmhg")
_LEGAL = {"time_s": (0.0, LONGEST_S), "reading_mmhg": READING_MMHG}


def read_timed_file(path: Path) -> tuple[TimedReading, ...]:
    """The readings in a file on disk. Raises CsvFileError."""
    return parse_timed(bytes_of(path), path.name)


def parse_timed(data: bytes, name: str) -> tuple[TimedReading, ...]:
    """Rows of a CSV in UTF-8 in order of time: time_s, reading_mmhg. Other columns are ignored.

    `name` is for messages. Row numbers are lines of the file, the header being 1. Raises CsvFileError.
    """
    name = told_name(name)
    readings: list[TimedReading] = []
    for line, cells in table_of(data, name, REQUIRED):
        place = f"{name}, row {line}"
        found = TimedReading(_number(cells, "time_s", place), _number(cells, "reading_mmhg", place))
        if readings and found.at_s <= readings[-1].at_s:
            raise CsvFileError(
                f"{place}, column time_s: {found.at_s:g} after {readings[-1].at_s:g}; times that rise are needed"
            )
        readings.append(found)
        if len(readings) > MOST_READINGS:
            raise CsvFileError(f"{place}: more than {MOST_READINGS} timed readings; at most that many are taken")
    return tuple(readings)


def _number(cells: dict[str, str], column: str, place: str) -> float:
    low, high = _LEGAL[column]
    value = number_in(cells[column], low, high)
    if value is None:
        raise CsvFileError(
            f"{place}, column {column}: {shown(cells[column])}; a number from {low:g} to {high:g} is needed"
        )
    return value
