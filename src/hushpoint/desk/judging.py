"""What a learner's pairs show by a rule, with everything beside it: odds, learning curve, agreement; and its JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from hushpoint.agreement import InFull, PairAgreement, PairedReading, agree, digits, in_full, share_interval
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
from hushpoint.competence.judging import Written, answers_of
from hushpoint.desk.readings_csv import Unheard
from hushpoint.errors import BadInputError
from hushpoint.guideline.competence_rules import PassRule

CAUTION = (
    "What these pairs show, not a decision: the lecturer decides and signs, by local rules. "
    "Of observers, not of anyone's health."
)
VERDICTS = {Competent: "competent", NotYet: "not_yet", TooFew: "too_few"}
SHOWN = {"competent": "competent by this rule", "not_yet": "not yet", "too_few": "too few to say"}
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

REVIEW_HABIT = "review the reading habit"
CLEARLY_ZERO = "zeros stand out clearly"
CURVE = (0.10, 0.25, 50, 0.10)
"""Learning curve: adequate and inadequate error rate, horizon, most false signals (our choice; limit computed)."""


@dataclass(frozen=True, slots=True)
class Judged:
    """The judgement by the rule, with what stands beside it; `full` by end, None where an end has too few."""

    found: Judgement
    agreement: PairAgreement
    odds: tuple[tuple[str, PassOdds], ...]
    curve: Curve
    full: Mapping[str, InFull | None]

    @property
    def verdict(self) -> str:
        """One of competent, not_yet, too_few."""
        return VERDICTS[type(self.found.verdict)]


def judged(
    rule: PassRule,
    both: Sequence[tuple[PairedReading | Unheard, PairedReading | Unheard]],
    variety: Variety | None = None,
    kinds: Mapping[str, int] | None = None,
) -> Judged:
    """Judge (learner, reference) pairs by a rule; see `competence.judge`.

    Agreement is told of the pairs in which both wrote a systolic; raises BadInputError where there is none.
    """
    heard = [
        (mine, theirs) for mine, theirs in both if isinstance(mine, PairedReading) and isinstance(theirs, PairedReading)
    ]
    if not heard:
        raise BadInputError("no measurement on which both wrote a systolic; at least 1 is needed")
    found = judge(rule, both, variety, kinds)
    found = replace(found, notes=found.notes + habits([(mine.systolic_mmhg, mine.diastolic_mmhg) for mine, _ in both]))
    rows = [row for pair in heard for row in pair]
    return Judged(
        found,
        agree(rows, heard[0][1].observer).pairs[0],
        tuple(odds_of(rule, found)),
        curve_of(rule, both),
        {"systolic": in_full(heard, "systolic"), "diastolic": in_full(heard, "diastolic")},
    )


def habits(written: Sequence[tuple[float | None, float | None]]) -> tuple[str, ...]:
    """What stands out in how somebody writes systolic and diastolic: to look at, no part of the verdict."""
    ends = {
        "systolic": [upper for upper, _ in written if upper is not None],
        "diastolic": [lower for _, lower in written if lower is not None],
    }
    return tuple(
        f"{REVIEW_HABIT}, {end}: {flag}"
        for end, values in ends.items()
        for flag in digits(values).flags
        if "stand out" in flag
    )


def odds_of(rule: PassRule, found: Judgement) -> list[tuple[str, PassOdds]]:
    """The rule's odds on its own set, then, where more was judged, on as many answers as here."""
    ends = 1 if {count.end for count in found.counts} == {"systolic"} else 2
    shared = ends if rule.ends == "pooled" else 1
    least = rule.set_size // shared
    judged = min(2000, max(count.n for count in found.counts) // shared)
    sizes = [least] if judged <= least else [least, judged]
    return [(what, pass_odds(rule, bias, sd, size, ends)) for size in sizes for what, bias, sd in ODDS_SHOWN]


def curve_of(rule: PassRule, both: Sequence[tuple[Written, Written]]) -> Curve:
    """The learning curve in the order of the reference's rows; right is every end within the rule's first distance.

    Ends that the reference did not hear are no answers; a pair without any is left out.
    """
    near = rule.criteria[0].within_mmhg
    answered = ([end for end in answers_of([pair])[0] if end.errors_mmhg] for pair in both)
    return learning_curve((all(end.within(near) for end in ends) for ends in answered if ends), curve_limit(*CURVE))


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


def as_json(shown: Judged) -> dict[str, Any]:
    """Return what `hushpoint judge --json` prints (docs/competence.md)."""
    found, agreement, odds, curve, full = shown.found, shown.agreement, shown.odds, shown.curve, shown.full
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
        "verdict": VERDICTS[type(found.verdict)],
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
            "verdict": VERDICTS[type(curve.verdict)],
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
