"""`hushpoint visit VISIT.json|-`: the next step, the value and what the policy says, for one client's visit."""

from __future__ import annotations

import json
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from hushpoint.desk.csv_file import told_name
from hushpoint.desk.visit_json import LARGEST_BYTES, VisitFileError, parse_visit, visit_file_bytes, visit_lines
from hushpoint.errors import BadInputError
from hushpoint.guideline.clinical_policies import ClinicalPolicy, clinical_policies, clinical_policy
from hushpoint.measure.shown import whole_mmhg
from hushpoint.visit import Judged, Refer, judge_visit

if TYPE_CHECKING:
    from rich.console import Console

ROUNDING = "shown to the nearest whole mmHg, halves up; judged unrounded"


def visit_file(typed: str, *, policy: str | None, as_json: bool) -> int:
    """Print what the policy says about a visit and return the exit status. Raises BadInputError.

    `typed` is a path, - for standard input, or a file of one visit a line whose name ends in .jsonl: there a line that
    cannot be read gives an object with its error, the rest go on, and the status is 2.
    """
    chosen = None if policy is None else clinical_policy(policy)
    path = Path(typed)
    if path.suffix == ".jsonl":
        if not as_json:
            raise VisitFileError(f"{told_name(path.name)}: one visit a line; --json is needed")
        return _judge_lines(path, chosen)
    if typed == "-":
        if sys.stdin is None:  # closed by whoever started the command
            raise VisitFileError("standard input: closed; one JSON object is needed")
        data, name = sys.stdin.buffer.read(LARGEST_BYTES + 1), "standard input"
    else:
        data, name = visit_file_bytes(path), path.name
    judged = _judge(data, name, chosen)
    if as_json:
        print(json.dumps(as_object(judged)))  # noqa: T201
    else:
        _print(judged)
    return 0


def _judge(data: bytes, name: str, chosen: ClinicalPolicy | None) -> Judged:
    visit, named = parse_visit(data, name)
    if chosen is None:
        if named is None:
            known = ", ".join(clinical_policies())
            raise VisitFileError(f"{told_name(name)}: no policy; --policy or policy must be one of {known}")
        chosen = clinical_policy(named)
    return judge_visit(visit, chosen, datetime.now().astimezone())


def _judge_lines(path: Path, chosen: ClinicalPolicy | None) -> int:
    status = 0
    for line, data in visit_lines(path):
        try:
            told = as_object(_judge(data, f"{path.name}, line {line}", chosen))
        except BadInputError as refusal:
            told, status = {"line": line, "error": str(refusal)}, 2
        print(json.dumps(told))  # noqa: T201
    return status


def as_object(judged: Judged) -> dict[str, object]:
    """Return the documented object of `hushpoint visit --json`."""
    value, edge, step = judged.value, judged.edge, judged.step
    scheme = judged.policy.scheme
    return {
        "next": {"do": judged.next.do, "why": judged.next.why, "seconds": judged.next.seconds},
        "value": None
        if value is None
        else {
            "systolic": whole_mmhg(value.systolic_mmhg),
            "diastolic": whole_mmhg(value.diastolic_mmhg),
            "how": value.how,
            "arm": value.arm,
            "unrounded": [round(value.systolic_mmhg, 6), round(value.diastolic_mmhg, 6)],
            "rounding": ROUNDING,
            "complete": value.complete,
            "doubts": list(value.doubts),
        },
        "category": None
        if judged.category is None
        else {
            "scheme": scheme.id,
            "name": judged.category,
            "form": judged.form,
            "nearest_edge": None
            if edge is None
            else {"end": edge.end, "at": edge.at_mmhg, "distance": round(edge.distance_mmhg, 6)},
            "source": scheme.source,
            "mark": scheme.provenance,
        },
        "also": [{"scheme": other, "name": name} for other, name in judged.also],
        "action": {
            "verdict": judged.action.word,
            "when": judged.action.when,
            "reasons": list(judged.action.reasons),
            "policy": judged.policy.id,
            "to": judged.action.to if isinstance(judged.action, Refer) else None,
            "limit": None
            if step is None
            else {
                "step": step.step,
                "systolic": step.systolic_mmhg,
                "diastolic": step.diastolic_mmhg,
                "reached": "above" if step.strict else "at or above",
                "limits": step.limits,
                "source": step.source,
                "mark": step.provenance,
            },
        },
        "readings": [
            {
                "number": each.number,
                "at": each.reading.at.isoformat() if each.reading.at else None,
                "arm": each.reading.arm,
                "systolic": each.reading.systolic_mmhg,
                "diastolic": each.reading.diastolic_mmhg,
                "counted": each.counted,
                "marks": list(each.marks),
            }
            for each in judged.readings
        ],
        "cautions": list(judged.cautions),
    }


def _print(judged: Judged) -> None:
    from hushpoint.cli.tables import result_console

    out, value, action = result_console(), judged.value, judged.action
    wait = f" (in {judged.next.seconds} s)" if judged.next.seconds else ""
    out.print(f"Next: {judged.next.do.replace('_', ' ')}{wait}: {judged.next.why}.", markup=False)
    to = f", to {action.to}" if isinstance(action, Refer) else ""
    out.print(f"{action.word.upper()} {action.when}{to} (policy {judged.policy.id}).", markup=False)
    for reason in action.reasons:
        out.print(f"  because: {reason}.", markup=False)
    if value is not None:
        shown = f"{whole_mmhg(value.systolic_mmhg)}/{whole_mmhg(value.diastolic_mmhg)}"
        out.print(f"Value today, resting: {shown} mmHg, {value.how} ({ROUNDING}).", markup=False)
        for doubt in value.doubts:
            out.print(f"  note: {doubt}.", markup=False)
        form = f", {judged.form}" if judged.form else ""
        out.print(f"Category by {judged.policy.id}: {judged.category}{form}.", markup=False)
        if judged.edge is not None:
            away = judged.edge.distance_mmhg
            side = f"{away:.1f} below" if away > 0 else f"{-away:.1f} above"
            out.print(f"Nearest edge: {judged.edge.at_mmhg:g} {judged.edge.end}, the value is {side}.", markup=False)
        out.print("By other schemes: " + "; ".join(f"{scheme} {name}" for scheme, name in judged.also), markup=False)
    _print_readings(out, judged)
    for caution in judged.cautions:
        out.print(caution, markup=False)


def _print_readings(out: Console, judged: Judged) -> None:
    from hushpoint.cli.tables import result_table

    if not judged.readings:
        return
    table = result_table("reading", "arm", "systolic", "diastolic", "marks", title="Readings by time, all kept")
    for each in judged.readings:
        ends = (each.reading.systolic_mmhg, each.reading.diastolic_mmhg)
        told = ["not heard" if end is None else f"{end:g}" for end in ends]
        marks = ", ".join(mark.replace("_", " ") for mark in each.marks)
        table.add_row(str(each.number), each.reading.arm or "", *told, marks)
    out.print(table)
