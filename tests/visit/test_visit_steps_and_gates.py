"""Each protocol as sequences and next steps; arms, waits, marks, gates, limits with their strictness."""

from __future__ import annotations

from datetime import timedelta

import pytest

from hushpoint.guideline.clinical_policies import clinical_policies, clinical_policy
from hushpoint.visit import Client, Proceed, Refer, Repeat, Visit, judge_visit
from visit_cases import START, judged, readings, shown


@pytest.mark.parametrize(
    ("policy", "taken", "do", "value"),
    [
        ("ACC_AHA_2017", "118/76", "take", (118, 76)),
        ("ACC_AHA_2017", "118/76 124/78", "enough", (121, 77)),
        ("ACC_AHA_2017", "118/76 140/90 126/80", "enough", (128, 82)),
        ("AHA_ACC_2025", "118/76", "take", (118, 76)),
        ("AHA_ACC_2025", "118/76 150/78", "enough", (134, 77)),
        ("ESC_2024", "130/80 128/80", "take", (129, 80)),
        ("ESC_2024", "130/80 128/80 124/78", "enough", (126, 79)),
        ("ESC_2024", "130/80 120/80 122/78", "enough", (121, 79)),
        ("ESC_2024", "130/80 119/80 122/78", "take", (121, 79)),
        ("ESC_2024", "130/80 128/80 118/78", "take", (123, 79)),
        ("ESC_2024", "130/80 119/80 122/78 120/78", "enough", (121, 78)),
        ("ESH_2023", "130/80 121/80 122/78", "enough", (122, 79)),
        ("ESH_2023", "130/80 120/80 122/78", "take", (121, 79)),
        ("ESH_2023", "130/80 128/80 118/78", "enough", (123, 79)),
        ("ISH_2020", "129/84", "enough", (129, 84)),
        ("ISH_2020", "130/84", "take", (130, 84)),
        ("ISH_2020", "129/85", "take", (129, 85)),
        ("ISH_2020", "136/86 130/84 128/82", "enough", (129, 83)),
        ("NICE_NG136", "139/89", "enough", (139, 89)),
        ("NICE_NG136", "140/89", "take", (140, 89)),
        ("NICE_NG136", "139/90", "take", (139, 90)),
        ("NICE_NG136", "148/92 144/94", "enough", (144, 92)),
        ("NICE_NG136", "160/92 148/94", "take", (148, 92)),
        ("NICE_NG136", "160/92 148/94 152/90", "enough", (148, 90)),
        ("NHFA_2016", "150/90 136/84 128/80", "enough", (132, 82)),
        ("NHFA_2016", "150/90 140/84 128/80", "take", (134, 82)),
        ("NHFA_2016", "150/90 136/90 134/83", "take", (135, 87)),
        ("NHFA_2016", "150/90 136/86 134/80", "enough", (135, 83)),
        ("NHFA_2016", "150/90 140/84 128/80 127/80", "enough", (132, 81)),
        ("AAP_2017", "119/79", "enough", (119, 79)),
        ("AAP_2017", "120/79", "take", (120, 79)),
        ("AAP_2017", "130/82 124/78 120/76", "enough", (122, 77)),
    ],
)
def test_each_protocol_row_as_sequences(policy: str, taken: str, do: str, value: tuple[int, int]) -> None:
    """Early stop, differing readings and the value of each, worked out by hand from the printed rules."""
    result = judged(taken, policy)
    assert (result.next.do, shown(result)) == (do, value)


@pytest.mark.parametrize("policy", list(clinical_policies()))
def test_irregular_pulse_asks_for_three(policy: str) -> None:
    """With an irregular pulse two are not enough, three are."""
    assert judged("118/70 118/70", policy, regular=False).next.do == "take"
    assert judged("118/70 118/70 118/70", policy, regular=False).next.do == "enough"


@pytest.mark.parametrize("policy", list(clinical_policies()))
def test_before_the_first_reading(policy: str) -> None:
    """Take the first, after five minutes of rest; nothing has been measured."""
    result = judged("", policy)
    assert (result.next.do, result.next.seconds) == ("take", 300)
    assert isinstance(result.action, Repeat)
    assert result.value is None


