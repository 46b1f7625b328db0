"""`hushpoint judge`: a learner's answers against a reference by a named rule; advice, never a decision."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from hushpoint.agreement.differences import shown
from hushpoint.cli.tables import result_console, result_table
from hushpoint.competence import Variety
from hushpoint.desk import judging
from hushpoint.desk.agreeing import p_words
from hushpoint.desk.judging import CAUTION, CLEAR_TREND_P, ODDS_SHOWN, SHOWN, Judged, judged
from hushpoint.desk.readings_csv import read_answers_file
from hushpoint.desk.rules_csv import read_own_rules
from hushpoint.errors import BadInputError
from hushpoint.guideline.competence_rules import competence_rule
from hushpoint.measure import decimal_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hushpoint.agreement import PairedReading
    from hushpoint.desk.readings_csv import Unheard


def judge_file(
    readings: Path, *, learner: str, reference: str, rule: str, rules: Path | None, variety: bool, as_json: bool
) -> None:
    """Print what the pairs show by the rule. Raises BadInputError before anything is written."""
    wanted = competence_rule(rule, None if rules is None else read_own_rules(rules))
    rows = read_answers_file(readings)
    both = _both(rows, learner.strip(), reference.strip(), readings)
    found = judged(wanted, both, Variety() if variety else None)
    if as_json:
        print(json.dumps(judging.as_json(found)))  # noqa: T201
    else:
        _print(found)


def _both(
    rows: Sequence[PairedReading | Unheard], learner: str, reference: str, file: Path
) -> tuple[tuple[PairedReading | Unheard, PairedReading | Unheard], ...]:
    name = shown(file.name, 80).strip('"')
    observers = list(dict.fromkeys(row.observer for row in rows))
    for option, who in (("--learner", learner), ("--reference", reference)):
        if who not in observers:
            listed = ", ".join(shown(observer) for observer in observers[:8])
            more = f" and {len(observers) - 8} more" if len(observers) > 8 else ""
            raise BadInputError(f"{name}: {option} {shown(who)} has no readings; observers are {listed}{more}")
    if learner == reference:
        raise BadInputError(f"--reference {shown(reference)}: another observer than the learner is needed")
    answered = {row.measurement: row for row in rows if row.observer == learner}
    both = tuple(
        (answered[row.measurement], row) for row in rows if row.observer == reference and row.measurement in answered
    )
    if not any(theirs.systolic_mmhg is not None for _, theirs in both):
        raise BadInputError(f"{name}: the two share no measurement; at least 1 measurement read by both is needed")
    return both


def _print(given: Judged) -> None:
    found, agreement, odds, curve, full = given.found, given.agreement, given.odds, given.curve, given.full
    out, rule = result_console(), found.rule

    def line(text: str) -> None:
        out.print(text, markup=False)

    line(f"{agreement.observer} beside {agreement.reference}: {SHOWN[given.verdict]}.")
    line(f"Rule {rule.id}: {rule.text}. {rule.source} ({rule.provenance}).")
    for reason in found.verdict.reasons:
        line(f"  {reason}")
    for missing in found.verdict.missing:
        line(f"Missing: {missing}.")
    low, high = found.coverage.systolic_mmhg
    line(
        f"Systolic covered: {low:g} to {high:g}; at or above 140: {found.coverage.at_or_above_140}, "
        f"at or above 160: {found.coverage.at_or_above_160}."
    )
    for end, differences in agreement.ends():
        spread = "" if differences.sd_mmhg is None else f", SD {differences.sd_mmhg:.2f}"
        mean = decimal_words(differences.bias_mmhg, 2, sign=True)
        line(f"Learner minus reference, {end}: mean {mean}{spread} mmHg, n {differences.n}.")
        whole = full[end]
        slope = None if whole is None else whole.trend
        if slope is not None and slope.p < CLEAR_TREND_P:
            change = decimal_words(10 * slope.slope, sign=True)
            line(f"  It changes by {change} mmHg for every 10 mmHg of pressure ({p_words(slope.p)}).")
    line(f"Learning curve: {'; '.join((*curve.verdict.missing, *curve.verdict.reasons))}.")
    sizes = sorted({o.n for _, o in odds})
    table = result_table(
        "observer", "bias", "SD", *(f"of {size}" for size in sizes), title="How often this rule passes (answers an end)"
    )
    for like, bias, sd in ODDS_SHOWN:
        passes = [f"{100 * o.passes:.1f} %" for name, o in odds if name == like]
        table.add_row(like, f"{bias:g}", f"{sd:g}", *passes)
    out.print(table)
    for note in (*found.notes, rule.note):
        line(f"Note: {note}.")
    line(CAUTION)
