"""Ear, hand and pulse judged on scripted logs of the real cuff, against the truth of that very release."""

from __future__ import annotations

import dataclasses
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from bench_logs import bench_log
from hushpoint.arm import BeatTable, Person, Swings, beat_table, slow_truth, truth_of
from hushpoint.guideline import teaching_policy
from hushpoint.measure import Heard, NotHeard, Reading, Withheld, Written, stated, truth_words, whole_mmhg
from hushpoint.practice.cases import Case
from hushpoint.practice.judge import EarlierReading, Judgement, end_point, judge
from hushpoint.practice.log import check_log
from hushpoint.practice.setup import effects_of, right_choices
from hushpoint.web.context import signed

STILL = Person(systolic_mmhg=128.0, diastolic_mmhg=82.0, pulse_per_min=60.0, swings=Swings.off())


def arm(person: Person, **poor: str) -> tuple[Case, BeatTable, tuple[Any, ...]]:
    """Return a case with this person, the beats as the set-up leaves them, and the faults."""
    case = Case(1, "normal", person, "He says nothing.", False, False, 8.0)
    effects, named = effects_of(case, {**right_choices(case), **poor}, np.random.default_rng(2))
    return case, beat_table(person, effects, np.random.default_rng(3)), named


def judged(
    log: dict[str, Any],
    person: Person = STILL,
    policy: str = "PALPATED_30",
    earlier: tuple[EarlierReading, ...] = (),
    **poor: str,
) -> Judgement:
    """Return the judgement of a log on a person."""
    case, table, named = arm(person, **poor)
    return judge(
        case,
        table,
        named_effects=named,
        log=check_log(log),
        policy=teaching_policy(policy),
        earlier_readings=earlier,
    )


def said(lines: tuple[str, ...], words: str) -> bool:
    """Return whether any line holds these words."""
    return any(words in line for line in lines)


@pytest.mark.parametrize(("off_systolic", "off_diastolic"), [(0, 0), (-4, 0), (6, -2), (-10, 8)])
def test_ear_error_is_reading_minus_truth(off_systolic: int, off_diastolic: int) -> None:
    """The error is what was written less what could be heard in this release, as stated; not the rounded key."""
    log = bench_log(palpated_mmhg=126)
    _, table, _ = arm(STILL)
    truth = truth_of(table, np.array(log["time_s"]), np.array(log["pressure_mmhg"]))
    written = (round(truth.systolic.mmhg) + off_systolic, round(truth.diastolic.mmhg) + off_diastolic)
    log["reading"] = {"systolic": written[0], "diastolic": written[1], "muffling": None}
    judgement = judged(log)
    assert judgement.systolic_error_mmhg == pytest.approx(written[0] - stated(truth.systolic.mmhg))
    assert judgement.diastolic_error_mmhg == pytest.approx(written[1] - stated(truth.diastolic.mmhg))
    told = judgement.ear_lines[0]
    assert told.startswith("Your ear: ")
    assert ("exact on systolic" in told) == (off_systolic == 0)
    if off_systolic < 0:
        assert f"{-whole_mmhg(judgement.systolic_error_mmhg)} low on systolic" in told


@pytest.mark.parametrize("written", [(120, 80), (124, 81), (125, 83), (131, 77)])
@pytest.mark.parametrize("shift", [0.0, 0.17, 0.41, 0.46, 0.5, 0.54, 0.83])
def test_lines_board_and_shown_truth_say_one_number(written: tuple[int, int], shift: float) -> None:
    """Whatever the decimals, the line, the learner's list and a pencil (written less shown truth) agree."""
    person = dataclasses.replace(STILL, systolic_mmhg=124.0 + shift, diastolic_mmhg=80.0 + shift)
    sent = judged(bench_log(written, palpated_mmhg=126), person).to_json("m")
    for end, value in zip(("systolic", "diastolic"), written, strict=True):
        listed = signed(sent["ear"][f"{end}_error_mmhg"])
        whole = int(listed.replace("\N{MINUS SIGN}", "-"))
        words = f"{abs(whole)} {'high' if whole > 0 else 'low'} on {end}" if whole else f"exact on {end}"
        assert words in sent["ear"]["lines"][0]
        assert whole == whole_mmhg(value - float(truth_words(sent["truth"][end]["mmhg"])))