def test_the_wait_is_counted_down() -> None:
    """20 s after a reading 40 s are left; after 60 s the next is taken; clocks that disagree ask for all 60."""
    for later_s, do, seconds in ((20, "wait", 40), (59.5, "wait", 1), (60, "take", 0), (-500, "take", 60)):
        result = judged("118/76", "ACC_AHA_2017", now=START + timedelta(seconds=later_s))
        assert (result.next.do, result.next.seconds) == (do, seconds)


def test_after_differing_readings_nhfa_rests_five_minutes() -> None:
    """The two that are averaged lie 12 apart: 300 s of rest, counted from the last one."""
    now = START + timedelta(seconds=120 + 100)
    result = judged("150/90 140/84 128/80", "NHFA_2016", now=now)
    assert (result.next.do, result.next.seconds) == ("wait", 200)
    assert "the last two differ by 12 systolic" in result.next.why


def test_the_third_is_asked_for_with_the_difference() -> None:
    """The one line says which reading and that the first two differ by 12."""
    result = judged("150/90 138/88", "ESH_2023")
    assert result.next.why.startswith("reading 3 of 3 on the right arm; the first two differ by 12")


def test_readings_early_out_of_order_and_over_the_cap_are_kept_and_marked() -> None:
    """30 s is early; entered late is out of order; the seventh on one arm is over the cap and not counted."""
    early = judged("150/90 138/88", "ACC_AHA_2017", gap_s=30)
    assert [each.marks for each in early.readings] == [(), ("early",)]
    assert shown(early) == (144, 89)
    assert early.value is not None
    assert "lower certainty: reading 2 came less than 60 s after the one before" in early.value.doubts
    turned = Visit(tuple(reversed(readings("150/90 138/88 130/80"))))
    result = judge_visit(turned, clinical_policy("NHFA_2016"), START + timedelta(hours=1))
    assert [each.number for each in result.readings] == [3, 2, 1]
    assert [each.marks for each in result.readings] == [(), ("out_of_order",), ("out_of_order",)]
    assert shown(result) == (134, 84)
    capped = judged("150/90 " * 6 + "100/60", "NHFA_2016")
    assert [each.marks for each in capped.readings[5:]] == [(), ("over_cap",)]
    assert shown(capped) == (150, 90)


def test_readings_that_could_not_be_heard_do_not_count_and_end_at_the_cap() -> None:
    """Not heard, or sounds down to 0, asks for another; six of them end the sitting, which never proceeds."""
    assert judged("118/? 118/76", "ACC_AHA_2017").next.do == "take"
    assert judged("118/0 118/76", "ACC_AHA_2017").readings[0].marks == ("not_heard",)
    result = judged("118/? " * 6, "ACC_AHA_2017")
    assert result.next.do == "stop"
    assert isinstance(result.action, Repeat)


def test_a_first_that_was_not_heard_is_the_one_left_out() -> None:
    """Where the first gave no reading nothing else is left out: mean of the three that were heard."""
    result = judged("140/? 134/82 130/80 128/80", "NHFA_2016")
    assert (result.next.do, shown(result)) == ("enough", (131, 81))


def test_both_arms_at_the_first_visit() -> None:
    """After the first arm the other one; it needs one reading, or its own sequence where it is over 10 higher."""
    client = Client(first_visit=True)
    first = judged("118/76 118/76", "ACC_AHA_2017", client=client)
    assert first.next.do == "other_arm"
    assert isinstance(first.action, Repeat)
    near = judged("118/76 118/76 L128/78", "ACC_AHA_2017", client=client)
    assert near.next.do == "enough"
    far = judged("118/76 118/76 L130/78", "ACC_AHA_2017", client=client)
    assert far.next.do == "other_arm"
    assert "12 higher" in far.next.why
    done = judged("118/76 118/76 L130/78 L132/78", "ACC_AHA_2017", client=client)
    assert done.next.do == "enough"
    assert done.value is not None
    assert (done.value.arm, shown(done)) == ("left", (131, 78))
    nice = judged("118/76 L133/78", "NICE_NG136", client=client)
    assert nice.next.do == "enough"
    assert judged("118/76", "AAP_2017", client=client).next.do == "enough"


