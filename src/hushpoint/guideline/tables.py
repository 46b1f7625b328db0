"""Reading the package's own CSV tables: every cell is checked, a refusal names table, row and legal range."""

from __future__ import annotations

import csv
import io
import math
from importlib import resources

from hushpoint.errors import BadInputError

PROVENANCES = ("SEEN", "FROM MEMORY", "DERIVED")
"""How a figure came here: read in the source, remembered, or worked out from other figures."""
MARKS = (*PROVENANCES, "CHOICE")
"""CHOICE: a figure that no guideline sets and that is ours, or an institution's own."""


class TableError(BadInputError):
    """A guideline table holds something outside what is allowed."""


class TableRow:
    """One row of a table, with its place for error lines."""

    def __init__(self, table: str, line: int, cells: dict[str, str]) -> None:
        self._place = f"{table} row {line}"
        self._cells = cells

    def refuse(self, column: str, legal: str) -> TableError:
        """Return the error that names this row, the column, its value and what is legal."""
        return TableError(f"{self._place}, {column} {self._cells.get(column, '')!r}: must be {legal}")

    def text(self, column: str) -> str:
        """Return a cell that must not be empty."""
        value = self._cells[column].strip()
        if not value:
            raise self.refuse(column, "some text")
        return value

    def number(self, column: str, low: float, high: float) -> float:
        """Return a finite number from `low` to `high`."""
        try:
            value = float(self._cells[column])
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise self.refuse(column, f"a number from {low:g} to {high:g}")
        return value

    def optional_number(self, column: str, low: float, high: float) -> float | None:
        """Return a number as `number` does, or None where the cell is empty."""
        return self.number(column, low, high) if self._cells[column].strip() else None

    def pair(self, low_column: str, high_column: str, low: float, high: float) -> tuple[float, float]:
        """Return a range whose first number is not above its second."""
        pair = (self.number(low_column, low, high), self.number(high_column, low, high))
        if pair[0] > pair[1]:
            raise self.refuse(low_column, f"at most {high_column} ({pair[1]:g})")
        return pair

    def one_of(self, column: str, allowed: tuple[str, ...]) -> str:
        """Return a cell that must be one of `allowed`."""
        value = self._cells[column].strip()
        if value not in allowed:
            raise self.refuse(column, "one of " + ", ".join(allowed))
        return value

    def yes(self, column: str) -> bool:
        """Return True for yes, False for no."""
        return self.one_of(column, ("yes", "no")) == "yes"


def package_text(name: str) -> str:
    """Return the text of one of the package's own tables."""
    return (resources.files("hushpoint.guideline") / "data" / name).read_text(encoding="utf-8")


def table_rows(text: str, table: str, columns: tuple[str, ...]) -> list[TableRow]:
    """Return the rows of a CSV table whose heading must be exactly `columns`, first column unique.

    Raises TableError for a wrong heading, a ragged row, an empty table or an id that stands twice.
    """
    reader = csv.reader(io.StringIO(text))
    heading = tuple(next(reader, ()))
    if heading != columns:
        raise TableError(f"{table} row 1: the heading must be {','.join(columns)}")
    rows: list[TableRow] = []
    seen: set[str] = set()
    for line, cells in enumerate(reader, start=2):
        if len(cells) != len(columns):
            raise TableError(f"{table} row {line}: {len(cells)} cells, must be {len(columns)}")
        if cells[0] in seen:
            raise TableError(f"{table} row {line}: {columns[0]} {cells[0]!r} stands twice, must be unique")
        seen.add(cells[0])
        rows.append(TableRow(table, line, dict(zip(columns, cells, strict=True))))
    if not rows:
        raise TableError(f"{table}: no rows, must hold at least one")
    return rows
