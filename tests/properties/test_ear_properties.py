"""Whatever arrays come in, the ear answers with a verdict and its own rules hold."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from ear.second_maker import make
from hushpoint.ear import listen
from hushpoint.measure import Heard, Withheld

EDGES = st.sampled_from([0.0, 1.0, -1.0, 1e-12, 1e6, float("nan"), float("inf"), 120.0, 300.0])


@given(
    seed=st.integers(0, 2**32 - 1),
    count=st.integers(0, 4000),
    rate=st.sampled_from([2000, 4000, 8000, 44100]),
    rows=st.integers(0, 400),
    edges=st.lists(EDGES, max_size=5),
)
@settings(max_examples=60, deadline=None)
def test_any_arrays_get_a_verdict(seed: int, count: int, rate: int, rows: int, edges: list[float]) -> None:
    """Short, empty, wild: a verdict with a reason, never an exception."""
    rng = np.random.default_rng(seed)
    pressure = rng.uniform(0, 200, rows)
    pressure[: len(edges)] = edges[:rows]
    found = listen(rng.standard_normal(count), rate, np.arange(rows) * 0.1, pressure)
    for end in (found.systolic, found.diastolic):
        assert isinstance(end, Heard | Withheld)
        assert not isinstance(end, Withheld) or end.reason


@given(seed=st.integers(0, 10**6), gain=st.floats(0.01, 20), noise=st.floats(0, 0.2))
@settings(max_examples=12, deadline=None)
def test_loudness_does_not_change_the_answer(seed: int, gain: float, noise: float) -> None:
    """The same recording, louder or softer, reads the same; a given end lies inside its range."""
    made = make(seed)
    sound = made.sound + noise * np.random.default_rng(seed).standard_normal(len(made.sound))
    first = listen(sound, made.rate_hz, made.time_s, made.pressure_mmhg)
    second = listen(sound * gain, made.rate_hz, made.time_s, made.pressure_mmhg)
    for one, other in ((first.systolic, second.systolic), (first.diastolic, second.diastolic)):
        assert type(one) is type(other)
        if isinstance(one, Heard) and isinstance(other, Heard):
            assert abs(one.mmhg - other.mmhg) < 0.5
            assert one.low_mmhg <= one.mmhg <= one.high_mmhg