def test_the_graver_arm_decides() -> None:
    """A second arm at 144 refers though the first is at 136."""
    result = judged("136/80 136/80 L144/80 L144/80", "ACC_AHA_2017", client=Client(first_visit=True))
    assert isinstance(result.action, Refer)
    assert result.action.when == "within 2 months"
    both = judged("144/80 144/80 L165/80 L165/80", "ACC_AHA_2017", client=Client(first_visit=True))
    assert both.action.when == "within 1 month"


@pytest.mark.parametrize(
    ("ends", "verdict", "when"),
    [
        ("139/89", Proceed, "today"),
        ("140/89", Refer, "within 2 months"),
        ("139/90", Refer, "within 2 months"),
        ("159/99", Refer, "within 2 months"),
        ("160/99", Refer, "within 1 month"),
        ("159/100", Refer, "within 1 month"),
        ("179/109", Refer, "within 1 month"),
        ("179/110", Refer, "today"),
        ("180/109", Refer, "today"),
        ("181/121", Refer, "today"),
    ],
)
@pytest.mark.parametrize("policy", [name for name in clinical_policies() if name != "AAP_2017"])
def test_every_limit_of_the_ladder_and_its_clock(policy: str, ends: str, verdict: type, when: str) -> None:
    """Either end alone reaches a limit, at the limit itself; the shorter clock wins."""
    result = judged(" ".join([ends] * 3), policy)
    assert isinstance(result.action, verdict)
    assert result.action.when.startswith(when)


def test_the_adolescent_ladder() -> None:
    """130/80 is measured again in 2 weeks, 140/90 within a week to a specialist, above 180/120 an emergency."""
    words = [judged(f"{ends} {ends} {ends}", "AAP_2017").action for ends in ("129/79", "130/79", "140/79", "181/79")]
    assert [action.word for action in words] == ["proceed", "repeat", "refer", "emergency"]
    assert [action.when for action in words[1:3]] == ["within 2 weeks", "within 1 week"]


def test_one_very_high_reading_keeps_a_low_value_from_proceeding() -> None:
    """182 first, then low: the value reaches no limit, and yet nobody exercises on this set."""
    result = judged("182/100 124/78 122/76", "NHFA_2016")
    assert shown(result) == (123, 77)
    assert isinstance(result.action, Repeat)


@pytest.mark.parametrize(
    ("told", "verdict", "word"),
    [
        ({"consent": False}, "repeat", "consent"),
        ({"client": Client(age=12)}, "refer", "percentiles"),
        ({"client": Client(barred_arms=("left", "right"))}, "refer", "both arms"),
        ({"client": Client(arm_cm=21)}, "refer", "no adult cuff"),
    ],
)
def test_gates_that_stop_the_measurement(told: dict[str, object], verdict: str, word: str) -> None:
    """No consent, a child, no arm left, no cuff: stop, and no value is judged."""
    result = judged("118/76 118/76", "ACC_AHA_2017", **told)
    assert result.next.do == "stop"
    assert result.action.word == verdict
    assert word in result.action.reasons[0]
    assert result.value is None
    assert all("not_judged" in each.marks for each in result.readings)


@pytest.mark.parametrize(
    ("told", "verdict", "word"),
    [
        ({"client": Client(age=13)}, "proceed", ""),
        ({"client": Client(pregnant=True)}, "refer", "maternity"),
        ({"per_min": 101.0}, "repeat", "above 100"),
        ({"per_min": 100.0}, "proceed", ""),
        ({"symptoms": ("murmur",)}, "refer", "row 3"),
        ({"client": Client(known_disease=("diabetes_2",))}, "refer", "row 2"),
        ({"client": Client(known_disease=("diabetes_2",), exercises_regularly=True)}, "refer", "row 6"),
        (
            {"client": Client(known_disease=("renal",), exercises_regularly=True, cleared_within_12_months=True)},
            "proceed",
            "",
        ),
        (
            {"client": Client(known_disease=("renal",), exercises_regularly=True), "intended": "moderate"},
            "proceed",
            "",
        ),
        ({"client": Client(exercises_regularly=True), "symptoms": ("murmur",)}, "refer", "row 7"),
        ({"client": Client(exercises_regularly=True), "symptoms": ()}, "proceed", ""),
    ],
)
def test_gates_beside_a_low_pressure(told: dict[str, object], verdict: str, word: str) -> None:
    """Each gate speaks by itself, whatever the pressure; 110/70 is measured all the same."""
    result = judged("110/70 110/70", "ACC_AHA_2017", **told)
    assert result.action.word == verdict
    assert word in result.action.reasons[0]
    assert shown(result) == (110, 70)


