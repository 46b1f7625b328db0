"""Scenes of a practitioner's day: what the visit must say, worked out by hand beforehand."""

from __future__ import annotations

from hushpoint.visit import Client, Emergency, Refer, Repeat
from visit_cases import judged, shown


def test_scene_5_grade_2_and_no_test_within_a_month() -> None:
    """178/104, 164/98, 162/96: value 163/97, Australian grade 2, no test, a doctor within a month."""
    result = judged("178/104 164/98 162/96", "NHFA_2016")
    assert shown(result) == (163, 97)
    assert result.category == "grade 2"
    assert result.next.do == "enough"
    assert isinstance(result.action, Refer)
    assert (result.action.when, result.action.to) == ("within 1 month", "a doctor")
    assert "no test" in result.action.reasons[0]
    assert result.step is not None
    assert (result.step.systolic_mmhg, result.step.diastolic_mmhg) == (160, 100)


def test_scene_5_where_a_differing_first_pair_asks_for_a_fourth() -> None:
    """Rules adding a reading where the first two differ by more than 10 ask for a fourth, then have enough."""
    for policy in ("ESC_2024", "ESH_2023"):
        result = judged("178/104 164/98 162/96", policy)
        assert result.next.do == "take"
        assert "14 systolic" in result.next.why
        assert judged("178/104 164/98 162/96 160/96", policy).next.do == "enough"


def test_scene_6_fistula_left_and_kidney_disease() -> None:
    """Left locked and both arms waived; 129/80 is normal or stage 1 by scheme; still refer, by the algorithm."""
    client = Client(
        age=55, barred_arms=("left",), known_disease=("renal",), exercises_regularly=False, first_visit=True
    )
    result = judged("134/82 130/80 128/80", "NHFA_2016", client=client, symptoms=(), intended="test")
    assert shown(result) == (129, 80)
    assert result.category == "normal"
    assert dict(result.also)["ACC_AHA_2017"] == "stage 1"
    assert result.next.do == "enough"
    assert "left arm is barred" in result.next.why
    assert isinstance(result.action, Refer)
    assert "renal" in result.action.reasons[0]
    assert "Riebe 2015" in result.action.reasons[0]
    assert result.action.when == "before any exercise"


def test_scene_6_a_reading_on_the_barred_arm_is_kept_and_not_counted() -> None:
    """A reading on the left is marked and the value is as without it."""
    client = Client(barred_arms=("left",))
    result = judged("L170/100 134/82 130/80 128/80", "NHFA_2016", client=client)
    assert shown(result) == (129, 80)
    assert [each.marks for each in result.readings] == [("barred_arm",), (), (), ()]


def test_scene_7_36_cm_refuses_a_13_by_23_bladder() -> None:
    """64 % of the arm: refused, large adult 16 × 36 named, nothing judged; 16 × 30 passes with a note."""
    client = Client(arm_cm=36)
    result = judged("120/76", "NHFA_2016", client=client, cuff="adult, bladder 13x23")
    assert result.next.do == "stop"
    assert "64 %" in result.next.why
    assert "large adult, 16 × 36 cm" in result.next.why
    assert isinstance(result.action, Repeat)
    assert result.value is None
    other = judged("120/76", "NHFA_2016", client=client, cuff="16x30")
    assert other.next.do == "take"
    assert any("83 %" in caution and "large adult" in caution for caution in other.cautions)
    assert judged("120/76", "NHFA_2016", client=client, cuff="large_adult").next.do == "take"
    assert judged("120/76", "NHFA_2016", client=Client(arm_cm=60)).next.do == "stop"


def test_scene_8_irregular_pulse_takes_the_mean_of_all() -> None:
    """138/84, 150/78, 144/82: 144/81 and not 147/80, low certainty, a doctor first, no test, under every policy."""
    for policy in ("NHFA_2016", "ESC_2024", "ESH_2023", "NICE_NG136", "ISH_2020", "ACC_AHA_2017"):
        result = judged("138/84 150/78 144/82", policy, regular=False, client=Client(age=68))
        assert shown(result) == (144, 81)
        assert result.next.do == "enough"
        assert result.value is not None
        assert any("low certainty" in doubt for doubt in result.value.doubts)
        assert isinstance(result.action, Refer)
        assert "irregular pulse" in result.action.reasons[0]
        assert "no test" in result.action.reasons[0]
    assert shown(judged("138/84 150/78 144/82", "NHFA_2016")) == (147, 80)


def test_emergency_symptoms_stop_everything() -> None:
    """Stop, call, and nothing of value or category; the readings are kept."""
    result = judged("118/76", "ACC_AHA_2017", symptoms=("palpitations", "chest_pain"))
    assert result.next.do == "stop"
    assert isinstance(result.action, Emergency)
    assert len(result.action.reasons) == 1
    assert "chest pain" in result.action.reasons[0]
    assert "call the emergency service" in result.action.reasons[0]
    assert (result.value, result.category, result.also) == (None, None, ())
    assert len(result.readings) == 1


def test_a_very_high_reading_with_any_symptom_is_an_emergency_at_once() -> None:
    """181 with palpitations calls for help after one reading; 180/120 exactly does not, being not above."""
    result = judged("181/90", "ESC_2024", symptoms=("palpitations",))
    assert (result.next.do, result.action.when) == ("stop", "now")
    assert "call the emergency service" in result.next.why
    assert not any("complete" in reason for reason in result.action.reasons)
    assert judged("181/90 181/90 181/90", "AAP_2017", symptoms=()).next.do == "stop"
    assert isinstance(judged("181/90", "ESC_2024", symptoms=("palpitations",)).action, Emergency)
    assert isinstance(judged("150/121", "ESC_2024", symptoms=("palpitations",)).action, Emergency)
    assert isinstance(judged("180/120 180/120 180/120", "ESC_2024", symptoms=("palpitations",)).action, Refer)
    assert isinstance(judged("181/121 181/121 181/121", "ESC_2024", symptoms=()).action, Refer)
