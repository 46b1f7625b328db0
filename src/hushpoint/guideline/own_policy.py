"""An institution's own clinical policy: one CSV, a shipped policy written out, changed, and checked when read back.

Each row is a `part` of the policy. `policy`: what = id, based_on. `protocol`: what and value, one figure a row.
`band`: what = the category's name, from the lowest up. `step`: what = the step's letter, the gravest first. Every row
but `policy` keeps its source and its mark, so that a changed figure says whose choice it is.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace

from hushpoint.guideline.bands import CLINICAL_IDS, Band, schemes_of
from hushpoint.guideline.clinical_policies import ClinicalPolicy, LadderStep, ladders_of
from hushpoint.guideline.protocols import PROTOCOL_FIGURES, protocols, protocols_of
from hushpoint.guideline.tables import TableError, TableRow

COLUMNS = (
    "part", "what", "value", "systolic_from_mmhg", "diastolic_from_mmhg", "systolic_mmhg", "diastolic_mmhg", "reached",
    "verdict", "within_days", "to", "limits", "source", "provenance",
)  # fmt: skip
_PARTS = ("policy", "protocol", "band", "step")
_ID = re.compile(r"[A-Z][A-Z0-9_]{2,39}", re.ASCII)
LONGEST_CELL = 300


def policy_text(policy: ClinicalPolicy, own_id: str) -> str:
    """Return a policy as the CSV an institution changes, under an id of its own."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerow({"part": "policy", "what": "id", "value": own_id})
    writer.writerow({"part": "policy", "what": "based_on", "value": policy.id})
    for what in PROTOCOL_FIGURES:
        source, mark = policy.protocol.sources[what]
        row = {"part": "protocol", "what": what, "value": policy.protocol.written(what)}
        writer.writerow({**row, "source": source, "provenance": mark})
    for band in policy.scheme.bands:
        row = {"part": "band", "what": band.name, "systolic_from_mmhg": f"{band.systolic_from_mmhg:g}"}
        edge = _written(band.diastolic_from_mmhg).replace("-", "")
        marks = {"source": policy.scheme.source, "provenance": policy.scheme.provenance}
        writer.writerow({**row, "diastolic_from_mmhg": edge, **marks})
    for step in policy.ladder:
        writer.writerow(
            {
                "part": "step",
                "what": step.step,
                "systolic_mmhg": f"{step.systolic_mmhg:g}",
                "diastolic_mmhg": f"{step.diastolic_mmhg:g}",
                "reached": "more" if step.strict else "at_least",
                "verdict": step.verdict,
                "within_days": step.within_days,
                "to": step.to,
                "limits": step.limits,
                "source": step.source,
                "provenance": step.provenance,
            }
        )
    return out.getvalue()


def based_on(text: str) -> str:
    """Return the id of the shipped policy that a read policy's text was changed from."""
    rows = csv.reader(io.StringIO(text, newline=""))
    return next(cells[2].strip() for cells in rows if [cell.strip() for cell in cells[:2]] == ["policy", "based_on"])


