"""What must hold for every arm and every hand."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from hushpoint.arm import (
    STANDARD_CUFF,
    ArmEffects,
    BeatTable,
    CuffState,
    Person,
    Swings,
    audible_beats,
    beat_table,
    held_release,
    render_measurement,
    squeeze,
    step,
    truth_of,
)
from hushpoint.measure import Heard

seeds = st.integers(0, 2**63 - 1)


@st.composite
def persons(draw: st.DrawFn, *, still: bool = False) -> Person:
    diastolic = draw(st.floats(40, 120))
    systolic = draw(st.floats(diastolic + 20, min(diastolic + 110, 240)))
    gap = None
    if draw(st.booleans()):
        low = draw(st.floats(0.3, 0.6))
        gap = (diastolic + low * (systolic - diastolic), diastolic + (low + 0.2) * (systolic - diastolic))
    return Person(
        age_years=draw(st.integers(18, 90)),
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        pulse_per_min=draw(st.floats(40, 120)),
        rhythm="regular" if still else draw(st.sampled_from(["regular", "irregular", "ectopic"])),
        loudness_db=45 if still else draw(st.floats(10, 55)),
        gap_mmhg=None if still else gap,
        sounds_to_zero=False if still else draw(st.booleans()),
        swings=Swings.off() if still else Swings.resting(),
    )


@st.composite
def hands(draw: st.DrawFn) -> dict[str, float | None]:
    return {
        "unsteady": draw(st.floats(0, 0.5)),
        "open_at_mmhg": draw(st.floats(30, 90)),
        "stop_at_mmhg": draw(st.none() | st.floats(60, 120)),
        "pump_again_at_mmhg": draw(st.none() | st.floats(70, 120)),
    }


def same(one: BeatTable, other: BeatTable) -> bool:
    return all(
        np.array_equal(getattr(one, field.name), getattr(other, field.name))
        if isinstance(getattr(one, field.name), np.ndarray)
        else getattr(one, field.name) == getattr(other, field.name)
        for field in fields(BeatTable)
    )


@given(persons(), seeds)
@settings(max_examples=30, deadline=None)
def test_same_seed_same_beats(person: Person, seed: int) -> None:
    """A person and a seed give the very same table, and another seed another."""
    tables = [beat_table(person, ArmEffects(), np.random.default_rng(one)) for one in (seed, seed, seed ^ 1)]
    assert same(tables[0], tables[1])
    assert not same(tables[0], tables[2])


@given(persons(), seeds, st.sampled_from([None, "quiet", "ward", "class"]))
@settings(max_examples=8, deadline=None)
def test_same_seed_same_recording(person: Person, seed: int, noise: str | None) -> None:
    """Two renders of one seed are the same to the byte and stay within full scale."""
    one, two = (
        render_measurement(person, release_mmhg_per_s=4, seed=seed, rate_hz=2000, noise=noise) for _ in range(2)
    )
    assert one.samples.tobytes() == two.samples.tobytes()
    assert one.pressure_mmhg.tobytes() == two.pressure_mmhg.tobytes()
    assert one.made == two.made
    assert np.abs(one.samples).max() <= 1


@given(persons(), seeds)
@settings(max_examples=30, deadline=None)
def test_beats_are_those_of_a_living_arm(person: Person, seed: int) -> None:
    """Time runs forward, systolic stays above diastolic, every number is finite."""
    table = beat_table(person, ArmEffects(), np.random.default_rng(seed))
    assert np.all(np.diff(table.foot_s) > 0.15)
    assert np.all(table.systolic_mmhg - table.diastolic_mmhg >= 7.99)
    assert np.all(np.isfinite(table.level_db))
    assert np.all(np.diff(table.profile_place) > 0)


@given(persons(still=True), seeds, st.floats(1, 8))
@settings(max_examples=40, deadline=None)
def test_truth_of_a_still_arm_lies_within_one_beat_step(person: Person, seed: int, rate: float) -> None:
    """Systolic is at most one beat step below, diastolic at most one above, what the arm holds; ranges hold it."""
    table = beat_table(person, ArmEffects(), np.random.default_rng(seed))
    systolic, diastolic = person.systolic_mmhg, person.diastolic_mmhg
    seconds = (systolic - diastolic + 60) / rate
    truth = truth_of(table, [0, 1, 1 + seconds], [0, systolic + 30, diastolic - 30])
    beat_step = rate * 60 / person.pulse_per_min + 0.05
    if beat_step * 3 > systolic - diastolic:
        return
    assert isinstance(truth.systolic, Heard)
    assert isinstance(truth.diastolic, Heard)
    assert systolic - beat_step <= truth.systolic.mmhg <= systolic + 0.01
    assert diastolic - 0.01 <= truth.diastolic.mmhg <= diastolic + beat_step
    assert truth.systolic.low_mmhg - 0.01 <= systolic <= truth.systolic.high_mmhg + 0.01
    assert truth.diastolic.low_mmhg - 0.01 <= diastolic <= truth.diastolic.high_mmhg + 0.01


@given(persons(), seeds, st.floats(0.5, 40))
@settings(max_examples=30, deadline=None)
def test_a_fainter_arm_or_more_noise_never_adds_a_sound(person: Person, seed: int, db: float) -> None:
    """What is heard with less loudness or more noise was heard without, too."""
    line = ([0, 1, 61], [0, person.systolic_mmhg + 30, max(person.diastolic_mmhg - 30, 0)])
    table = beat_table(person, ArmEffects(), np.random.default_rng(seed))
    heard = {beat.index for beat in audible_beats(table, *line) if beat.audible}
    for less in (replace(table, level_db=table.level_db - db), replace(table, noise_db=db)):
        assert {beat.index for beat in audible_beats(less, *line) if beat.audible} <= heard


@given(persons(), seeds, hands(), st.floats(1, 12))
@settings(max_examples=40, deadline=None)
def test_any_hand_gets_a_truth_in_order(person: Person, seed: int, hand: dict[str, float | None], rate: float) -> None:
    """However a cuff is handled, pressures stay on the dial, ranges hold their value and systolic is not below."""
    time, line, _ = held_release(STANDARD_CUFF, 180, rate, np.random.default_rng(seed), **hand)
    assert line.min() >= 0
    assert line.max() <= 300
    assert np.all(np.diff(time) > 0)
    truth = truth_of(beat_table(person, ArmEffects(), np.random.default_rng(seed)), time, line)
    if isinstance(truth.systolic, Heard) and isinstance(truth.diastolic, Heard):
        first, last = (next(beat for beat in beats if beat.audible) for beats in (truth.beats, truth.beats[::-1]))
        assert first.at_s < last.at_s
        assert truth.diastolic.mmhg == last.mmhg
        if hand["pump_again_at_mmhg"] is None:
            assert truth.systolic.mmhg >= truth.diastolic.mmhg


@given(st.lists(st.tuples(st.booleans(), st.floats(0, 1)), min_size=1, max_size=200), st.floats(0, 300))
@settings(max_examples=60, deadline=None)
def test_the_cuff_stays_on_the_dial(acts: list[tuple[bool, float]], start: float) -> None:
    """Whatever is squeezed and turned, pressure stays within 0 to 300 and never rises without air in the bulb."""
    state = CuffState(start)
    for squeezed, hand in acts:
        if squeezed:
            state = squeeze(state)
        before = state
        state = step(state, hand)
        assert 0 <= state.pressure_mmhg <= 300
        if before.bulb_ml == 0:
            assert state.pressure_mmhg <= before.pressure_mmhg
