"""What was told of today, posture, rest and standing: it lowers certainty or refers, and never softens."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hushpoint.desk.visit_json import VisitFileError, parse_visit
from hushpoint.guideline.today import today_effects
from hushpoint.visit import BARRED_REASONS, POSTURE_FAULTS, TODAY, Client, StandingReading
from hushpoint.visit.verdicts import GRAVITY
from visit_cases import judged


def test_every_habit_asked_about_has_its_effect() -> None:
    """The codes of a visit and the rows of the table are the same."""
    assert tuple(today_effects()) == TODAY


@pytest.mark.parametrize("code", TODAY)
def test_todays_habit_is_named_with_what_it_may_add(code: str) -> None:
    """The doubt names the habit, its range or that none was found, and the source."""
    value = judged("134/82 130/80 128/80", "NHFA_2016", today=(code,)).value
    assert value is not None
    effect = today_effects()[code]
    assert any(effect.what in doubt and effect.words() in doubt and effect.source in doubt for doubt in value.doubts)


@pytest.mark.parametrize("code", POSTURE_FAULTS)
def test_a_posture_fault_is_named_with_what_it_adds(code: str) -> None:
    """What could not be put right lowers the certainty in words."""
    value = judged("134/82 130/80 128/80", "NHFA_2016", posture=(code,)).value
    assert value is not None
    assert any("lower certainty" in doubt for doubt in value.doubts)


def test_a_short_rest_is_told_in_seconds() -> None:
    """200 of 300 s is told; 300 is not."""
    short, whole = (judged("134/82 130/80 128/80", "NHFA_2016", rested_s=rest).value for rest in (200, 300))
    assert short is not None
    assert whole is not None
    assert "lower certainty: rested 200 s, 300 are asked for" in short.doubts
    assert not any("rested" in doubt for doubt in whole.doubts)


@pytest.mark.parametrize(
    ("policy", "stood", "verdict"),
    [
        ("NICE_NG136", (109, 78), "proceed"),
        ("NICE_NG136", (108, 60), "refer"),
        ("NICE_NG136", (110, 60), "proceed"),
        ("ESC_2024", (118, 68), "refer"),
        ("ESC_2024", (118, 69), "proceed"),
        ("ACC_AHA_2017", (90, 50), "proceed"),
    ],
)
def test_a_fall_on_standing_by_each_policys_own_limit(policy: str, stood: tuple[int, int], verdict: str) -> None:
    """20 systolic under NICE, 20 or 10 under ESC, no rule where the policy has none; 128/78 seated."""
    standing = (StandingReading(60, *stood),)
    result = judged("128/78 128/78 128/78", policy, standing=standing)
    assert result.action.word == verdict


def test_a_policy_with_standing_readings_says_that_none_is_told() -> None:
    """ESC has them after 1 and 3 minutes; the caution is gone once one is told."""
    asked = judged("118/76 118/76 118/76", "ESC_2024")
    told = judged("118/76 118/76 118/76", "ESC_2024", standing=(StandingReading(60, 116, 78),))
    assert any("after 1 min and 3 min of standing up" in caution for caution in asked.cautions)
    assert not any("standing up" in caution for caution in told.cautions)


def test_a_barred_arm_is_locked_with_its_reason_class() -> None:
    """The class of the reason is told, and no more."""
    client = Client(barred_arms=("left",), barred_reasons=(("left", "fistula"),))
    assert "Left arm locked: fistula." in judged("134/82 130/80 128/80", "NHFA_2016", client=client).cautions


@given(
    systolic=st.integers(100, 200),
    today=st.sets(st.sampled_from(TODAY)),
    posture=st.sets(st.sampled_from(POSTURE_FAULTS)),
    fall=st.integers(-20, 60),
)
def test_telling_more_never_softens(systolic: int, today: set[str], posture: set[str], fall: int) -> None:
    """Habits, faults and a standing reading leave the verdict or make it graver."""
    text = " ".join([f"{systolic}/{systolic - 50}"] * 3)
    plain = judged(text, "ESC_2024").action.word
    told = judged(
        text,
        "ESC_2024",
        today=tuple(sorted(today)),
        posture=tuple(sorted(posture)),
        standing=(StandingReading(60, systolic - fall, systolic - 50),),
    ).action.word
    assert GRAVITY.index(told) >= GRAVITY.index(plain)


WRONG = {
    "an unknown habit": ({"today": ["tea"]}, "one of caffeine"),
    "an unknown fault": ({"posture": ["slumped"]}, "one of back_unsupported"),
    "rest beyond two hours": ({"rested_s": 7201}, "from 0 to 7200"),
    "a reason for an arm that is not barred": ({"client": {"barred_reasons": {"left": "fistula"}}}, "not barred"),
    "an unknown reason": (
        {"client": {"barred_arms": ["left"], "barred_reasons": {"left": "tired"}}},
        f"one of {', '.join(BARRED_REASONS)}",
    ),
    "standing without its time": ({"standing": [{"systolic": 120, "diastolic": 80}]}, "seconds since standing up"),
    "standing that is no list": ({"standing": 3}, "a list of at most"),
}


@pytest.mark.parametrize("kind", list(WRONG))
def test_what_cannot_be_read_gives_one_line(kind: str) -> None:
    """File, place and legal values in one line."""
    told, said = WRONG[kind]
    with pytest.raises(VisitFileError) as refused:
        parse_visit(json.dumps({"readings": [], **told}).encode(), "visit.json")
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)
