"""The tidy readings file: bytes to readings, strictly, with one clear line for whatever cannot be read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from hushpoint.agreement import PairedReading
from hushpoint.agreement.differences import shown
from hushpoint.desk.csv_file import CsvFileError, bytes_of, number_in, table_of, told_name
from hushpoint.measure.reading import HIGHEST_MMHG, LOWEST_MMHG

REQUIRED = ("measurement", "observer", "systolic", "diastolic")
LONGEST_NAME = 80
MOST_TOLD = 20
"""Bad rows named in one answer."""
LEGAL = f"a number from {LOWEST_MMHG} to {HIGHEST_MMHG} is needed"


@dataclass(frozen=True, slots=True)
class Unheard:
    """A row whose systolic is empty: the observer heard none [mmHg]."""

    measurement: str
    observer: str
    diastolic_mmhg: float | None
    client: str = ""

    @property
    def systolic_mmhg(self) -> None:
        """Not heard."""
        return


@dataclass(frozen=True, slots=True)
class ReadingsFile:
    """The readings of a file, and what is wrong with the rows left out, one line each."""

    readings: tuple[PairedReading | Unheard, ...]
    left_out: tuple[str, ...]

    def heard(self) -> tuple[PairedReading, ...]:
        """Those with a systolic."""
        return tuple(one for one in self.readings if isinstance(one, PairedReading))


def read_readings_file(path: Path, *, timed: bool = False) -> tuple[PairedReading, ...]:
    """The readings in a file on disk. Raises CsvFileError."""
    return parse_readings(bytes_of(path), path.name, timed=timed)


def read_answers_file(path: Path) -> tuple[PairedReading | Unheard, ...]:
    """The readings in a file on disk, an empty systolic meaning that none was heard. Raises CsvFileError."""
    return _whole(sound_readings(bytes_of(path), path.name, unheard=True), path.name).readings


def parse_readings(data: bytes, name: str, *, timed: bool = False) -> tuple[PairedReading, ...]:
    """Rows of a tidy CSV in UTF-8: measurement, observer, systolic, diastolic (or empty); if given, client, gauge, at.

    Values are finite numbers from 0 to 300 mmHg, systolic above 0. Other columns are ignored.
    `name` is for messages. Times are looked at only where `timed`. Row numbers are lines of the file, the header being
    1. Raises CsvFileError, one line, with every bad row up to MOST_TOLD.
    """
    return _whole(sound_readings(data, name, timed=timed), name).heard()


def sound_readings(data: bytes, name: str, *, timed: bool = False, unheard: bool = False) -> ReadingsFile:
    """The rows of a file that can be read, and what is wrong with the others. Raises CsvFileError where none can."""
    name = told_name(name)
    bad: dict[int, str] = {}
    readings: list[PairedReading | Unheard] = []
    first_line: dict[tuple[str, str], int] = {}
    for line, cells in table_of(data, name, REQUIRED, once=("client", "gauge", "at"), ragged=bad):
        where = f"row {line}"
        try:
            reading = _unheard(cells, where) if unheard and not cells["systolic"].strip() else _reading(cells, where)
            if timed and isinstance(reading, PairedReading) and reading.at:
                _refuse_no_time(reading.at, f"{where}, column at")
            earlier = first_line.setdefault((reading.measurement, reading.observer), line)
            if earlier != line:
                raise CsvFileError(
                    f"{where}: the same measurement and observer as row {earlier}; "
                    "one row for each observer of a measurement is allowed"
                )
        except CsvFileError as refusal:
            bad[line] = str(refusal)
        else:
            readings.append(reading)
    left_out = tuple(bad[line] if bad[line].startswith("row ") else f"row {line}: {bad[line]}" for line in sorted(bad))
    if not readings and left_out:
        raise CsvFileError(f"{name}, {bad_rows(left_out)}")
    if not readings:
        raise CsvFileError(f"{name}: no readings under the header; at least 1 row is needed")
    return ReadingsFile(tuple(readings), left_out)


def _whole(found: ReadingsFile, name: str) -> ReadingsFile:
    if found.left_out:
        raise CsvFileError(f"{told_name(name)}, {bad_rows(found.left_out)}")
    return found


def bad_rows(told: Sequence[str]) -> str:
    """What is wrong with a file's rows, in one line."""
    more = len(told) - MOST_TOLD
    return " | ".join(told[:MOST_TOLD]) + (f" | and {more} more bad row{'s' * (more > 1)}" if more > 0 else "")


def _unheard(cells: dict[str, str], where: str) -> Unheard:
    diastolic = None
    if cells["diastolic"].strip():
        diastolic = _pressure(cells["diastolic"], f"{where}, column diastolic")
    return Unheard(
        measurement=_name(cells["measurement"], f"{where}, column measurement"),
        observer=_name(cells["observer"], f"{where}, column observer"),
        diastolic_mmhg=diastolic,
        client=cells.get("client", "").strip(),
    )


def _reading(cells: dict[str, str], where: str) -> PairedReading:
    systolic = _pressure(cells["systolic"], f"{where}, column systolic")
    if systolic == 0:
        raise CsvFileError(
            f"{where}, column systolic: {shown(cells['systolic'])}; "
            f"a number above {LOWEST_MMHG} and up to {HIGHEST_MMHG} is needed"
        )
    diastolic = None
    if cells["diastolic"].strip():
        diastolic = _pressure(cells["diastolic"], f"{where}, column diastolic")
        if diastolic > systolic:
            raise CsvFileError(
                f"{where}, column diastolic: {shown(cells['diastolic'])} is above the systolic; "
                f"{LOWEST_MMHG} to {systolic:g} is allowed here"
            )
    return PairedReading(
        measurement=_name(cells["measurement"], f"{where}, column measurement"),
        observer=_name(cells["observer"], f"{where}, column observer"),
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        client=cells.get("client", "").strip(),
        gauge=cells.get("gauge", "").strip(),
        at=cells.get("at", "").strip(),
    )


def _refuse_no_time(text: str, where: str) -> None:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        raise CsvFileError(f"{where}: {shown(text)}; ISO 8601 is needed, such as 2026-03-02T09:30") from None


def _pressure(cell: str, where: str) -> float:
    value = number_in(cell, LOWEST_MMHG, HIGHEST_MMHG)
    if value is None:
        raise CsvFileError(f"{where}: {shown(cell)}; {LEGAL}")
    return value


def _name(cell: str, where: str) -> str:
    text = cell.strip()
    if not 1 <= len(text) <= LONGEST_NAME or not text.isprintable():
        raise CsvFileError(f"{where}: {shown(cell)}; 1 to {LONGEST_NAME} printable characters are needed")
    return text
