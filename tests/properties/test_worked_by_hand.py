"""Every calculation that a page opens can be done again: each sum makes what stands behind its equals sign."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from by_hand import sums_of
from hushpoint.agreement import PairedReading, agree, agreement_by_hand, digits_by_hand, digits_by_observer
from hushpoint.agreement.by_hand import kappa_by_hand
from hushpoint.agreement.reliability import kappa
from hushpoint.competence import judge, judged_by_hand, pass_odds
from hushpoint.competence.by_hand import currency_by_hand, odds_by_hand
from hushpoint.competence.currency import currency
from hushpoint.guideline import gauge_rule
from hushpoint.guideline.clinical_policies import clinical_policies
from hushpoint.guideline.competence_rules import competence_rule, competence_rules
from hushpoint.instrument import TimedReading, check_by_hand, check_gauge, leak
from hushpoint.instrument.by_hand import timed_by_hand
from hushpoint.instrument.check import Direction, GaugePoint, Passed
from hushpoint.measure import Worked
from hushpoint.visit import TakenReading, Visit, judge_visit
from hushpoint.visit.by_hand import worked
from visit_cases import LATER, START

ROUNDED = 0.02
"""Figures in a line are rounded: a sum made of them may be off by this share, and by one of the last shown digit."""
pressures = st.tuples(st.integers(90, 220), st.integers(40, 85))
pairs = st.lists(st.tuples(pressures, st.integers(-12, 12), st.integers(-12, 12)), min_size=3, max_size=24)


def hold(calculations: Iterable[Worked]) -> int:
    """Assert that every sum of these holds, and that each names a source; return how many there were."""
    count = 0
    for one in calculations:
        assert one.steps
        assert one.source
        for step in one.steps:
            for shown, made, result in sums_of(step):
                last = 10.0 ** -len(f"{result}".partition(".")[2])
                assert abs(made - result) <= last + ROUNDED * abs(result), (one.what, step, shown, made)
                count += 1
    return count


def test_a_worked_line_that_is_wrong_would_be_found() -> None:
    """The check itself can fail, and reads the signs that lines are written with."""
    assert sums_of("mean: (142 + 138) / 2 = 141") == [("(142 + 138) / 2", 140.0, 141.0)]
    ((_, made, result),) = sums_of("spread: √(9 / 4) × 2² − 7 = −1")
    assert (made, result) == (-1.0, -1.0)


@settings(max_examples=60, deadline=None)
@given(st.lists(pressures, min_size=2, max_size=4), st.sampled_from(list(clinical_policies().values())))
def test_value_category_action_and_sureness_of_a_visit(taken, policy) -> None:
    """The last line of the value ends with the value shown, the category's with the category."""
    readings = tuple(
        TakenReading(float(upper), float(lower), "right", START.replace(minute=place))
        for place, (upper, lower) in enumerate(taken)
    )
    judged = judge_visit(Visit(readings), policy, LATER)
    found = worked(judged)
    if judged.value is None:
        assert found == ()
        return
    hold(found)
    by_name = {one.what: one for one in found}
    shown = f"{judged.value.systolic_mmhg:.6g}"
    assert shown in by_name["Value"].steps[1]
    assert by_name["Category"].steps[-1].endswith(str(judged.category))
    assert by_name["Action"].steps[-1].endswith(judged.action.word)


@settings(max_examples=60, deadline=None)
@given(pairs)
def test_agreement_digits_and_pass_rules_of_pairs(columns) -> None:
    """Bias, spread, limits, shares, zeros, counts."""
    both = [
        (
            PairedReading(str(place), "S", float(upper + off), float(lower + lower_off - 13), f"c{place % 4}"),
            PairedReading(str(place), "L", float(upper), float(lower), f"c{place % 4}"),
        )
        for place, ((upper, lower), off, lower_off) in enumerate(columns)
    ]
    readings = [one for two in both for one in two]
    for pair in agree(readings).pairs:
        assert hold(agreement_by_hand(pair)) >= 2
    for observer in digits_by_observer(readings):
        hold(digits_by_hand(observer))
    for rule_id in competence_rules():
        found = judged_by_hand(judge(competence_rule(rule_id), both))
        hold([found])


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.integers(-8, 8), min_size=4, max_size=12),
    st.sampled_from(["new", "in_use"]),
    st.sampled_from([0.0, 0.5]),
)
def test_a_check_of_a_gauge(errors, rule, certificate) -> None:
    """Each error beside its limit; the last line says what the verdict says."""
    steps = [GaugePoint(40 * place, 40 * place + max(error, 0 if place == 0 else error), Direction.UP)
             for place, error in enumerate(errors[:7])]  # fmt: skip
    check = check_gauge(steps, gauge_rule(rule), reference_error_mmhg=certificate)
    found = check_by_hand(check)
    assert hold(found) >= len(steps[:4])
    assert (
        found[-1].steps[-1].endswith("within its limits" if isinstance(check.verdict, Passed) else "outside its limits")
    )


def test_a_leak_by_least_squares() -> None:
    """Five readings that lose 1 mmHg in 15 s: 4 mmHg a minute."""
    found = leak([TimedReading(float(15 * place), 200.0 - place) for place in range(5)], gauge_rule("in_use"))
    (one,) = timed_by_hand(found)
    assert hold([one]) >= 1
    assert any("4" in step for step in one.steps)


def test_odds_currency_and_kappa() -> None:
    """Chances, days and agreement beyond chance end with what the page shows."""
    rule = competence_rule("NHANES_2003")
    odds = pass_odds(rule, 0.0, 2.0)
    told = odds_by_hand(rule, [("steady", odds)])
    assert told.steps[-1].endswith(f"passes {100 * odds.passes:.1f} %")
    days = currency_by_hand(currency([date(2026, 1, 10)], date(2026, 9, 1)), date(2026, 9, 1))
    assert days is not None
    assert days.steps[-1].endswith("lapsed")
    assert currency_by_hand(currency([], date(2026, 9, 1)), date(2026, 9, 1)) is None
    both = kappa([[3, 1], [0, 2]])
    line = kappa_by_hand(both, "A and B")
    assert line is not None
    assert hold([line]) >= 2
