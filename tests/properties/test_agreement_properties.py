"""What holds for any readings: signs, order, shifts and shares."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hushpoint.agreement import PairedReading, agree, binomial_upper_tail, digits

PRESSURES = st.integers(1, 300)
TWO_COLUMNS = st.lists(st.tuples(PRESSURES, PRESSURES), min_size=2, max_size=40)


def readings(columns: list[tuple[int, int]]) -> list[PairedReading]:
    """Observers a and b on measurements 0, 1, 2 …"""
    return [
        PairedReading(str(place), who, value)
        for place, both in enumerate(columns)
        for who, value in zip("ab", both, strict=True)
    ]


@settings(max_examples=60, deadline=None)
@given(TWO_COLUMNS)
def test_swapping_observer_and_reference_turns_the_sign(columns: list[tuple[int, int]]) -> None:
    """The bias and limits of b against a are those of a against b, turned."""
    rows = readings(columns)
    one, other = agree(rows, "a").pairs[0].systolic, agree(rows, "b").pairs[0].systolic
    assert one.bias_mmhg == -other.bias_mmhg
    assert one.sd_mmhg == other.sd_mmhg
    assert one.limits_mmhg is not None
    assert other.limits_mmhg is not None
    assert one.limits_mmhg[0] == -other.limits_mmhg[1]


@settings(max_examples=60, deadline=None)
@given(TWO_COLUMNS, st.randoms(use_true_random=False))
def test_row_order_does_not_change_the_numbers(columns: list[tuple[int, int]], shuffler: random.Random) -> None:
    """Shuffled rows give the same numbers against the same reference."""
    rows = readings(columns)
    mixed = list(rows)
    shuffler.shuffle(mixed)
    assert agree(mixed, "a").as_json() == agree(rows, "a").as_json()


@settings(max_examples=60, deadline=None)
@given(TWO_COLUMNS)
def test_shares_rise_and_intervals_hold_their_middle(columns: list[tuple[int, int]]) -> None:
    """Shares grow with the distance; bias and limits lie inside their intervals."""
    found = agree(readings(columns)).pairs[0].systolic
    assert list(found.within_percent) == sorted(found.within_percent)
    assert found.identical_percent <= found.within_percent[0]
    assert found.bias_ci_mmhg is not None
    assert found.limits_mmhg is not None
    assert found.limits_ci_mmhg is not None
    for value, (low, high) in zip(
        (found.bias_mmhg, *found.limits_mmhg), (found.bias_ci_mmhg, *found.limits_ci_mmhg), strict=True
    ):
        assert low <= value <= high


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 300), max_size=80))
def test_digits_count_every_value(values: list[int]) -> None:
    """The ten counts add to n, and each is the number of values with that last digit."""
    found = digits(values)
    assert sum(found.counts) == found.n == len(values)
    assert found.counts[5] == sum(value % 10 == 5 for value in values)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 300), st.sampled_from([0.1, 0.2]))
def test_binomial_tail_falls_from_one(n: int, p: float) -> None:
    """The tail starts at one, ends at p to the n, and never rises."""
    tail = [binomial_upper_tail(k, n, p) for k in range(n + 1)]
    assert tail[0] == 1.0
    assert tail[-1] == pytest.approx(p**n, rel=1e-9)
    assert all(later <= earlier + 1e-12 for earlier, later in itertools.pairwise(tail))
