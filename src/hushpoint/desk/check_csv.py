"""The points of a gauge check: bytes to points, strictly, with one clear line for whatever cannot be read."""

from __future__ import annotations

from pathlib import Path

from hushpoint.agreement.differences import shown
from hushpoint.desk.csv_file import CsvFileError, bytes_of, number_in, table_of, told_name
from hushpoint.instrument import Direction, GaugePoint, InstrumentError, refuse_disorder
from hushpoint.instrument.check import READING_MMHG, REFERENCE_MMHG

REQUIRED = ("reference_mmhg", "reading_mmhg", "direction")
_DIRECTIONS = {"up": Direction.UP, "rising": Direction.UP, "down": Direction.DOWN, "falling": Direction.DOWN}
_LEGAL = {"reference_mmhg": REFERENCE_MMHG, "reading_mmhg": READING_MMHG}


def read_check_file(path: Path) -> tuple[GaugePoint, ...]:
    """The points in a file on disk. Raises CsvFileError."""
    return parse_check(bytes_of(path), path.name)


def parse_check(data: bytes, name: str) -> tuple[GaugePoint, ...]:
    """Rows of a CSV in UTF-8, in the order they were read: reference_mmhg, reading_mmhg, direction.

    A direction is up or rising, down or falling; references must go the same way; 2 points or more. Other columns are
    ignored. `name` is for messages. Row numbers are lines of the file, the header being 1. Raises CsvFileError.
    """
    name = told_name(name)
    points, places = [], []
    for line, cells in table_of(data, name, REQUIRED):
        place = f"{name}, row {line}"
        points.append(
            GaugePoint(
                reference_mmhg=_pressure(cells, "reference_mmhg", place),
                reading_mmhg=_pressure(cells, "reading_mmhg", place),
                direction=_direction(cells["direction"], place),
            )
        )
        places.append(place)
    try:
        refuse_disorder(points, places)
    except InstrumentError as refusal:
        told = str(refusal)
        raise CsvFileError(told if told.startswith(name) else f"{name}: {told}") from None
    return tuple(points)


def _pressure(cells: dict[str, str], column: str, place: str) -> float:
    low, high = _LEGAL[column]
    value = number_in(cells[column], low, high)
    if value is None:
        raise CsvFileError(
            f"{place}, column {column}: {shown(cells[column])}; a number from {low:g} to {high:g} is needed"
        )
    return value


def _direction(cell: str, place: str) -> Direction:
    direction = _DIRECTIONS.get(cell.strip().lower())
    if direction is None:
        raise CsvFileError(f"{place}, column direction: {shown(cell)}; up or down is needed")
    return direction