def test_within_one_mark_is_named_as_near_as_the_dial_can_be_read() -> None:
    """One off is still shown as one off, and said to be as near as the marks allow."""
    log = bench_log(palpated_mmhg=126)
    _, table, _ = arm(STILL)
    truth = truth_of(table, np.array(log["time_s"]), np.array(log["pressure_mmhg"]))
    log["reading"] = {"systolic": whole_mmhg(truth.systolic.mmhg - 1.1), "diastolic": None, "muffling": None}
    judgement = judged(log)
    assert judgement.ear_lines[0] == "Your ear: 1 low on systolic: as near as the dial can be read."


def test_the_key_is_the_truth_to_the_nearest_two() -> None:
    """The answer key in the JSON is even and within one of the truth."""
    sent = judged(bench_log(palpated_mmhg=126)).to_json("m")
    for end in ("systolic", "diastolic"):
        assert sent["truth"]["key"][end] % 2 == 0
        assert abs(sent["truth"]["key"][end] - sent["truth"][end]["mmhg"]) <= 1.05


def test_first_silence_is_the_next_beat_one_step_lower() -> None:
    """At 3 mmHg/s and 60 a minute the first silence lies 3 below the last sound, and the ear is judged by it."""
    log = bench_log((124, 80), palpated_mmhg=126, rate_mmhg_per_s=3.0)
    last = judged(log)
    silence = judged(log, policy="PALPATED_30_FIRST_SILENCE")
    assert isinstance(last.truth_diastolic, Heard)
    assert isinstance(silence.truth_diastolic, Heard)
    assert last.truth_diastolic.mmhg - silence.truth_diastolic.mmhg == pytest.approx(3.0, abs=0.2)
    assert silence.diastolic_error_mmhg - last.diastolic_error_mmhg == pytest.approx(3.0, abs=0.2)
    assert silence.diastolic_loss_mmhg == last.diastolic_loss_mmhg


def test_not_heard_that_was_true_is_well_kept() -> None:
    """On the silent side "not heard" is the true answer, and nothing is held against the ear."""
    judgement = judged(bench_log((None, None), palpated_mmhg=126), ears="tapped_silent")
    assert judgement.ear_lines[0] == "Not heard was the true answer. Well kept."
    assert judgement.systolic_error_mmhg is None
    assert judgement.next == "Next: turn the head to its live side and tap it before you pump."
    assert said(judgement.arm_lines, "Head on its silent side: nothing could be heard")


def test_a_number_written_in_silence_gets_no_ear_error_but_the_reason() -> None:
    """A withheld truth says why there is no error to give."""
    judgement = judged(bench_log((120, 80), palpated_mmhg=126), ears="tapped_silent")
    assert judgement.systolic_error_mmhg is None
    assert said(judgement.ear_lines, "No ear error for systolic. Withheld: ")


def test_not_heard_where_there_was_sound_is_told_kindly() -> None:
    """The line says where a sound could be heard."""
    judgement = judged(bench_log((None, 82), palpated_mmhg=126))
    assert said(judgement.ear_lines, "You wrote not heard for systolic; a sound could be heard at 12")


