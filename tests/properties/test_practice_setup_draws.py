"""Whatever the case and the choices, the arm stays an arm and the judgement can be stored."""

from __future__ import annotations

import json

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from bench_logs import bench_log
from hushpoint.arm import beat_table
from hushpoint.guideline import DIASTOLIC_EXTREMES_MMHG, SYSTOLIC_EXTREMES_MMHG, teaching_policies
from hushpoint.practice.cases import case_of
from hushpoint.practice.judge import judge
from hushpoint.practice.log import check_log
from hushpoint.practice.pen import zeros_p
from hushpoint.practice.setup import check_choices, effects_of, set_up_rows


@settings(max_examples=60, deadline=None)
@given(data=st.data(), seed=st.integers(0, 2**48), number=st.integers(1, 60))
def test_any_case_any_choices_any_policy(data: st.DataObject, seed: int, number: int) -> None:
    """Effects stay in the review's extremes, systolic above diastolic, and the judgement is finite JSON."""
    case = case_of(seed, number)
    rows = set_up_rows(case, np.random.default_rng(seed))
    choices = {row.id: data.draw(st.sampled_from([one.id for one in row.choices])) for row in rows}
    assert check_choices(case, choices) == choices
    effects, named = effects_of(case, choices, np.random.default_rng(seed))
    systolic = effects.systolic_mmhg + effects.settling_systolic_mmhg
    diastolic = effects.diastolic_mmhg + effects.settling_diastolic_mmhg
    assert SYSTOLIC_EXTREMES_MMHG[0] - 1e-9 <= systolic <= SYSTOLIC_EXTREMES_MMHG[1] + 1e-9
    assert DIASTOLIC_EXTREMES_MMHG[0] - 1e-9 <= diastolic <= DIASTOLIC_EXTREMES_MMHG[1] + 1e-9
    assert case.person.systolic_mmhg + systolic > case.person.diastolic_mmhg + diastolic
    reading = data.draw(st.tuples(*[st.none() | st.integers(0, 300)] * 2))
    peak = data.draw(st.integers(60, 250))
    policy = data.draw(st.sampled_from(list(teaching_policies().values())))
    sent = judge(
        case,
        beat_table(case.person, effects, np.random.default_rng(number)),
        named_effects=named,
        log=check_log(bench_log(reading, peak_mmhg=peak, rate_mmhg_per_s=5)),
        policy=policy,
        earlier_readings=[],
    ).to_json("m")
    json.dumps(sent, allow_nan=False)
    assert sent["next"].startswith("Next: ")
    for end, written in zip(("systolic", "diastolic"), reading, strict=True):
        known = written is not None and sent["truth"][end]["verdict"] == "heard"
        assert (sent["ear"][f"{end}_error_mmhg"] is not None) == known


@given(even=st.integers(1, 300), zeros=st.integers(0, 300))
def test_chance_of_zeros_is_a_probability_that_falls(even: int, zeros: int) -> None:
    """Between 0 and 1, and never larger for more zeros."""
    chance = zeros_p(zeros, even)
    assert 0 <= chance <= 1 + 1e-9
    assert zeros_p(zeros + 1, even) <= chance