def read_own_policy(text: str, table: str) -> ClinicalPolicy:
    """Return the policy in a CSV as `policy_text` writes it; `table` is its name in error lines.

    Raises TableError, one line with row, column and legal range: for a missing part, an id that is a shipped one's, and
    whatever the shipped tables are checked for.
    """
    parts = _parts(text, table)
    named = {cells["what"].strip(): cells["value"].strip() for _, cells in parts["policy"]}
    own_id, origin = named.get("id", ""), named.get("based_on", "")
    if not _ID.fullmatch(own_id) or own_id in CLINICAL_IDS:
        raise TableError(
            f"{table}: policy id {own_id[:40]!r} must be 3 to 40 of A-Z, 0-9 and _, a letter first, and none of "
            f"{', '.join(CLINICAL_IDS)}"
        )
    if origin not in CLINICAL_IDS:
        raise TableError(f"{table}: policy based_on {origin[:40]!r} must be one of {', '.join(CLINICAL_IDS)}")
    known = (own_id,)
    figures = [
        TableRow(table, line, {**cells, "id": f"{own_id}.{cells['what'].strip()}", "policy": own_id})
        for line, cells in parts["protocol"]
    ]
    bands = [
        TableRow(table, line, {**cells, "scheme": own_id, "rank": str(rank), "category": cells["what"]})
        for rank, (line, cells) in enumerate(parts["band"])
    ]
    steps = [TableRow(table, line, {**cells, "policy": own_id, "step": cells["what"]}) for line, cells in parts["step"]]
    protocol = protocols_of(figures, table, known)[own_id]
    scheme = schemes_of(bands, table, known)[own_id]
    ladder = ladders_of(steps, table, known)[own_id]
    if not any(step.verdict == "refer" for step in ladder):
        raise TableError(f"{table}: the ladder must hold at least one step whose verdict is refer")
    if protocol.name == protocols()[origin].name:
        protocol = replace(protocol, name=own_id)
    return ClinicalPolicy(own_id, f"{protocol.name}, changed from {origin}", protocol.dated, scheme, protocol, ladder)


def changes(policy: ClinicalPolicy, shipped: ClinicalPolicy) -> tuple[tuple[str, str, str], ...]:
    """Return (what, shipped, own) for every figure, band and step of an own policy that differs."""
    found = [
        (what.replace("_", " "), shipped.protocol.written(what), policy.protocol.written(what))
        for what in PROTOCOL_FIGURES
        if what != "name" and shipped.protocol.written(what) != policy.protocol.written(what)
    ]
    for mine, theirs, what in (
        ([_band(band) for band in policy.scheme.bands], [_band(band) for band in shipped.scheme.bands], "bands"),
        ([_step(step) for step in policy.ladder], [_step(step) for step in shipped.ladder], "ladder"),
    ):
        if mine != theirs:
            lost, new = [each for each in theirs if each not in mine], [each for each in mine if each not in theirs]
            found.append((what, "; ".join(lost) or "-", "; ".join(new) or "-"))
    return tuple(found)


def _band(band: Band) -> str:
    return f"{band.name} from {band.systolic_from_mmhg:g}/{_written(band.diastolic_from_mmhg)}"


def _step(step: LadderStep) -> str:
    return f"{step.words()}: {step.verdict.replace('_', ' ')}, {step.within_days} days, {step.limits}"


def _written(edge_mmhg: float | None) -> str:
    return "-" if edge_mmhg is None else f"{edge_mmhg:g}"


def _parts(text: str, table: str) -> dict[str, list[tuple[int, dict[str, str]]]]:
    """Return (row number, cells) by part, in order."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    if tuple(next(reader, ())) != COLUMNS:
        raise TableError(f"{table} row 1: the heading must be {','.join(COLUMNS)}")
    parts: dict[str, list[tuple[int, dict[str, str]]]] = {part: [] for part in _PARTS}
    seen: set[tuple[str, str]] = set()
    for line, cells in enumerate(reader, start=2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(COLUMNS):
            raise TableError(f"{table} row {line}: {len(cells)} cells, must be {len(COLUMNS)}")
        if any(len(cell) > LONGEST_CELL or not cell.isprintable() for cell in cells):
            raise TableError(f"{table} row {line}: every cell must be at most {LONGEST_CELL} printable characters")
        row = dict(zip(COLUMNS, cells, strict=True))
        part, what = TableRow(table, line, row).one_of("part", _PARTS), row["what"].strip()
        if (part, what) in seen:
            raise TableError(f"{table} row {line}: {part} {what!r} stands twice, must be unique")
        seen.add((part, what))
        parts[part].append((line, row))
    for part, rows in parts.items():
        if not rows:
            raise TableError(f"{table}: no row of part {part}, must hold {', '.join(_PARTS)}")
    return parts
