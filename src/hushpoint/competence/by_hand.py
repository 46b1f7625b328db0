"""A pass rule, its odds, a learning curve and currency worked out in lines that can be done again by hand."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from hushpoint.competence.currency import Currency, Current, NeverSigned, day_words
from hushpoint.competence.curve import Curve
from hushpoint.competence.judging import MISSED_MMHG, Count, Judgement
from hushpoint.competence.odds import PassOdds, within_chance
from hushpoint.competence.verdict import Competent, TooFew
from hushpoint.guideline.competence_rules import PassRule
from hushpoint.measure import OUR_OWN, Worked, decimal_words, figure_words

MOST_LISTED = 40
"""Of more answers than this they are counted alone, not listed."""


def judged_by_hand(found: Judgement) -> Worked:
    """Return the calculation behind a judgement: every error, every count beside what is asked, the verdict."""
    rule = found.rule
    steps = [f"{end.end}, written minus reference: {_listed(end.errors_mmhg)}" for end in found.answers]
    steps += [_counted(count, rule) for count in found.counts]
    if isinstance(found.verdict, Competent):
        steps.append(f"every count is met, on a set of at least {rule.set_size}: competent by this rule")
    elif isinstance(found.verdict, TooFew):
        steps.append(f"the set of {rule.set_size} is not full, or something asked besides is missing: too few to say")
    else:
        steps.append("a count is not met, or one answer written every time would meet them all: not yet")
    return Worked("Rule", tuple(steps), f"{rule.name}: {rule.source} ({rule.provenance})")


def _counted(count: Count, rule: PassRule) -> str:
    criterion = next(one for one in rule.criteria if one.within_mmhg == count.within_mmhg)
    share = criterion.share
    return (
        f"{count.end} within {count.within_mmhg} mmHg: {count.found} of {count.n}; asked {share.numerator}/"
        f"{share.denominator} × {count.n} = {figure_words(float(share * count.n))}, so {count.needed}: "
        f"{'met' if count.met else 'not met'}"
    )


def _error(error_mmhg: float) -> str:
    return "not heard" if error_mmhg == MISSED_MMHG else decimal_words(error_mmhg, 0, sign=True)


def _listed(errors_mmhg: Sequence[float]) -> str:
    if len(errors_mmhg) > MOST_LISTED:
        return f"{len(errors_mmhg)} answers, too many to list here"
    return ", ".join(map(_error, errors_mmhg))


def odds_by_hand(rule: PassRule, odds: Sequence[tuple[str, PassOdds]]) -> Worked:
    """Return the calculation behind how often a rule passes observers of a known bias and spread."""
    steps = [
        "one answer's error is normal with the observer's bias and spread, key and answer to the nearest 2 mmHg",
    ]
    for what, one in odds:
        n = one.answers
        for criterion in rule.criteria:
            inside = within_chance(criterion.within_mmhg, one.bias_mmhg, one.sd_mmhg)
            steps.append(
                f"{what}, one answer within {criterion.within_mmhg} mmHg: chance {inside:.4f}; at most "
                f"{n - criterion.needed(n)} of {n} may lie beyond"
            )
        passes = f"{100 * one.passes:.1f} %"
        if one.groups > 1:
            steps.append(
                f"{what}, all of it at once: {one.chance:.4f}, to the power of {one.groups} for two ends taken as "
                f"alike: passes {passes}"
            )
        else:
            steps.append(f"{what}, all of it at once: {one.chance:.4f}: passes {passes}")
    return Worked("How often the rule passes", tuple(steps), f"exact multinomial sum; observers: {OUR_OWN}")


def curve_by_hand(curve: Curve) -> Worked:
    """Return the calculation behind where a learning curve stands."""
    limit, n = curve.limit, len(curve.scores)
    a, b = limit.adequate, limit.inadequate
    score = curve.scores[-1] if n else 0.0
    steps = [
        f"a right reading adds ln((1 \N{MINUS SIGN} {a:g}) / (1 \N{MINUS SIGN} {b:g})) = {limit.up:.3f}",
        f"a wrong reading takes away ln({b:g} / {a:g}) = {limit.down:.3f}, never below 0",
        f"score after {n} readings: {score:.3f}; limit {limit.limit:g}",
    ]
    if score < limit.limit and not isinstance(curve.verdict, Competent):
        left = (limit.limit - score) / limit.up
        steps.append(
            f"clean readings that would reach it: ({limit.limit:g} \N{MINUS SIGN} {score:.3f}) / {limit.up:.3f} = "
            f"{left:.2f}, rounded up"
        )
    source = (
        f"LC-CUSUM, Biau and Porcher 2010 (weights FROM MEMORY); limit by the exact chain for {limit.horizon} "
        f"readings; error rates: {OUR_OWN}"
    )
    return Worked("Learning curve", tuple(steps), source)


def currency_by_hand(found: Currency, today: date) -> Worked | None:
    """Return the calculation behind how long a sign-off is current; None where there was none."""
    if isinstance(found, NeverSigned):
        return None
    until = found.until if isinstance(found, Current) else found.since
    steps = (
        f"signed {day_words(found.signed)}, and {found.months} months later: {day_words(until)}",
        f"today, {day_words(today)}, is {abs((until - today).days)} days {'before' if today < until else 'after'} it: "
        f"{'current' if today < until else 'lapsed'}",
    )
    return Worked("Currency", steps, "JACC 2019, Table 4: every 6 months; the months are the rule's own")
