"""Tables on a terminal: one look for every command."""

from __future__ import annotations

import io
import sys
from typing import TYPE_CHECKING, Any

from hushpoint.cli.told import said, teller

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table


def result_console() -> Console:
    """Return the console for results, on standard output."""
    from rich.console import Console

    class ResultConsole(Console):
        """A reader that has enough, such as `head`, is no finding: status 1 belongs to `verify`."""

        def on_broken_pipe(self) -> None:
            try:
                super().on_broken_pipe()
            except SystemExit:
                raise SystemExit(0) from None

        def print(self, *shown: Any, **how: Any) -> None:
            """Print texts and tables in the terminal's language."""
            if teller() is not None:
                shown = tuple(said(one) if isinstance(one, str) else _said_table(one) for one in shown)
            super().print(*shown, **how)

    if isinstance(sys.stdout, io.TextIOWrapper):
        # Bars and signs that an old terminal's character set lacks become question marks, not an error.
        sys.stdout.reconfigure(errors="replace")
    return ResultConsole(highlight=False)


def _said_table(table: Any) -> Any:
    """Return a table with its title, headings and cells said; anything else as it is."""
    from rich.table import Table

    if isinstance(table, Table):
        table.title = said(table.title) if isinstance(table.title, str) else table.title
        for column in table.columns:
            column.header = said(column.header) if isinstance(column.header, str) else column.header
            column._cells = [said(cell) if isinstance(cell, str) else cell for cell in column._cells]
    return table


def result_table(*headings: str, title: str, gap: int = 1) -> Table:
    """Return an empty table; the first two columns hold words, the others numbers."""
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    made = Table(title=title, title_justify="left", box=SIMPLE_HEAD, padding=(0, gap), pad_edge=False)
    for place, heading in enumerate(headings):
        made.add_column(heading, justify="left" if place < 2 else "right", no_wrap=True)
    return made