def test_hand_loss_is_truth_minus_the_very_slow_one() -> None:
    """At 5 mmHg/s the loss equals the difference, and the rate is told by band."""
    log = bench_log(palpated_mmhg=126, rate_mmhg_per_s=5.0)
    _, table, _ = arm(STILL)
    truth = truth_of(table, np.array(log["time_s"]), np.array(log["pressure_mmhg"]))
    slow = slow_truth(table, 60.0)
    judgement = judged(log)
    assert judgement.systolic_loss_mmhg == pytest.approx(truth.systolic.mmhg - slow[0])
    assert judgement.diastolic_loss_mmhg == pytest.approx(truth.diastolic.mmhg - slow[1])
    assert -5 <= judgement.systolic_loss_mmhg <= 0 <= judgement.diastolic_loss_mmhg <= 5
    assert said(judgement.hand_lines, "Your hand: 5.0 mmHg/s between 140 and 80; 2 to 3 is asked.")
    assert said(judgement.hand_lines, "At that rate even the best ear reads systolic low")
    assert judgement.next.startswith("Next: release slower from ")


def test_only_the_bands_off_the_asked_rate_are_told() -> None:
    """Fast above, asked below: the fast stretch alone is named, with its own ends."""
    log = bench_log((128, 82), palpated_mmhg=126)
    time, pressure = log["time_s"], log["pressure_mmhg"]
    start = next(at for at in range(len(pressure)) if time[at] > 40 and 139.9 < pressure[at] < 140.1)
    end = next(at for at in range(start, len(pressure)) if pressure[at] < 120)
    quick = (time[end] - time[start]) / 2  # that stretch in half the time: 5 mmHg/s
    log["time_s"] = [
        moment if at <= start else time[start] + (moment - time[start]) / 2 if at <= end else moment - quick
        for at, moment in enumerate(time)
    ]
    judgement = judged(log)
    told = [line for line in judgement.hand_lines if line.startswith("Your hand: ")]
    assert told == ["Your hand: 5.0 mmHg/s between 140 and 120; 2 to 3 is asked."]
    assert judgement.next == "Next: release slower from 140 to 120."


def test_a_good_hand_is_told_so() -> None:
    """Palpated, pumped 30 to 40 above, 2.5 mmHg/s, open late: every band in the asked range, nothing to mend."""
    log = bench_log((128, 82), palpated_mmhg=126, open_at_mmhg=60)
    judgement = judged(log)
    assert all(2 <= one.rate_mmhg_per_s <= 3 for one in judgement.segments[1:])
    assert said(judgement.hand_lines, "Your hand: held 2 to 3 mmHg/s through the sounds.")
    assert said(judgement.hand_lines, "above the palpated value; 30 to 40 is asked.")
    assert judgement.next.startswith("Next: another person.")


def test_segments_follow_the_bands_of_twenty() -> None:
    """From the peak down through 160, 140, 120, 100 and 80 to where the cuff was opened."""
    segments = judged(bench_log(palpated_mmhg=126, open_at_mmhg=60)).segments
    assert [one.to_mmhg for one in segments[:-1]] == [160, 140, 120, 100, 80]
    assert all(one.to_mmhg == after.from_mmhg for one, after in pairwise(segments))


def test_a_stop_is_told_with_place_and_length() -> None:
    """Valve shut for 5 s at 110."""
    lines = judged(bench_log(palpated_mmhg=126, stop_at_mmhg=110, stop_s=5)).hand_lines
    told = next(line for line in lines if line.startswith("Held still"))
    assert "for 5 s" in told or "for 6 s" in told
    assert any(f"at {mmhg}" in told for mmhg in (107, 108, 109, 110))


def test_pumping_again_is_told() -> None:
    """Pumped again at 96: told with the place, and it comes first in what to do next."""
    judgement = judged(bench_log(palpated_mmhg=126, pump_again_at_mmhg=96))
    assert said(judgement.hand_lines, "That can raise diastolic.")
    assert judgement.next == "Next: empty the cuff fully and wait before pumping again."


def test_opening_while_sounds_are_there_is_told() -> None:
    """Opened fully at 100 on an arm of 128/82."""
    judgement = judged(bench_log(palpated_mmhg=126, open_at_mmhg=100))
    assert said(judgement.hand_lines, "while sounds were still there")
    assert said(judged(bench_log(palpated_mmhg=126, open_at_mmhg=78)).hand_lines, "10 is asked, so that a gap")


