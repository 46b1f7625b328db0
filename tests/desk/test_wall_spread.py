"""The wall's spread of ear errors: even steps, halves away from zero, so that high and low are counted alike."""

from __future__ import annotations

from hushpoint.desk.classes import Board


def test_high_and_low_fall_into_the_same_steps() -> None:
    """Errors of the same size on both sides stand at the same distance from 0; the ends hold what lies beyond."""
    errors = [0.4, 0.9, 1.0, 2.9, 3.0, 5.0, 14.0]
    low = Board(errors_mmhg=[(f"w{at}", -one, None) for at, one in enumerate(errors)]).wall()["systolic"]
    high = Board(errors_mmhg=[(f"w{at}", one, None) for at, one in enumerate(errors)]).wall()["systolic"]
    assert dict(high) == {-step: count for step, count in low}
    assert [dict(high)[step] for step in (0, 2, 4, 6, 10)] == [2, 2, 1, 1, 1]
