"""Sealed measurements: both ends can be heard, and neither peak nor end of the release tells where."""

from __future__ import annotations

import math

import numpy as np
import pytest

from hushpoint.arm.playback import LOUDEST_PEAK, played_arm_db
from hushpoint.measure import Heard
from hushpoint.practice.sealed import KINDS, OPEN_BELOW_MMHG, PEAK_ABOVE_MMHG, key_of, sealed_case


@pytest.mark.parametrize("kind", KINDS)
def test_both_ends_can_be_heard_and_the_key_is_even(kind: str) -> None:
    """Whatever the kind, the key is the truth to the nearest 2, halves up."""
    for seed in range(6):
        made = sealed_case(seed, kind)  # type: ignore[arg-type]
        key = key_of(made, "last_sound")
        truth = made.played().truth
        assert isinstance(truth.systolic, Heard)
        assert isinstance(truth.diastolic, Heard)
        assert key.systolic_mmhg == 2 * math.floor(truth.systolic.mmhg / 2 + 0.5)
        assert key.diastolic_mmhg == 2 * math.floor(truth.diastolic.mmhg / 2 + 0.5)
        assert key_of(made, "first_silence").diastolic_mmhg <= key.diastolic_mmhg


def test_peak_and_end_of_the_release_are_drawn() -> None:
    """Over many seeds both distances spread over most of their ranges: guessing from them is no better than chance."""
    made = [sealed_case(seed, "normal") for seed in range(60)]
    above = [one.peak_mmhg - one.person.systolic_mmhg for one in made]
    below = [one.person.diastolic_mmhg - one.open_at_mmhg for one in made]
    assert np.ptp(above) > 0.8 * (PEAK_ABOVE_MMHG[1] - PEAK_ABOVE_MMHG[0])
    assert np.ptp(below) > 0.8 * (OPEN_BELOW_MMHG[1] - OPEN_BELOW_MMHG[0])


def test_the_sound_is_there_at_audible_beats_alone() -> None:
    """Between the beats and where the rule says silent there is silence; every audible beat has its tap."""
    made = sealed_case(4, "gap").played()
    loud = np.abs(made.samples)
    heard = [beat for beat in made.truth.beats if beat.audible]
    for beat in made.truth.beats:
        start = round(beat.at_s * made.rate_hz)
        tap = loud[start : start + round(0.2 * made.rate_hz)].max()
        assert (tap > 1e-4) == beat.audible, beat
    assert made.truth.gap_mmhg is not None
    assert len(heard) > 10
    assert loud.max() <= 1.5 * LOUDEST_PEAK


def test_arms_are_played_within_fifteen_decibels() -> None:
    """28 dB between arms are squeezed to 15 by one gain an arm (acoustics 3)."""
    assert played_arm_db(50) == 0
    assert played_arm_db(22) == pytest.approx(-15)
    assert played_arm_db(36) == pytest.approx(-7.5)


def test_the_same_seed_gives_the_same_sound() -> None:
    """Every phone of a class gets the same bytes."""
    one, other = (sealed_case(8, "irregular").played() for _ in range(2))
    assert np.array_equal(one.samples, other.samples)
    assert np.array_equal(one.needle_mmhg, other.needle_mmhg)
