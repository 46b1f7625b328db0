"""`hushpoint gauge CHECK.csv`: a gauge beside a reference, pass or fail by a named rule."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING

from hushpoint.desk.check_csv import read_check_file
from hushpoint.desk.csv_file import told_name
from hushpoint.desk.gauge_words import check_notes, correction_rows, minus, one_decimal, signed_decimal
from hushpoint.errors import BadInputError
from hushpoint.guideline.gauges import gauge_rule
from hushpoint.instrument import (
    USE,
    CorrectionCurve,
    Failed,
    GaugeCheck,
    InstrumentError,
    check_gauge,
    correction_curve,
)
from hushpoint.instrument.check import REFERENCE_ERROR_MMHG

if TYPE_CHECKING:
    from rich.console import Console

CAUTION = "A check for teaching and local upkeep; local policy and a calibration service come first."
_NUMBER = re.compile(r"[0-9]{1,2}(\.[0-9]{1,4})?", re.ASCII)


def gauge_file(check_csv: Path, *, rule: str, reference_error: str | None, as_json: bool) -> None:
    """Print errors, zero, hysteresis, verdict and correction of a check. Raises BadInputError."""
    asked = gauge_rule(rule)
    certificate = None if reference_error is None else _certificate(reference_error)
    points = read_check_file(check_csv)
    try:
        check = check_gauge(points, asked, reference_error_mmhg=certificate or 0.0)
    except InstrumentError as refusal:
        raise BadInputError(f"{told_name(check_csv.name)}: {refusal}") from None
    notes = _notes(check, certificate)
    curve: CorrectionCurve | None = None
    try:
        curve = correction_curve(check)
    except InstrumentError as refusal:
        notes.append(str(refusal))
    if as_json:
        print(json.dumps(_as_json(check, curve, notes)))  # noqa: T201
    else:
        _print(check, curve, notes)


def _certificate(typed: str) -> float:
    low, high = REFERENCE_ERROR_MMHG
    if not _NUMBER.fullmatch(typed) or not low <= float(typed) <= high:
        cut = typed[:20].encode("unicode_escape").decode()
        raise BadInputError(f'--reference-error "{cut}": a number from {low:g} to {high:g} mmHg is needed')
    return float(typed)


def _notes(check: GaugeCheck, certificate: float | None) -> list[str]:
    notes = check_notes(check)
    if certificate is None:
        notes.append(
            "the reference's own error was not given and is taken as 0: see its certificate (--reference-error)"
        )
    return notes


def _as_json(check: GaugeCheck, curve: CorrectionCurve | None, notes: list[str]) -> dict[str, object]:
    rule = check.rule
    limits = {"error": rule.error, "zero": rule.zero, "hysteresis": rule.hysteresis}
    return {
        "verdict": "fail" if isinstance(check.verdict, Failed) else "pass",
        "rule": rule.id,
        "worst_mmhg": _six(check.worst.error_mmhg),
        "errors": [
            {
                "at": each.point.reference_mmhg,
                "error": _six(each.error_mmhg),
                "direction": str(each.point.direction),
                "reading": each.point.reading_mmhg,
                "interval": [_six(each.low_mmhg), _six(each.high_mmhg)],
                "within": each.within,
            }
            for each in check.errors
        ],
        "hysteresis_mmhg": None if check.hysteresis is None else _six(abs(check.hysteresis.falling_minus_rising_mmhg)),
        "hysteresis": None
        if check.hysteresis is None
        else {"at": check.hysteresis.at_mmhg, "falling_minus_rising": check.hysteresis.falling_minus_rising_mmhg},
        "zero_mmhg": None if check.zero is None else _six(check.zero.error_mmhg),
        "reasons": list(check.verdict.reasons) if isinstance(check.verdict, Failed) else [check.verdict.reason],
        "complete": not check.unread,
        "reference_error_mmhg": check.reference_error_mmhg,
        "limits": {
            what: {"mmhg": limit.value, "source": limit.source, "mark": limit.provenance}
            for what, limit in limits.items()
        },
        "correction": {
            "use": USE,
            "points": [
                {
                    "reading": _six(reading),
                    "pressure": _six(to.mmhg),
                    "interval": [_six(to.low_mmhg), _six(to.high_mmhg)],
                }
                for reading, to in correction_rows(curve)
            ],
        },
        "notes": notes,
        "caution": CAUTION,
    }


def _six(value: float) -> float:
    return round(value, 6) + 0.0


def _print(check: GaugeCheck, curve: CorrectionCurve | None, notes: list[str]) -> None:
    from hushpoint.cli.tables import result_console, result_table

    out, rule = result_console(), check.rule
    failed = isinstance(check.verdict, Failed)
    out.print(f"{'FAIL' if failed else 'PASS'} by the rule “{rule.id}” ({rule.name}).", markup=False)
    for reason in check.verdict.reasons if isinstance(check.verdict, Failed) else (check.verdict.reason,):
        out.print(f"{reason[0].upper()}{reason[1:]}.", markup=False)
    if failed:
        out.print("Take it out of use, and look at every reading since its last good check.", markup=False)
    sheet = result_table("going", "", "reference", "gauge", "error", "interval", title="Gauge minus reference (mmHg)")
    for each in check.errors:
        sheet.add_row(
            str(each.point.direction),
            "" if each.within else "out",
            f"{each.point.reference_mmhg:g}",
            minus(f"{each.point.reading_mmhg:g}"),
            signed_decimal(each.error_mmhg),
            f"{signed_decimal(each.low_mmhg)} to {signed_decimal(each.high_mmhg)}",
        )
    out.print(sheet)
    _print_rest(out, check)
    if curve is not None:
        drawn = result_table("gauge shows", "pressure", "interval", title="Correction")
        for reading, to in correction_rows(curve):
            low, mmhg, high = (one_decimal(value) for value in (to.low_mmhg, to.mmhg, to.high_mmhg))
            drawn.add_row(minus(f"{reading:g}"), mmhg, f"{low} to {high}")
        out.print(drawn)
        out.print(f"Correction: {USE}.", markup=False)
    for note in notes:
        out.print(f"Note: {note}.", markup=False)
    for what, limit in (("error", rule.error), ("zero", rule.zero), ("hysteresis", rule.hysteresis)):
        out.print(f"Limit, {what}: {limit.words()}.", markup=False)
    out.print(CAUTION, markup=False)


def _print_rest(out: Console, check: GaugeCheck) -> None:
    worst = check.worst
    out.print(
        f"Worst: {signed_decimal(worst.error_mmhg)} at {worst.point.reference_mmhg:g} going {worst.point.direction}.",
        markup=False,
    )
    if check.zero is not None:
        out.print(f"Zero: {signed_decimal(check.zero.error_mmhg)}.", markup=False)
    if check.hysteresis is not None:
        out.print(
            f"Hysteresis: {signed_decimal(check.hysteresis.falling_minus_rising_mmhg)} at {check.hysteresis.at_mmhg:g} "
            "(falling minus rising).",
            markup=False,
        )
