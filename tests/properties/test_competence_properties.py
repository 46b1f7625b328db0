"""What holds for any pairs, rules and rates: order, monotone odds, verdicts that follow from their counts."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hushpoint.agreement import PairedReading, intraclass, repeatability, share_interval
from hushpoint.competence import Competent, judge, pass_odds
from hushpoint.competence.currency import Current, currency, months_after
from hushpoint.competence.curve import signal_chances, weights
from hushpoint.competence.judging import answers_of, clean_needed, constant_that_passes
from hushpoint.competence.odds import within_chance
from hushpoint.guideline.competence_rules import competence_rule, competence_rules

RULES = st.sampled_from(sorted(competence_rules()))
PAIR = st.tuples(st.integers(60, 250), st.integers(-14, 14), st.integers(30, 60), st.integers(-14, 14))
PAIRS = st.lists(PAIR, min_size=1, max_size=60)
Made = list[tuple[PairedReading, PairedReading]]


def made(columns: list[tuple[int, int, int, int]]) -> Made:
    """(learner, reference) pairs from reference and error at each end."""
    return [
        (
            PairedReading(str(place), "S", upper + off, lower + lower_off, f"c{place % 4}"),
            PairedReading(str(place), "L", upper, lower, f"c{place % 4}"),
        )
        for place, (upper, off, lower, lower_off) in enumerate(columns)
    ]


@settings(max_examples=80, deadline=None)
@given(RULES, PAIRS, st.randoms(use_true_random=False))
def test_the_order_of_pairs_changes_no_verdict(
    rule_id: str, columns: list[tuple[int, int, int, int]], shuffler
) -> None:  # type: ignore[no-untyped-def]
    """Shuffled pairs give the same verdict and counts."""
    both = made(columns)
    mixed = list(both)
    shuffler.shuffle(mixed)
    one, other = judge(competence_rule(rule_id), both), judge(competence_rule(rule_id), mixed)
    assert (one.verdict, one.counts) == (other.verdict, other.counts)


@settings(max_examples=80, deadline=None)
@given(RULES, PAIRS)
def test_competent_only_where_every_count_is_met_and_nothing_is_missing(
    rule_id: str, columns: list[tuple[int, int, int, int]]
) -> None:
    """Whatever the pairs, the verdict follows from what stands beside it."""
    rule = competence_rule(rule_id)
    found = judge(rule, made(columns))
    if isinstance(found.verdict, Competent):
        assert all(count.met for count in found.counts)
        assert (
            sum(count.n for count in found.counts if count.within_mmhg == rule.criteria[0].within_mmhg) >= rule.set_size
        )
    else:
        assert found.verdict.missing


@settings(max_examples=60, deadline=None)
@given(RULES, PAIRS, st.integers(40, 250), st.integers(30, 90))
def test_one_pair_of_numbers_is_never_competent(
    rule_id: str, columns: list[tuple[int, int, int, int]], upper: int, lower: int
) -> None:
    """Whoever writes the same two numbers every time passes no shipped rule on any measurements."""
    both = [
        (PairedReading(theirs.measurement, "S", upper, lower, theirs.client), theirs) for _, theirs in made(columns * 3)
    ]
    assert not isinstance(judge(competence_rule(rule_id), both).verdict, Competent)


@settings(max_examples=60, deadline=None)
@given(RULES, PAIRS)
def test_a_constant_that_is_named_would_really_meet_the_rule(
    rule_id: str, columns: list[tuple[int, int, int, int]]
) -> None:
    """Writing the named numbers meets every count of the rule."""
    rule, both = competence_rule(rule_id), made(columns)
    constant = constant_that_passes(rule, answers_of(both)[0])
    if constant is not None:
        same = [(PairedReading(theirs.measurement, "S", constant[0], constant[1]), theirs) for _, theirs in both]
        assert all(count.met for count in judge(rule, same).counts)


@settings(max_examples=60, deadline=None)
@given(PAIRS)
def test_clean_readings_named_are_enough_and_one_fewer_is_not(columns: list[tuple[int, int, int, int]]) -> None:
    """With as many clean pairs as named, 90/95 is met on a full set; with one fewer it is not."""
    rule = competence_rule("OBRIEN_90_95")
    more = clean_needed(rule, answers_of(made(columns))[0])
    assert more is not None

    def met(added: int) -> bool:
        found = judge(rule, made(columns + [(120, 0, 50, 0)] * added))
        return all(count.met for count in found.counts) and len(columns) + added >= rule.set_size

    assert met(more)
    assert more == 0 or not met(more - 1)


@settings(max_examples=80, deadline=None)
@given(RULES, st.floats(0, 12), st.floats(0.1, 12), st.integers(1, 60))
def test_odds_are_chances_and_fall_with_bias(rule_id: str, bias: float, sd: float, n: int) -> None:
    """From 0 to 1, the same for a bias up or down, and never higher for a larger bias."""
    rule = competence_rule(rule_id)
    odds = pass_odds(rule, bias, sd, n).passes
    assert 0 <= odds <= 1
    assert pass_odds(rule, -bias, sd, n).passes == pytest.approx(odds, abs=1e-9)
    assert pass_odds(rule, bias + 1, sd, n).passes <= odds + 1e-9


@settings(max_examples=60, deadline=None)
@given(st.floats(-10, 10), st.floats(0, 10), st.integers(1, 20))
def test_chance_within_grows_with_the_distance(bias: float, sd: float, distance: int) -> None:
    """A wider distance never holds less."""
    assert within_chance(distance, bias, sd) <= within_chance(distance + 1, bias, sd) + 1e-12


@settings(max_examples=30, deadline=None)
@given(st.floats(0.01, 0.4), st.floats(0.02, 0.5), st.floats(0.2, 4), st.floats(0, 1))
def test_run_lengths_only_grow(adequate: float, apart: float, limit: float, rate: float) -> None:
    """The chance of having signalled never falls with readings and is a chance."""
    up, down = weights(adequate, min(0.95, adequate + apart))
    chances = signal_chances(up, down, limit, rate, 25)
    assert list(chances) == sorted(chances)
    assert 0 <= chances[0] <= chances[-1] <= 1 + 1e-12


@settings(max_examples=80, deadline=None)
@given(st.dates(date(2000, 1, 1), date(2090, 1, 1)), st.integers(1, 60), st.integers(0, 2500))
def test_currency_turns_once(signed: date, months: int, later: int) -> None:
    """Current before the day, lapsed from it on, for any day signed."""
    today = date.fromordinal(signed.toordinal() + later)
    assert isinstance(currency([signed], today, months), Current) == (today < months_after(signed, months))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 200), st.integers(1, 200))
def test_exact_interval_holds_its_share(within: int, n: int) -> None:
    """The share lies in its interval, which lies in 0 to 1."""
    within = min(within, n)
    low, high = share_interval(within, n)
    assert 0 <= low <= within / n <= high <= 1


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(st.integers(60, 200), min_size=3, max_size=3), min_size=3, max_size=20), st.integers(-50, 50))
def test_reliability_knows_no_zero_point(table: list[list[int]], shift: int) -> None:
    """Adding a constant to every rating changes neither correlations nor repeatability."""
    moved = [[value + shift for value in row] for row in table]
    assert repeatability(moved).variance_mmhg2 == pytest.approx(repeatability(table).variance_mmhg2, abs=1e-6)
    if len({value for row in table for value in row}) > 1:
        one, other = intraclass(table), intraclass(moved)
        assert one.two_one.value == pytest.approx(other.two_one.value, abs=1e-6)
        assert one.two_one.value <= 1 + 1e-12
