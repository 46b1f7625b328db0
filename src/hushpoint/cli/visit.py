"""`hushpoint visit VISIT.json|-`: the next step, the value and what the policy says, for one client's visit."""

from __future__ import annotations

import json
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from hushpoint.cli.whole_file import whole_file
from hushpoint.desk.csv_file import told_name
from hushpoint.desk.policies import policy_of
from hushpoint.desk.visit_json import LARGEST_BYTES, VisitFileError, parse_visit, visit_file_bytes, visit_lines
from hushpoint.desk.visit_told import ROUNDING, as_object
from hushpoint.errors import BadInputError
from hushpoint.guideline.clinical_policies import ClinicalPolicy, clinical_policies, clinical_policy
from hushpoint.measure.shown import whole_mmhg
from hushpoint.visit import Judged, Refer, Visit, judge_visit

if TYPE_CHECKING:
    from collections.abc import Mapping

    from rich.console import Console

    from hushpoint.desk.visit_sheets import Sheet


ENDINGS = {"--letter": ".pdf", "--client-page": ".pdf", "--record": ".pdf", "--fhir": ".json", "--csv": ".csv"}
"""What the name of each file to write must end in."""


def visit_file(typed: str, *, policy: str | None, as_json: bool, files: Mapping[str, Path | None]) -> int:
    """Print what the policy says about a visit, write the files asked for, and return the exit status.

    Raises BadInputError, and then nothing is written.

    `typed` is a path, - for standard input, or a file of one visit a line whose name ends in .jsonl: there a line that
    cannot be read gives an object with its error, the rest go on, and the status is 2.
    """
    chosen = None if policy is None else policy_of(policy)
    path = Path(typed)
    asked = {option: file for option, file in files.items() if file is not None}
    for option, file in asked.items():
        _check_file(option, file)
    if path.suffix == ".jsonl":
        if asked:
            raise VisitFileError(f"{next(iter(asked))}: goes with one visit, not with a .jsonl file of many")
        if not as_json:
            raise VisitFileError(f"{told_name(path.name)}: one visit a line; --json is needed")
        return _judge_lines(path, chosen)
    if typed == "-":
        if sys.stdin is None:  # closed by whoever started the command
            raise VisitFileError("standard input: closed; one JSON object is needed")
        data, name = sys.stdin.buffer.read(LARGEST_BYTES + 1), "standard input"
    else:
        data, name = visit_file_bytes(path), path.name
    visit, judged = _judge(data, name, chosen)
    _write(visit, judged, asked)
    if as_json:
        print(json.dumps(as_object(judged)))  # noqa: T201
    else:
        _print(judged)
    return 0


def _judge(data: bytes, name: str, chosen: ClinicalPolicy | None) -> tuple[Visit, Judged]:
    visit, named = parse_visit(data, name)
    if chosen is None:
        if named is None:
            known = ", ".join(clinical_policies())
            raise VisitFileError(f"{told_name(name)}: no policy; --policy or policy must be one of {known}")
        chosen = clinical_policy(named)
    return visit, judge_visit(visit, chosen, datetime.now().astimezone())


def _check_file(option: str, file: Path) -> None:
    """Refuse a name before anything is made. Raises VisitFileError."""
    if file.suffix.lower() != ENDINGS[option]:
        raise VisitFileError(f"{option} {told_name(file.name)}: the name must end in {ENDINGS[option]}")
    if file.is_dir() or not file.absolute().parent.is_dir():
        raise VisitFileError(f"{option} {told_name(file.name)}: a file name in a folder that exists is needed")


def _write(visit: Visit, judged: Judged, asked: Mapping[str, Path]) -> None:
    """Make every sheet asked for, then write them: one refused, such as a letter where none goes, writes none."""
    from hushpoint.desk.visit_sheets import visit_csv, visit_fhir, visit_pdf

    made_at = datetime.now().astimezone()
    kinds: dict[str, Sheet] = {"--letter": "letter", "--client-page": "client", "--record": "record"}
    made: list[tuple[Path, bytes]] = []
    for option, file in asked.items():
        if option in kinds:
            made.append((file, visit_pdf(kinds[option], visit, judged, made_at=made_at)))
        elif option == "--fhir":
            made.append((file, visit_fhir(visit, judged, made_at=made_at).encode()))
        else:
            made.append((file, visit_csv(visit, judged).encode()))
    for file, data in made:
        whole_file(file, data)


def _judge_lines(path: Path, chosen: ClinicalPolicy | None) -> int:
    status = 0
    for line, data in visit_lines(path):
        try:
            told = as_object(_judge(data, f"{path.name}, line {line}", chosen)[1])
        except BadInputError as refusal:
            told, status = {"line": line, "error": str(refusal)}, 2
        print(json.dumps(told))  # noqa: T201
    return status


def _print(judged: Judged) -> None:
    from hushpoint.cli.tables import result_console
    from hushpoint.cli.told import said

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
            away = round(judged.edge.distance_mmhg, 1)
            at_mmhg, end = f"{judged.edge.at_mmhg:g}", judged.edge.end
            if away:
                side = f"{away:.1f} below" if away > 0 else f"{-away:.1f} above"
                out.print(f"Nearest edge: {at_mmhg} {end}, the value is {side}.", markup=False)
            else:
                out.print(f"Nearest edge: {at_mmhg} {end}, and the value lies on it.", markup=False)
        out.print(
            "By other schemes: " + "; ".join(f"{scheme} {said(name)}" for scheme, name in judged.also), markup=False
        )
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
