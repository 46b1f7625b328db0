"""What a measurement is worth: ear, hand and pen told apart, what the set-up did, and what to do next.

The truth is what could be heard in this release; the ear is judged against it and against nothing else.
What the release itself cost is told as hand loss. The limits below that no text sets are design choices and
say so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from hushpoint.arm import BeatTable, Truth, slow_truth, truth_of
from hushpoint.measure import Heard, NotHeard, Reading, Withheld, Worked, Written, stated, truth_words, whole_mmhg
from hushpoint.practice.by_hand import ear_by_hand, hand_by_hand, pen_by_hand
from hushpoint.practice.log import EMPTY_MMHG, BenchLog, Segment, reading_json
from hushpoint.practice.pen import pen_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hushpoint.guideline import TeachingPolicy
    from hushpoint.practice.cases import Case
    from hushpoint.practice.setup import NamedEffect

MARK_MMHG = 1
"""A whole error up to this is as near as the dial can be read: marks stand every 2 mmHg (design choice)."""
NEAR_MMHG = 4.0
"""Beyond this the ear comes first in what to do next (design choice; NHANES asks all answers within 4)."""
RATE_SLACK_MMHG_PER_S = 0.3
"""A band this far outside the asked rate is let pass (design choice)."""
TARGET_SLACK_MMHG = 4.0
"""A peak this far outside the asked band is let pass (design choice)."""
TARGET_BAND_MMHG = 10.0
"""The asked peak runs from the target to this much above it ("20 to 30 above"; ACC/AHA 2017)."""
AFTER_LAST_MMHG = 10.0
"""Keep slow for this much below the last sound (FROM MEMORY)."""
PALPATED_NEAR_MMHG = 10.0
"""A palpated value this near the systolic is called close (design choice)."""
BIG_FAULT_MMHG = 4.0
"""A set-up fault of this size comes early in what to do next (design choice)."""
LOSS_TOLD_MMHG = 1.5
"""A hand loss below this is not spoken of (design choice: under one mark of the dial)."""
SEEN_PULSE_LINE = "The visible pulse was on: recorded with the reading. Eyes on a trace tend to read diastolic high."
"""Ten listeners, 30 clips: +2.6 by eye on the trace, -0.7 by ear (facts 8; SEEN)."""
KEY_MMHG = 2
MOST_PICTURE_POINTS = 400

CAUTIONS = (
    "An invented practice person: these numbers are nobody's blood pressure.",
    "A screening and teaching aid: no diagnosis. Local policy and licensed practice come first.",
    "Practice on the bench is no evidence of competence with real clients.",
)


@dataclass(frozen=True, slots=True)
class EarlierReading:
    """A reading this learner filed before: whether on the same person, and how long before this one [s]."""

    reading: Reading
    same_person: bool = False
    waited_s: float | None = None


@dataclass(frozen=True, slots=True)
class PulseJudgement:
    """Counted against true pulse [per minute]."""

    count_per_min: float
    true_per_min: float
    right: bool
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Judgement:
    """The whole judgement of one measurement; `to_json` follows docs/bench-format.md."""

    next: str
    truth: Truth
    truth_diastolic: Heard | Withheld
    reading: Reading
    systolic_error_mmhg: float | None
    diastolic_error_mmhg: float | None
    ear_lines: tuple[str, ...]
    systolic_loss_mmhg: float | None
    diastolic_loss_mmhg: float | None
    peak_mmhg: float
    hand_lines: tuple[str, ...]
    segments: tuple[Segment, ...]
    pen_lines: tuple[str, ...]
    pulse: PulseJudgement | None
    arm_lines: tuple[str, ...]
    picture: dict[str, Any]
    worked: tuple[Worked, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def to_json(self, measurement: str) -> dict[str, Any]:
        """Return the judgement as the page gets it, numbers to one decimal."""
        return {
            "measurement": measurement,
            "next": self.next,
            "truth": {
                "systolic": verdict_json(self.truth.systolic),
                "diastolic": verdict_json(self.truth_diastolic),
                "muffling_mmhg": _round(self.truth.muffling_mmhg),
                "key": {"systolic": answer_key(self.truth.systolic), "diastolic": answer_key(self.truth_diastolic)},
            },
            "reading": reading_json(self.reading),
            "ear": {
                "systolic_error_mmhg": _round(self.systolic_error_mmhg),
                "diastolic_error_mmhg": _round(self.diastolic_error_mmhg),
                "lines": list(self.ear_lines),
            },
            "hand": {
                "systolic_loss_mmhg": _round(self.systolic_loss_mmhg),
                "diastolic_loss_mmhg": _round(self.diastolic_loss_mmhg),
                "peak_mmhg": _round(self.peak_mmhg),
                "lines": list(self.hand_lines),
                "segments": [
                    {
                        "from_mmhg": _round(one.from_mmhg),
                        "to_mmhg": _round(one.to_mmhg),
                        "rate_mmhg_per_s": _round(one.rate_mmhg_per_s),
                    }
                    for one in self.segments
                ],
            },
            "pen": {"lines": list(self.pen_lines)},
            "pulse": self.pulse
            and {
                "count_per_min": _round(self.pulse.count_per_min),
                "true_per_min": _round(self.pulse.true_per_min),
                "lines": list(self.pulse.lines),
            },
            "arm_lines": list(self.arm_lines),
            "picture": self.picture,
            "worked": [one.as_json() for one in self.worked],
            "cautions": list(self.cautions),
        }


def verdict_json(verdict: Heard | Withheld) -> dict[str, Any]:
    """Return a verdict as docs/bench-format.md has it."""
    if isinstance(verdict, Withheld):
        return {"verdict": "withheld", "reason": verdict.reason}
    low, high = _round(verdict.low_mmhg), _round(verdict.high_mmhg)
    return {"verdict": "heard", "mmhg": _round(verdict.mmhg), "low": low, "high": high}


def judge(
    case: Case,
    table: BeatTable,
    *,
    named_effects: Sequence[NamedEffect],
    log: BenchLog,
    policy: TeachingPolicy,
    earlier_readings: Sequence[EarlierReading],
) -> Judgement:
    """Return what this measurement is worth by this policy.

    `table` is the arm as the set-up left it, `earlier_readings` the learner's own before this one, oldest
    first.
    """
    truth = truth_of(table, log.time_s, log.pressure_mmhg)
    diastolic = end_point(truth, policy.end_point)
    slow = slow_truth(table, _middle_of_sounds(truth, log))
    silent = any(one.silent for one in named_effects)

    ear = _Ear(truth, diastolic, log.reading, to_zero=table.to_zero, silent=silent)
    hand = _Hand(table, truth, log, policy, slow)
    hand.read(earlier_readings)
    if log.visible_pulse:
        ear.lines.append(SEEN_PULSE_LINE)
    pulse = _pulse(case, table, log)
    before = [one.reading for one in earlier_readings]
    pens = pen_lines(before, log.reading, _last_same(earlier_readings))
    ends = (
        ("systolic", log.reading.systolic, truth.systolic, ear.systolic_error, hand.systolic_loss),
        ("diastolic", log.reading.diastolic, diastolic, ear.diastolic_error, hand.diastolic_loss),
    )
    found = (ear_by_hand(ends), hand_by_hand(ends, log, policy), pen_by_hand((*before, log.reading)))
    return Judgement(
        next=_next(named_effects, hand, ear, pulse, pens, silent=silent),
        truth=truth,
        truth_diastolic=diastolic,
        reading=log.reading,
        systolic_error_mmhg=ear.systolic_error,
        diastolic_error_mmhg=ear.diastolic_error,
        ear_lines=tuple(ear.lines),
        systolic_loss_mmhg=hand.systolic_loss,
        diastolic_loss_mmhg=hand.diastolic_loss,
        peak_mmhg=log.peak_mmhg,
        hand_lines=tuple(hand.lines),
        segments=log.segments(),
        pen_lines=tuple(pens),
        pulse=pulse,
        arm_lines=tuple(one.line for one in named_effects),
        picture=_picture(truth, log, policy),
        worked=tuple(one for one in found if one is not None),
    )


def end_point(truth: Truth, asked: str) -> Heard | Withheld:
    """Return the diastolic by the policy: the last sound, or the first silence one beat step lower."""
    if asked == "last_sound" or isinstance(truth.diastolic, Withheld):
        return truth.diastolic
    last = max(index for index, beat in enumerate(truth.beats) if beat.audible)
    if last + 1 >= len(truth.beats):
        return Withheld("sounds still going where the release ends, so no first silence")
    silence = truth.beats[last + 1].mmhg
    # the true silence began somewhere between the last sound and the first silent beat
    return Heard(silence, silence, truth.diastolic.mmhg)


class _Ear:
    """Reading minus truth, in numbers and lines."""

    def __init__(
        self,
        truth: Truth,
        diastolic: Heard | Withheld,
        reading: Reading,
        *,
        to_zero: bool,
        silent: bool,
    ) -> None:
        self.lines: list[str] = []
        self.missed_a_sound = False
        self.systolic_error = _error(reading.systolic, truth.systolic)
        self.diastolic_error = _error(reading.diastolic, diastolic)
        written_zero = to_zero and reading.diastolic == Written(0)
        if written_zero and self.diastolic_error is not None and abs(self.diastolic_error) <= NEAR_MMHG:
            self.diastolic_error = 0.0
            if reading.muffling:
                self.lines.append("Sounds went on to the empty cuff: 0 is the diastolic to write.")
        found = [
            (error, end)
            for error, end in ((self.systolic_error, "systolic"), (self.diastolic_error, "diastolic"))
            if error is not None
        ]
        if found:
            told = ", ".join(f"{_off(error)} on {end}" for error, end in found)
            off = [abs(whole_mmhg(error)) for error, _ in found]
            near = ": as near as the dial can be read" if any(off) and max(off) <= MARK_MMHG else ""
            self.lines.insert(0, f"Your ear: {told}{near}.")
        for end, written, verdict in (
            ("systolic", reading.systolic, truth.systolic),
            ("diastolic", reading.diastolic, diastolic),
        ):
            self._unheard(end, written, verdict)
        if isinstance(reading.systolic, NotHeard) and isinstance(truth.systolic, Withheld):
            self.lines = [line for line in self.lines if not line.startswith("Not heard was")]
            self.lines.insert(0, "Not heard was the true answer. Well kept.")
        if silent:
            self.lines.append("Nothing could be heard in this release.")
        if to_zero and not reading.muffling and isinstance(diastolic, Heard) and diastolic.mmhg < EMPTY_MMHG:
            self.lines.append("Sounds went on to zero: write where they muffled too, three numbers as in 138/72/0.")
        self._muffling(truth, reading)
        self._gap(truth, reading, diastolic)

    def _unheard(self, end: str, written: Written | NotHeard, verdict: Heard | Withheld) -> None:
        match written, verdict:
            case NotHeard(), Heard(mmhg=mmhg):
                self.missed_a_sound = True
                self.lines.append(f"You wrote not heard for {end}; a sound could be heard at {truth_words(mmhg)}.")
            case NotHeard(), Withheld():
                self.lines.append(f"Not heard was the true answer for {end}. Well kept.")
            case Written(), Withheld(reason=reason):
                self.lines.append(f"No ear error for {end}. Withheld: {reason}.")

    def _muffling(self, truth: Truth, reading: Reading) -> None:
        if reading.muffling and truth.muffling_mmhg is not None:
            error = reading.muffling.mmhg - stated(truth.muffling_mmhg)
            self.lines.append(f"Muffling: {_off(error)}; the sounds muffled at {truth_words(truth.muffling_mmhg)}.")

    def _gap(self, truth: Truth, reading: Reading, diastolic: Heard | Withheld) -> None:
        if truth.gap_mmhg is None:
            return
        low, high = truth.gap_mmhg
        self.lines.append(f"Sounds stopped at {high:.0f} and returned at {low:.0f}: a gap.")
        if (
            isinstance(reading.diastolic, Written)
            and reading.diastolic.mmhg >= low - NEAR_MMHG
            and isinstance(diastolic, Heard)
            and diastolic.mmhg < low - NEAR_MMHG
        ):
            self.lines.append("The top of the gap was taken for the end of the sounds: keep listening.")
        if isinstance(reading.systolic, Written) and reading.systolic.mmhg <= low + NEAR_MMHG:
            self.lines.append("The return of the sounds was taken for the first: feel the pulse go before pumping.")


class _Hand:
    """How the cuff was handled, in numbers and lines; `acts` are (weight, what to do next)."""

    def __init__(
        self,
        table: BeatTable,
        truth: Truth,
        log: BenchLog,
        policy: TeachingPolicy,
        slow: tuple[float | None, float | None],
    ) -> None:
        self.lines: list[str] = []
        self.acts: list[tuple[int, str]] = []
        self.table, self.truth, self.log, self.policy = table, truth, log, policy
        self.systolic_loss = _loss(truth.systolic, slow[0])
        # the loss is of the last sound whatever end point the course writes
        self.diastolic_loss = _loss(truth.diastolic, slow[1])
        # where nothing can be heard, the hand is still judged by where the sounds would be
        self.systolic = table.base_systolic_mmhg if slow[0] is None else slow[0]
        self.diastolic = table.base_diastolic_mmhg if slow[1] is None else slow[1]
        self.gap: tuple[float, float] | None = None
        if table.gap_place is not None:
            base, pulse = table.base_diastolic_mmhg, table.base_systolic_mmhg - table.base_diastolic_mmhg
            self.gap = (base + table.gap_place[0] * pulse, base + table.gap_place[1] * pulse)

    def read(self, earlier: Sequence[EarlierReading]) -> None:
        """Fill lines and acts, in the order of the measurement."""
        self._wait_between(earlier)
        self._palpation()
        self._peak()
        self._rate()
        self._stops()
        self._again()
        self._ending()
        self._loss()

    def _wait_between(self, earlier: Sequence[EarlierReading]) -> None:
        same = [one for one in earlier if one.same_person and one.waited_s is not None]
        asked = self.policy.wait_between_s
        if same and (waited := same[-1].waited_s) is not None and waited < asked:
            self.lines.append(f"Waited {waited:.0f} s since the last measurement; {asked:.0f} is asked.")
            self.acts.append((40, f"wait {asked:.0f} s with the cuff empty before measuring again."))

    def _palpation(self) -> None:
        log, palpation = self.log, self.log.palpation
        if not self.policy.palpation_asked:
            return
        if palpation is None and log.palpated_mmhg is not None:
            self.lines.append("The cuff was not emptied between feeling the pulse go and pumping to listen.")
            self.acts.append((70, "empty the cuff after feeling the pulse go, wait, then pump to listen."))
            return
        if palpation is None or log.palpated_mmhg is None:
            self.lines.append("No palpated systolic: the pulse was not felt away before pumping to listen.")
            self.acts.append((70, "feel the pulse go while you pump, write that pressure, then empty the cuff."))
            return
        true, _ = slow_truth(self.table, palpation.from_s)
        if true is None:
            return
        off = log.palpated_mmhg - stated(true)
        near = "close" if abs(off) <= PALPATED_NEAR_MMHG else _off(off)
        self.lines.append(f"Palpated {log.palpated_mmhg:.0f}: {near}; the systolic was about {truth_words(true)} then.")
        asked = self.policy.wait_after_palpation_s
        if log.wait_s is not None and log.wait_s < asked:
            self.lines.append(f"Waited {log.wait_s:.0f} s with the cuff empty; {asked:.0f} or more is asked.")
            self.acts.append((35, f"leave the cuff empty for {asked:.0f} s after feeling the pulse."))

    def _peak(self) -> None:
        policy, peak = self.policy, self.log.peak_mmhg
        gap = self.gap
        if policy.inflation == "fixed":
            self._fixed(peak, gap)
            return
        base, name = self.log.palpated_mmhg, "the palpated value"
        if policy.inflation == "first_sound":
            base, name = self.systolic, "the first sound"
        if base is None:
            self._missed(peak, gap)
            return
        above, low = peak - base, policy.inflation_mmhg
        high = low + TARGET_BAND_MMHG
        asked = f"{low:.0f} to {high:.0f} is asked"
        if low - TARGET_SLACK_MMHG <= above <= high + TARGET_SLACK_MMHG:
            self.lines.append(f"Pumped {above:.0f} above {name}; {asked}.")
        elif above < 0:
            self.lines.append(f"Pumped to {peak:.0f}, below {name}; {asked}.")
            self.acts.append((80, f"pump {low:.0f} to {high:.0f} above {name}."))
        else:
            self.lines.append(f"Pumped {above:.0f} above {name}; {asked}.")
            self.acts.append((80 if above < low else 30, f"pump {low:.0f} to {high:.0f} above {name}."))
        self._missed(peak, gap)

    def _fixed(self, peak: float, gap: tuple[float, float] | None) -> None:
        target, systolic = self.policy.inflation_mmhg, self.systolic
        high = target + TARGET_BAND_MMHG
        self.lines.append(f"Pumped to {peak:.0f}; {target:.0f} is asked.")
        if not target - TARGET_SLACK_MMHG <= peak <= high + TARGET_SLACK_MMHG:
            self.acts.append((60, f"pump to {target:.0f}."))
        if gap is not None and gap[0] <= target <= gap[1]:
            self.lines.append(
                f"A fixed {target:.0f} lies inside this person's silent gap ({gap[0]:.0f} to {gap[1]:.0f}): "
                "the sounds above it are missed. Feeling the pulse go first finds them."
            )
        elif target < systolic:
            self.lines.append(
                f"A fixed {target:.0f} lies below this person's systolic (about {systolic:.0f}): no release "
                "from there can find it. Feeling the pulse go first does."
            )
        if peak < systolic:
            self.acts.append((85, "feel the pulse go while you pump; this systolic lies above your target."))

    def _missed(self, peak: float, gap: tuple[float, float] | None) -> None:
        if gap is not None and gap[0] <= peak <= gap[1]:
            self.lines.append(
                f"The peak of {peak:.0f} lies inside this person's silent gap ({gap[0]:.0f} to {gap[1]:.0f})."
            )
            self.acts.append((85, "pump higher: feel the pulse go and add what is asked."))
        elif peak < self.systolic:
            self.lines.append(f"The peak of {peak:.0f} lies below this person's systolic, about {self.systolic:.0f}.")
            self.acts.append((85, "pump higher: feel the pulse go and add what is asked."))

    def _ends(self) -> tuple[float, float]:
        """Return the stretch of the release that matters: 10 above the first to the last sound [mmHg]."""
        return self.systolic + AFTER_LAST_MMHG, self.diastolic

    def _rate(self) -> None:
        low, high = self.policy.release_mmhg_per_s
        top, bottom = self._ends()
        between = [one for one in self.log.segments() if one.to_mmhg < top and one.from_mmhg > bottom]
        if not between:
            return
        runs: list[tuple[str, list[Segment]]] = []
        for one in between:
            word = ""
            if one.rate_mmhg_per_s > high + RATE_SLACK_MMHG_PER_S:
                word = "slower"
            elif one.rate_mmhg_per_s < low - RATE_SLACK_MMHG_PER_S:
                word = "faster"
            if runs and runs[-1][0] == word:
                runs[-1][1].append(one)
            else:
                runs.append((word, [one]))
        off = [(word, run) for word, run in runs if word]
        for word, run in off:
            rates = sorted({f"{one.rate_mmhg_per_s:.1f}" for one in run}, key=float)
            told = rates[0] if len(rates) == 1 else f"{rates[0]} to {rates[-1]}"
            from_mmhg, to_mmhg = run[0].from_mmhg, run[-1].to_mmhg
            self.lines.append(
                f"Your hand: {told} mmHg/s between {from_mmhg:.0f} and {to_mmhg:.0f}; {low:g} to {high:g} is asked."
            )
            weight = 65 if word == "slower" else 38
            self.acts.append((weight, f"release {word} from {from_mmhg:.0f} to {to_mmhg:.0f}."))
        if any(word == "slower" for word, _ in off):
            self.lines.append("At that rate even the best ear reads systolic low and diastolic high.")
        if not off:
            self.lines.append(f"Your hand: held {low:g} to {high:g} mmHg/s through the sounds.")

    def _stops(self) -> None:
        for stop in self.log.stops(*self._ends()):
            self.lines.append(f"Held still for {stop.seconds:.0f} s at {stop.at_mmhg:.0f}: keep the cuff falling.")
            self.acts.append((45, f"keep the cuff falling through {stop.at_mmhg:.0f}."))

    def _again(self) -> None:
        at = self.log.pumped_again_at_mmhg
        if at is not None:
            self.lines.append(f"Pumped again at {at:.0f}. That can raise diastolic.")
            self.acts.append((75, "empty the cuff fully and wait before pumping again."))

    def _ending(self) -> None:
        dump, last = self.log.dump_mmhg, self.diastolic
        if self.table.to_zero or isinstance(self.truth.diastolic, Withheld):
            return
        if dump > last + KEY_MMHG:
            self.lines.append(f"Opened fully at {dump:.0f} while sounds were still there.")
            self.acts.append((78, "keep the slow release until 10 below the last sound."))
        elif (kept := max(last - dump, 0.0)) < AFTER_LAST_MMHG - KEY_MMHG:
            self.lines.append(
                f"Opened fully {kept:.0f} below the last sound; {AFTER_LAST_MMHG:.0f} is asked, so that "
                "a gap is not taken for the end."
            )
            self.acts.append((36, f"keep slow for {AFTER_LAST_MMHG:.0f} below the last sound, then open fully."))

    def _loss(self) -> None:
        parts = [
            f"{abs(loss):.0f} {'high' if loss > 0 else 'low'} on {end}"
            for loss, end in ((self.systolic_loss, "systolic"), (self.diastolic_loss, "diastolic"))
            if loss is not None and abs(loss) >= LOSS_TOLD_MMHG
        ]
        if parts:
            self.lines.append(f"In this release the truth lay {', '.join(parts)} beside a very slow one.")


def _pulse(case: Case, table: BeatTable, log: BenchLog) -> PulseJudgement | None:
    if log.pulse is None:
        return None
    count, window = log.pulse, log.pulse.seconds
    feet = np.asarray(table.foot_s)
    there = int(np.count_nonzero((feet >= count.from_s) & (feet < count.from_s + window)))
    true = there * 60 / window
    step = 60 / window
    lines = []
    right = abs(count.count - there) <= 1
    if right:
        lines.append(f"Pulse {count.per_min:.0f} a minute: right (one beat is {step:.0f} a minute over {window} s).")
    else:
        off = abs(count.count - there)
        side = "more" if count.count > there else "fewer"
        told = f"Pulse {count.per_min:.0f} a minute; it was {true:.0f}"
        lines.append(f"{told}: {off} beats {side} than there were in {window} s.")
    regular = case.person.rhythm == "regular"
    if count.regular == regular:
        lines.append(f"You wrote {'regular' if regular else 'not regular'}: so it was.")
    elif regular:
        lines.append("You wrote not regular; it was regular, a little faster with each breath in.")
    else:
        lines.append("You wrote regular; it was not. An irregular pulse makes a reading less certain: say so.")
    return PulseJudgement(count.per_min, true, right, tuple(lines))


def _next(
    named: Sequence[NamedEffect],
    hand: _Hand,
    ear: _Ear,
    pulse: PulseJudgement | None,
    pens: Sequence[str],
    *,
    silent: bool,
) -> str:
    """Return the one act that matters most."""
    acts = list(hand.acts)
    if silent:
        acts.append((100, "turn the head to its live side and tap it before you pump."))
    for one in named:
        size = max(abs(one.systolic_mmhg), abs(one.diastolic_mmhg))
        if one.row != "together" and size >= BIG_FAULT_MMHG:
            acts.append((50 + min(int(size), 20), f"mend the set-up first. {one.fault}."))
        elif one.level_db:
            acts.append((62, f"mend the set-up first. {one.fault}."))
    for error, end in ((ear.systolic_error, "first sound"), (ear.diastolic_error, "last sound")):
        if error is not None and abs(error) > NEAR_MMHG:
            weight = 55 + min(int(abs(error)), 20)
            acts.append((weight, f"listen for the {end} again; you wrote {_off(error)}."))
    if ear.missed_a_sound:
        acts.append((60, "listen again with less noise around you; there was something to hear."))
    if pulse and not pulse.right:
        acts.append((33, "count the pulse once more, over a longer time."))
    if any("Review the habit" in line or "Odd" in line for line in pens):
        acts.append((20, "write what the needle shows, to the nearest 2."))
    if not acts:
        return "Next: another person. Ear and hand were where they are asked to be."
    return "Next: " + max(acts, key=lambda act: act[0])[1]


def _picture(truth: Truth, log: BenchLog, policy: TeachingPolicy) -> dict[str, Any]:
    one = log.measurement
    first, last = log.release_index, min(one.last + 1, len(log.time_s) - 1)
    count = min(MOST_PICTURE_POINTS, last - first + 1)
    kept = np.unique(np.linspace(first, last, count).round().astype(int))
    return {
        "beats": [
            {
                "at_s": round(beat.at_s, 3),
                "mmhg": round(beat.mmhg, 1),
                "level_db": round(beat.level_db, 1),
                "audible": beat.audible,
                "phase": beat.phase,
            }
            for beat in truth.beats
        ],
        "gap_mmhg": None if truth.gap_mmhg is None else [_round(edge) for edge in truth.gap_mmhg],
        "pressure": {"time_s": log.time_s[kept].tolist(), "mmhg": log.pressure_mmhg[kept].tolist()},
        "asked_rate": list(policy.release_mmhg_per_s),
    }


def _middle_of_sounds(truth: Truth, log: BenchLog) -> float:
    """Return when the slow truth is asked: amid the sounds, or amid the release where there were none."""
    heard = [beat.at_s for beat in truth.beats if beat.audible]
    if heard:
        return (heard[0] + heard[-1]) / 2
    return (log.release_from_s + float(log.time_s[log.dump_index])) / 2


def _last_same(earlier: Sequence[EarlierReading]) -> Reading | None:
    same = [one.reading for one in earlier if one.same_person]
    return same[-1] if same else None


def _error(written: Written | NotHeard, verdict: Heard | Withheld) -> float | None:
    """Return what was written less the truth as stated: what a person with a pencil finds."""
    if isinstance(written, Written) and isinstance(verdict, Heard):
        return round(written.mmhg - stated(verdict.mmhg), 1)
    return None


def _loss(verdict: Heard | Withheld, slow_mmhg: float | None) -> float | None:
    return verdict.mmhg - slow_mmhg if isinstance(verdict, Heard) and slow_mmhg is not None else None


def _off(error: float) -> str:
    off = whole_mmhg(error)
    return f"{abs(off)} {'high' if off > 0 else 'low'}" if off else "exact"


def answer_key(verdict: Heard | Withheld) -> int | None:
    """Return the truth to the nearest 2 mmHg, halves up."""
    if isinstance(verdict, Withheld):
        return None
    return KEY_MMHG * math.floor(verdict.mmhg / KEY_MMHG + 0.5)


def _round(value: float | None) -> float | None:
    return None if value is None else stated(value)
