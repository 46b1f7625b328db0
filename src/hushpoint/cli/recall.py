"""`hushpoint recall GAUGE`: every reading that a failed gauge touched, corrected; read only."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from hushpoint.cli.keep import DEFAULT_DATA
from hushpoint.desk import recall as desk
from hushpoint.desk import recall_sheet as sheet
from hushpoint.desk import visits
from hushpoint.ledger.store import open_ledger


def list_touched(gauge: str, *, data: Path | None, database: str | None, policy: str | None, as_json: bool) -> None:
    """Print the worklist of a gauge. Raises NotFoundError where it is unknown or never failed a check."""
    ledger = open_ledger(data or DEFAULT_DATA, database, create=False)
    try:
        window = desk.window_of(desk.gauge_named(ledger, gauge))
        known = visits.known_by_room(ledger)
        found = desk.recall(ledger, window, visit_known=known, policy_id=policy or desk.POLICY)
    finally:
        ledger.close()
    if as_json:
        print(json.dumps(sheet.as_json(found)))  # noqa: T201
    else:
        _print(found)


def _print(found: desk.Recall) -> None:
    from hushpoint.cli.tables import result_console, result_table

    out, window = result_console(), found.window
    since = "its first reading" if window.good is None else f"its last good check on {sheet.day(window.good.at)}"
    out.print(
        f"Gauge {window.gauge.label}: outside its limits on {sheet.day(window.bad.at)}. Readings since {since}: "
        f"{sum(len(line.touched) for line in found.lines)}, on {len(found.lines)} lines.",
        markup=False,
    )
    for reason in window.bad.reasons:
        out.print(f"{reason[0].upper()}{reason[1:]}.", markup=False)
    out.print(f"{sheet.moved_words(found.moved)}", markup=False)
    for urgency, title in desk.URGENCIES.items():
        lines = [line for line in found.lines if line.urgency == urgency]
        if not lines:
            continue
        table = result_table(
            "line", "code", "written", "slope", "step", "interval", "so", "changes", "category", "decided",
            title=f"{title}: {len(lines)}",
        )  # fmt: skip
        for line in lines:
            for row in _rows(line):
                table.add_row(*row)
        out.print(table)
    for caution in (*sheet.basis_words(found), *found.cautions()):
        out.print(caution, markup=False)


def _rows(line: desk.Line) -> Iterator[list[str]]:
    change = line.change
    decided = "" if line.decided is None else line.decided.decision
    for place, row in enumerate(sheet.shown_rows(line)):
        told = [line.suggested, change.changes if change else "", sheet.category_words(change) if change else ""]
        told = [*told, decided] if place == 0 else [""] * 4
        yield ["" if place else line.key, row.code, row.written, row.slope, row.whole, row.interval, *told]