def test_a_missing_palpation_is_told_where_the_policy_asks_for_it() -> None:
    """Asked: told. Fixed 180: no word of it."""
    assert said(judged(bench_log()).hand_lines, "No palpated systolic")
    assert not said(judged(bench_log(peak_mmhg=180), policy="FIXED_180").hand_lines, "palpated")


def test_a_cuff_not_emptied_after_palpation_is_told() -> None:
    """A palpated value with one inflation only: the cuff was never empty between."""
    log = {**bench_log(), "palpated_mmhg": 126}
    assert said(judged(log).hand_lines, "The cuff was not emptied between")


def test_the_visible_pulse_is_recorded_and_its_bias_named() -> None:
    """On: told in the ear's lines; off: no word of it."""
    log = bench_log(palpated_mmhg=126)
    assert not said(judged(log).ear_lines, "visible pulse")
    assert said(judged({**log, "visible_pulse": True}).ear_lines, "Eyes on a trace tend to read diastolic high.")


def test_palpation_wait_and_value_are_told() -> None:
    """Waited 5 s where 15 is asked; palpated 100 where the systolic was 128."""
    lines = judged(bench_log(palpated_mmhg=100, empty_s=5)).hand_lines
    assert said(lines, "Palpated 100: 28 low; the systolic was about 128 then.")
    assert said(lines, "s with the cuff empty; 15 or more is asked.")


def test_pumping_too_far_above_the_palpated_value_is_told() -> None:
    """Pumped 60 and more above."""
    lines = judged(bench_log(palpated_mmhg=126, peak_mmhg=190)).hand_lines
    assert said(lines, "above the palpated value; 30 to 40 is asked.")


def test_a_fixed_target_below_the_systolic_is_told_as_such() -> None:
    """180 on an arm of 212 cannot find it; the reading's systolic gets no ear error."""
    high = dataclasses.replace(STILL, systolic_mmhg=212.0, diastolic_mmhg=110.0)
    judgement = judged(bench_log((180, 110), peak_mmhg=180, open_at_mmhg=90), high, policy="FIXED_180")
    assert said(judgement.hand_lines, "A fixed 180 lies below this person's systolic")
    assert isinstance(judgement.truth.systolic, Withheld)
    assert judgement.systolic_error_mmhg is None
    assert judgement.next == "Next: feel the pulse go while you pump; this systolic lies above your target."


def test_a_fixed_target_inside_the_gap_is_told_as_such() -> None:
    """180 in a gap of 160 to 190: an exact ear reads the lower end, and the policy is named as the cause."""
    gapped = dataclasses.replace(STILL, systolic_mmhg=204.0, diastolic_mmhg=96.0, gap_mmhg=(160.0, 192.0))
    judgement = judged(bench_log((158, 96), peak_mmhg=178, open_at_mmhg=80), gapped, policy="FIXED_180")
    assert said(judgement.hand_lines, "A fixed 180 lies inside this person's silent gap (160 to 192)")
    assert judgement.systolic_error_mmhg == pytest.approx(0, abs=4)
    assert judgement.systolic_loss_mmhg < -35


def test_the_gap_taken_for_the_end_is_told() -> None:
    """Diastolic written at the top of the gap."""
    gapped = dataclasses.replace(STILL, systolic_mmhg=190.0, diastolic_mmhg=92.0, gap_mmhg=(140.0, 170.0))
    judgement = judged(bench_log((188, 170), peak_mmhg=215, palpated_mmhg=186, open_at_mmhg=75), gapped)
    assert said(judgement.ear_lines, "and returned at ")
    assert said(judgement.ear_lines, "The top of the gap was taken for the end of the sounds")


