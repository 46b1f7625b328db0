"""What `agree` makes of small sets of readings worked out by hand."""

from __future__ import annotations

import math

import pytest

from hushpoint.agreement import AgreementError, PairedReading, agree, pairs


def rows(*written: tuple[str, str, float, float | None]) -> list[PairedReading]:
    """Readings from (measurement, observer, systolic, diastolic)."""
    return [PairedReading(*each) for each in written]


def test_difference_is_observer_minus_reference() -> None:
    """An observer who writes 4 and 2 above the reference has a bias of +3 and an SD of root 2."""
    found = agree(rows(("1", "T", 120, 80), ("1", "L", 124, 80), ("2", "T", 130, 70), ("2", "L", 132, 72)), "T")
    (pair,) = found.pairs
    assert (pair.observer, pair.reference, pair.systolic.bias_mmhg) == ("L", "T", 3.0)
    assert pair.systolic.sd_mmhg == pytest.approx(math.sqrt(2), abs=1e-6)
    assert pair.diastolic is not None
    assert pair.diastolic.bias_mmhg == 1.0
    assert pair.systolic.within_percent == (50.0, 100.0, 100.0, 100.0, 100.0)


def test_intervals_of_two_pairs_follow_the_formula() -> None:
    """n = 2, s = root 2, t = 12.7062: the bias is 3 +- 12.7062, a limit +- t s sqrt(1/2 + 1.96^2/2)."""
    found = agree(rows(("1", "T", 120, None), ("1", "L", 124, None), ("2", "T", 130, None), ("2", "L", 132, None)))
    systolic = found.pairs[0].systolic
    assert systolic.bias_ci_mmhg == pytest.approx((3 - 12.7062, 3 + 12.7062), abs=1e-4)
    assert systolic.limits_ci_mmhg is not None
    low, high = systolic.limits_ci_mmhg[1]
    half = 12.7062 * math.sqrt(2) * math.sqrt(1 / 2 + 1.96**2 / 2)
    assert (high - low) / 2 == pytest.approx(half, abs=1e-3)


def test_one_pair_gives_bias_without_spread_and_says_so() -> None:
    """A single shared measurement has a bias, no SD, no limits, and a note."""
    found = agree(rows(("1", "T", 120, 80), ("1", "L", 118, None)))
    (pair,) = found.pairs
    assert pair.systolic.bias_mmhg == -2
    assert pair.systolic.sd_mmhg is pair.systolic.limits_mmhg is pair.systolic.bias_ci_mmhg is None
    assert pair.diastolic is None
    assert any("one pair" in note for note in found.notes)


def test_rows_left_out_are_told() -> None:
    """A measurement read by one observer only, and a missing diastolic, are counted in the notes."""
    found = agree(rows(("1", "T", 120, 80), ("1", "L", 118, None), ("2", "T", 140, 90)))
    assert "left out, read by one observer only: 1 measurement (2)" in found.notes
    assert "rows without a diastolic, compared on systolic only: 1" in found.notes


def test_decimals_on_the_edge_count_as_within() -> None:
    """120.3 against 118.3 is 2 apart and within 2, although the machine's difference is a hair more."""
    found = agree(rows(("1", "T", 118.3, None), ("1", "L", 120.3, None), ("2", "T", 100, None), ("2", "L", 100, None)))
    assert found.pairs[0].systolic.within_percent[0] == 100.0


def test_pairs_follow_the_reference_order() -> None:
    """Shared measurements come in the order of the reference's rows."""
    readings = rows(("b", "T", 1, None), ("a", "T", 2, None), ("a", "L", 3, None), ("b", "L", 4, None))
    assert [(mine.systolic_mmhg, theirs.systolic_mmhg) for mine, theirs in pairs(readings, "L", "T")] == [
        (4, 1),
        (3, 2),
    ]


@pytest.mark.parametrize(
    ("readings", "reference", "words"),
    [
        ([("1", "T", 120, 80), ("1", "T", 122, 80), ("1", "L", 1, 1)], None, "reading 2 repeats reading 1"),
        ([("1", "T", 120, 80)], None, "at least 2 observers"),
        ([], None, "at least 2 observers"),
        ([("1", "T", 120, 80), ("1", "L", 122, 80)], "X", '"X" has no readings'),
        ([("1", "T", 120, 80), ("2", "L", 122, 80)], None, "at least 1 shared measurement"),
    ],
)
def test_what_cannot_be_compared_is_refused(
    readings: list[tuple[str, str, float, float | None]], reference: str | None, words: str
) -> None:
    """A repeat, a lone observer, an unknown reference and nothing shared are told in one line."""
    with pytest.raises(AgreementError, match=words) as refusal:
        agree(rows(*readings), reference)
    assert "\n" not in str(refusal.value)