def test_a_mean_at_an_edge_is_told() -> None:
    """129.5 shows as 130, is judged unrounded as elevated, and says that rounding would decide."""
    result = judged("129/70 130/70", "ACC_AHA_2017")
    assert (shown(result), result.category) == ((130, 70), "elevated")
    assert result.value is not None
    assert any("rounding would decide" in doubt for doubt in result.value.doubts)


@pytest.mark.parametrize(
    ("told", "words", "stands"),
    [
        ({"client": Client(age=17)}, "bands of AAP_2017", True),
        ({"client": Client(age=18)}, "bands of AAP_2017", False),
        ({"client": Client(medicines=("a tablet for the heart",))}, "Medicines are noted", True),
        ({"client": Client()}, "Medicines are noted", False),
        ({"position": "supine"}, "for a seated person", True),
        ({"position": "Seated"}, "for a seated person", False),
        ({"client": Client(arm_cm=33), "cuff": "16x30"}, "measure it", False),
        ({"client": Client(arm_cm=33), "cuff": "99x99"}, "measure it", True),
        ({"client": Client(arm_cm=33)}, "measure it", True),
        ({"consent": True}, "not judged: consent", False),
        ({}, "not judged: consent", True),
    ],
)
def test_cautions_that_depend_on_what_was_told(told: dict[str, object], words: str, stands: bool) -> None:
    """Each caution stands where it is due and nowhere else."""
    text = " ".join(judged("118/76 118/76", "ACC_AHA_2017", **told).cautions)
    assert (words in text) is stands


def test_low_readings_and_the_adolescent_policy_have_their_cautions() -> None:
    """Under 90 systolic the session may stop too; AAP_2017 does not point to itself."""
    assert any("low systolic" in each for each in judged("89/60 89/60", "ESC_2024").cautions)
    assert not any("low systolic" in each for each in judged("90/60 90/60", "ESC_2024").cautions)
    own = judged("110/70", "AAP_2017", client=Client(age=15)).cautions
    assert not any("bands of AAP_2017" in each for each in own)


def test_a_spread_of_ten_is_not_wide() -> None:
    """10 apart is let pass, 11 lowers the certainty in words."""
    for taken, wide in (("130/80 120/80", False), ("131/80 120/80", True), ("120/70 120/81", True)):
        value = judged(taken, "ACC_AHA_2017").value
        assert value is not None
        assert any("lower certainty" in doubt for doubt in value.doubts) is wide


def test_a_fourth_reading_ends_the_comparison() -> None:
    """Under ESC_2024 only the first three are compared: a fourth that differs asks for no fifth."""
    assert judged("130/80 128/80 126/80 110/70", "ESC_2024").next.do == "enough"


@pytest.mark.parametrize("policy", list(clinical_policies()))
def test_no_text_diagnoses_or_reassures(policy: str) -> None:
    """None of the forbidden words stands in anything said, from 100/60 to 190/125; cautions always stand."""
    for ends in ("100/60", "125/79", "138/88", "150/95", "170/105", "190/125"):
        for symptoms in ((), ("murmur",), ("chest_pain",)):
            result = judged(f"{ends} {ends} {ends}", policy, symptoms=symptoms)
            said = [result.next.why, result.action.when, *result.action.reasons, *result.cautions]
            text = " ".join(said).lower()
            for word in ("you have", "you are", "cleared for", " safe", "healthy", "patient", "fine", "worry"):
                assert word not in text
            assert "no diagnosis" in text
            assert "local policy" in text
            assert "_s" not in text.replace(policy.lower(), "")
            assert "_mmhg" not in text
