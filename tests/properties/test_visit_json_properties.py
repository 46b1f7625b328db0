"""Any bytes and any JSON near a visit: judged, or refused in one line, never anything else."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hushpoint.cli.visit import as_object
from hushpoint.desk.visit_json import ALL_SYMPTOMS, parse_visit
from hushpoint.errors import BadInputError
from hushpoint.guideline.clinical_policies import clinical_policies, clinical_policy
from hushpoint.visit import ARMS, DISEASES, INTENDED, judge_visit
from visit_cases import LATER

odd = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.lists(st.integers(), max_size=2)
)
times = st.datetimes().map(str) | st.just("2026-03-02T09:30:00") | st.just("2026-03-02T09:30:30+01:00")
reading = st.fixed_dictionaries(
    {"systolic": st.integers(60, 300) | odd, "diastolic": st.integers(0, 150) | odd},
    optional={"at": times, "arm": st.sampled_from(ARMS) | odd},
)
client = st.fixed_dictionaries(
    {},
    optional={
        "age": st.floats(0, 120),
        "arm_cm": st.integers(10, 80),
        "barred_arms": st.lists(st.sampled_from(ARMS), unique=True),
        "known_disease": st.lists(st.sampled_from(DISEASES), unique=True),
        "exercises_regularly": st.booleans(),
        "first_visit": st.booleans(),
        "pregnant": st.booleans() | odd,
    },
)
visit = st.fixed_dictionaries(
    {"policy": st.sampled_from(list(clinical_policies())), "readings": st.lists(reading, max_size=8)},
    optional={
        "client": client | odd,
        "consent": st.booleans(),
        "cuff": st.sampled_from(["adult", "13x23", "16 x 36 cm", "99x99", "?"]) | odd,
        "intended": st.sampled_from(INTENDED) | odd,
        "symptoms": st.lists(st.sampled_from(ALL_SYMPTOMS), unique=True),
        "pulse": st.fixed_dictionaries({}, optional={"per_min": st.integers(20, 250), "regular": st.booleans()}),
    },
)


@settings(max_examples=300, deadline=None)
@given(visit)
def test_any_visit_is_judged_or_refused_in_one_line(told) -> None:
    """What is accepted gives the documented object, every reading in it; what is refused, one printable line."""
    try:
        read, policy = parse_visit(json.dumps(told).encode(), "visit.json")
    except BadInputError as refusal:
        line = str(refusal)
    else:
        line = ""
    assert line.isprintable()
    if line:
        assert line.startswith("visit.json")
        return
    assert policy == told["policy"]
    found = json.loads(json.dumps(as_object(judge_visit(read, clinical_policy(policy), LATER)), allow_nan=False))
    assert len(found["readings"]) == len(told["readings"])
    assert found["next"]["do"] in {"take", "wait", "other_arm", "enough", "stop"}
    assert found["action"]["verdict"] in {"proceed", "repeat", "refer", "emergency"}
    assert found["action"]["reasons"]
    assert found["cautions"]


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=60))
def test_any_bytes_are_refused_in_one_line(data) -> None:
    """So few random bytes are never a visit."""
    with pytest.raises(BadInputError) as refused:
        parse_visit(data, "visit.json")
    assert str(refused.value).isprintable()
