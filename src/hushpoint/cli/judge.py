"""`hushpoint judge`: a learner's answers against a reference by a named rule; advice, never a decision."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hushpoint.agreement import (
    InFull,
    PairAgreement,
    agree,
    digits,
    in_full,
    pairs,
    share_interval,
)
from hushpoint.agreement.differences import shown
from hushpoint.cli.tables import result_console, result_table
from hushpoint.competence import (
    TWO_OBSERVERS_SD_MMHG,
    Competent,
    Judgement,
    NotYet,
    PassOdds,
    TooFew,
    Variety,
    judge,
    pass_odds,
)
from hushpoint.competence.curve import Curve, curve_limit, learning_curve
from hushpoint.competence.judging import answers_of
from hushpoint.desk.readings_csv import read_readings_file
from hushpoint.desk.rules_csv import read_own_rules
from hushpoint.errors import BadInputError
from hushpoint.guideline.competence_rules import PassRule, competence_rule

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from hushpoint.agreement import PairedReading

CAUTION = (
    "What these pairs show, not a decision: the lecturer decides and signs, by local rules. "
    "Of observers, not of anyone's health."
)
_VERDICTS = {Competent: "competent", NotYet: "not_yet", TooFew: "too_few"}
_SHOWN = {"competent": "competent by this rule", "not_yet": "not yet", "too_few": "too few to say"}
ODDS_SHOWN = (
    ("as two practised observers", 0.0, TWO_OBSERVERS_SD_MMHG),
    ("steady, 3 off", 3.0, TWO_OBSERVERS_SD_MMHG),
    ("steady, 5 off", 5.0, TWO_OBSERVERS_SD_MMHG),
    ("spread 4", 0.0, 4.0),
    ("spread 6", 0.0, 6.0),
)
"""Observers whose odds are told: what they are like, bias and SD of the error [mmHg] (our choice)."""


CLEAR_TREND_P = 0.01
"""A trend less clear than this is left to the JSON (our choice)."""

CURVE = (0.10, 0.25, 50, 0.10)
"""Learning curve: adequate and inadequate error rate, horizon, most false signals (our choice; limit computed)."""


def judge_file(
    readings: Path, *, learner: str, reference: str, rule: str, rules: Path | None, variety: bool, as_json: bool
) -> None:
    """Print what the pairs show by the rule. Raises BadInputError before anything is written."""
    wanted = competence_rule(rule, None if rules is None else read_own_rules(rules))
    rows = read_readings_file(readings)
    both = _both(rows, learner.strip(), reference.strip(), readings)
    found = judge(wanted, both, Variety() if variety else None)
    agreement = agree([row for pair in both for row in pair], reference.strip()).pairs[0]
    found = replace(found, notes=found.notes + _habits(both))
    odds = _odds(wanted, found)
    curve = _curve(wanted, both)
    full = {"systolic": in_full(both, "systolic"), "diastolic": in_full(both, "diastolic")}
    if as_json:
        print(json.dumps(_as_json(found, agreement, odds, curve, full)))  # noqa: T201
    else:
        _print(found, agreement, odds, curve, full)


def _both(
    rows: Sequence[PairedReading], learner: str, reference: str, file: Path
) -> tuple[tuple[PairedReading, PairedReading], ...]:
    name = shown(file.name, 80).strip('"')
    observers = list(dict.fromkeys(row.observer for row in rows))
    for option, who in (("--learner", learner), ("--reference", reference)):
        if who not in observers:
            listed = ", ".join(shown(observer) for observer in observers[:8])
            more = f" and {len(observers) - 8} more" if len(observers) > 8 else ""
            raise BadInputError(f"{name}: {option} {shown(who)} has no readings; observers are {listed}{more}")
    if learner == reference:
        raise BadInputError(f"--reference {shown(reference)}: another observer than the learner is needed")
    both = pairs(rows, learner, reference)
    if not both:
        raise BadInputError(f"{name}: the two share no measurement; at least 1 measurement read by both is needed")
    return both


def _habits(both: Sequence[tuple[PairedReading, PairedReading]]) -> tuple[str, ...]:
    """What stands out in how the learner writes: a habit to look at, no part of the verdict."""
    ends = {
        "systolic": [mine.systolic_mmhg for mine, _ in both],
        "diastolic": [mine.diastolic_mmhg for mine, _ in both if mine.diastolic_mmhg is not None],
    }
    return tuple(
        f"review the reading habit, {end}: {flag}"
        for end, values in ends.items()
        for flag in digits(values).flags
        if "stand out" in flag
    )


def _odds(rule: PassRule, found: Judgement) -> list[tuple[str, PassOdds]]:
    """The rule's odds on its own set, then, where more was judged, on as many answers as here."""
    ends = 1 if {count.end for count in found.counts} == {"systolic"} else 2
    shared = ends if rule.ends == "pooled" else 1
    least = rule.set_size // shared
    judged = min(2000, max(count.n for count in found.counts) // shared)
    sizes = [least] if judged <= least else [least, judged]
    return [(what, pass_odds(rule, bias, sd, size, ends)) for size in sizes for what, bias, sd in ODDS_SHOWN]


def _curve(rule: PassRule, both: Sequence[tuple[PairedReading, PairedReading]]) -> Curve:
    """The learning curve in the order of the reference's rows; right is every end within the rule's first distance."""
    near = rule.criteria[0].within_mmhg
    return learning_curve(
        (all(end.within(near) for end in answers_of([pair])[0]) for pair in both), curve_limit(*CURVE)
    )


def _reliability_json(found: InFull | None) -> dict[str, Any] | None:
    if found is None:
        return None
    both = found.as_json()["single_readings"]
    return {
        "icc_2_1": found.correlation("two_one"),
        "icc_3_1": found.correlation("three_one"),
        "concordance": found.correlation("concordance"),
        "single_readings": both
        and {
            "people": both["people"],
            "learner_repeatability_mmhg": both["observer_repeatability_mmhg"],
            "reference_repeatability_mmhg": both["reference_repeatability_mmhg"],
            "bias_mmhg": both["bias_mmhg"],
            "sd_mmhg": both["sd_mmhg"],
            "limits_mmhg": both["limits_mmhg"],
        },
    }


def _as_json(
    found: Judgement,
    agreement: PairAgreement,
    odds: Sequence[tuple[str, PassOdds]],
    curve: Curve,
    full: Mapping[str, InFull | None],
) -> dict[str, Any]:
    rule, coverage = found.rule, found.coverage
    return {
        "learner": agreement.observer,
        "reference": agreement.reference,
        "rule": {
            "id": rule.id,
            "name": rule.name,
            "dated": rule.dated,
            "text": rule.text,
            "compared": rule.compared,
            "source": rule.source,
            "mark": rule.provenance,
            "note": rule.note,
        },
        "verdict": _VERDICTS[type(found.verdict)],
        "reasons": list(found.verdict.reasons),
        "missing": list(found.verdict.missing),
        "counts": [
            {
                "end": count.end,
                "within_mmhg": count.within_mmhg,
                "found": count.found,
                "n": count.n,
                "needed": count.needed,
                "percent": round(100 * count.found / count.n, 6),
                "percent_ci": [round(100 * end, 6) for end in share_interval(count.found, count.n)],
                "met": count.met,
            }
            for count in found.counts
        ],
        "coverage": {
            "systolic_mmhg": list(coverage.systolic_mmhg),
            "diastolic_mmhg": coverage.diastolic_mmhg and list(coverage.diastolic_mmhg),
            "at_or_above_140": coverage.at_or_above_140,
            "at_or_above_160": coverage.at_or_above_160,
        },
        "agreement": {
            "systolic": agreement.systolic.as_json(),
            "diastolic": agreement.diastolic and agreement.diastolic.as_json(),
        },
        "trend": {end: one and one.trend_json() for end, one in full.items()},
        "limits_exact_ci_mmhg": {end: one and one.exact_json() for end, one in full.items()},
        "curve": {
            "verdict": _VERDICTS[type(curve.verdict)],
            "reasons": list(curve.verdict.reasons),
            "missing": list(curve.verdict.missing),
            "adequate": curve.limit.adequate,
            "inadequate": curve.limit.inadequate,
            "horizon": curve.limit.horizon,
            "limit": curve.limit.limit,
            "scores": [round(score, 6) for score in curve.scores],
        },
        "odds": [
            {"observer": what, "bias_mmhg": o.bias_mmhg, "sd_mmhg": o.sd_mmhg, "n": o.n, "passes": round(o.passes, 4)}
            for what, o in odds
        ],
        "notes": list(found.notes),
        "caution": CAUTION,
        "reliability": {end: _reliability_json(one) for end, one in full.items()},
    }


def _print(
    found: Judgement,
    agreement: PairAgreement,
    odds: Sequence[tuple[str, PassOdds]],
    curve: Curve,
    full: Mapping[str, InFull | None],
) -> None:
    out, rule = result_console(), found.rule

    def line(text: str) -> None:
        out.print(text, markup=False)

    line(f"{agreement.observer} beside {agreement.reference}: {_SHOWN[_VERDICTS[type(found.verdict)]]}.")
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
        mean = f"{differences.bias_mmhg:+.2f}".replace("-", "−")
        line(f"Learner minus reference, {end}: mean {mean}{spread} mmHg, n {differences.n}.")
        whole = full[end]
        slope = None if whole is None else whole.trend
        if slope is not None and slope.p < CLEAR_TREND_P:
            change = f"{10 * slope.slope:+.1f}".replace("-", "−")
            line(f"  It changes by {change} mmHg for every 10 mmHg of pressure (p {slope.p:.3f}).")
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