def test_sounds_to_zero_ask_for_three_numbers() -> None:
    """Zero written as the diastolic is right, and the muffling is asked for or judged."""
    zero = dataclasses.replace(STILL, sounds_to_zero=True)
    without = judged(bench_log((128, 0), palpated_mmhg=126, open_at_mmhg=1), zero)
    assert without.diastolic_error_mmhg == 0
    assert said(without.ear_lines, "three numbers as in 138/72/0")
    muffling = round(without.truth.muffling_mmhg)
    with_it = judged(bench_log((128, 0), palpated_mmhg=126, open_at_mmhg=1, muffling=muffling), zero)
    assert said(with_it.ear_lines, "Muffling: exact")


@pytest.mark.parametrize(("count", "right"), [(29, True), (30, True), (31, True), (33, False), (26, False)])
def test_pulse_is_right_within_one_beat(count: int, right: bool) -> None:
    """60 a minute over 30 s: 29 to 31 are right; the true number comes from the beats of that window."""
    pulse = {"from_s": 2.0, "seconds": 30, "count": count, "regular": True}
    judgement = judged(bench_log(palpated_mmhg=126, pulse=pulse))
    assert judgement.pulse is not None
    assert judgement.pulse.true_per_min == 60
    assert judgement.pulse.count_per_min == 2 * count
    assert ("right (one beat is 2 a minute over 30 s)" in judgement.pulse.lines[0]) == right


@pytest.mark.parametrize("rhythm", ["regular", "irregular", "ectopic"])
@pytest.mark.parametrize("wrote", [True, False])
def test_regularity_is_judged(rhythm: str, wrote: bool) -> None:
    """Regular or not, as the arm was."""
    person = dataclasses.replace(STILL, rhythm=rhythm)
    pulse = {"from_s": 2.0, "seconds": 30, "count": 30, "regular": wrote}
    judgement = judged(bench_log(palpated_mmhg=126, pulse=pulse), person)
    assert judgement.pulse is not None
    assert judgement.pulse.lines[1].endswith("so it was.") == (wrote == (rhythm == "regular"))


def test_a_set_up_fault_is_named_and_mended_first() -> None:
    """An effect of more than 4 comes first in what to do next, named with range and source."""
    judgement = judged(bench_log((136, 90), palpated_mmhg=134, peak_mmhg=168), arm="below")
    assert judgement.next == "Next: mend the set-up first. Cuff 8 cm below the heart."
    assert said(judgement.arm_lines, "+6 on systolic and +6 on diastolic here. By hydrostatics 0.776 mmHg per cm")


def test_the_wait_since_the_last_measurement_is_told() -> None:
    """Twenty seconds where a minute is asked, on the same person only."""
    before = Reading(Written(128), Written(82))
    same = (EarlierReading(before, same_person=True, waited_s=20.0),)
    other = (EarlierReading(before, same_person=False, waited_s=None),)
    log = bench_log((128, 82), palpated_mmhg=126)
    assert said(judged(log, earlier=same).hand_lines, "Waited 20 s since the last measurement; 60 is asked.")
    assert said(judged(log, earlier=same).pen_lines, "same pair as last time")
    assert not said(judged(log, earlier=other).hand_lines, "since the last measurement")
    assert not said(judged(log, earlier=other).pen_lines, "same pair")


def test_cautions_are_always_there() -> None:
    """Every judgement carries them, and none of the words that are never said."""
    for poor in ({}, {"ears": "tapped_silent"}, {"posture": "legs_crossed"}):
        sent = judged(bench_log(palpated_mmhg=126), **poor).to_json("m")
        assert any("no diagnosis" in line for line in sent["cautions"])
        text = str(sent).lower()
        for never in ("hypertension", "you are fine", "patient", "invalid", "oops", "failed", " just ", "simply"):
            assert never not in text


def test_first_silence_is_withheld_where_the_truth_is() -> None:
    """No sound, no first silence."""
    judgement = judged(bench_log((None, None), palpated_mmhg=126), ears="tapped_silent")
    assert isinstance(end_point(judgement.truth, "first_silence"), Withheld)
    assert isinstance(judgement.reading.systolic, NotHeard)
