"""How pressures are shown: one number by every road."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hushpoint.measure import decimal_words, stated, truth_words, whole_mmhg
from hushpoint.web.context import signed


@pytest.mark.parametrize(
    ("value", "whole"), [(0.0, 0), (0.4, 0), (-0.4, 0), (0.5, 1), (-0.5, -1), (-1.5, -2), (2.5, 3), (-2.5, -3)]
)
def test_halves_go_away_from_zero(value: float, whole: int) -> None:
    """Halves go away from zero on both sides, so that high and low are treated alike; the sign is kept in words."""
    assert whole_mmhg(value) == whole
    assert signed(value) == (f"{whole:+d}".replace("-", "\N{MINUS SIGN}") if whole else "0")


def test_a_truth_ending_in_half_keeps_its_decimal() -> None:
    """119.46 is stated as 119.5 and shown so; other truths are shown whole."""
    assert truth_words(119.46) == "119.5"
    assert truth_words(119.44) == "119"
    assert truth_words(119.6) == "120"


@given(st.floats(0, 300), st.integers(0, 300))
def test_a_pencil_finds_the_error_that_is_shown(truth_mmhg: float, written_mmhg: int) -> None:
    """Written less the truth as shown rounds to the error as shown, for every truth and reading."""
    error = round(written_mmhg - stated(truth_mmhg), 1)
    assert whole_mmhg(written_mmhg - float(truth_words(truth_mmhg))) == whole_mmhg(error)


@pytest.mark.parametrize(
    ("value", "places", "sign", "told"),
    [(-0.04, 1, False, "0.0"), (-0.04, 1, True, "0.0"), (0.04, 1, True, "0.0"), (-0.06, 1, False, "−0.1"),
     (2.25, 2, True, "+2.25"), (10.0, 1, True, "+10.0"), (-0.004, 2, True, "0.00"), (100, 0, False, "100")],
)  # fmt: skip
def test_what_rounds_to_nothing_has_no_sign(value: float, places: int, sign: bool, told: str) -> None:
    """A bias of -0.04 is told as 0.0, not as -0.0; other numbers keep a true minus."""
    assert decimal_words(value, places, sign=sign) == told
