"""A visit judged under a policy: which readings count, the next step, the value, its category and the action."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from hushpoint.guideline.bands import Edge, isolated_form, schemes
from hushpoint.guideline.clinical_policies import ClinicalPolicy, LadderStep
from hushpoint.guideline.protocols import Pair
from hushpoint.guideline.technique import technique_effects
from hushpoint.guideline.today import today_effects
from hushpoint.measure.shown import whole_mmhg
from hushpoint.visit.gates import CALL, Gates, pass_gates, words
from hushpoint.visit.record import ARMS, TakenReading, Visit
from hushpoint.visit.verdicts import Action, Emergency, Finding, days_in_words, decide

WIDE_SPREAD_MMHG = 10
"""Readings of one arm further apart than this make the value less certain (CHOICE)."""
NEAR_EDGE_MMHG = 0.5
"""A mean this near an edge falls on either side by how it is rounded (CHOICE)."""
LOCAL_FIRST = "local policy and licensed practice come first"
CAUTIONS = (
    "A screening and teaching aid: no diagnosis. Local policy, scope of practice and law come first.",
    "One visit says little: the usual pressure may lie about 7 mmHg either side of today's, "
    "and gauge and ear add their own errors.",
    "Chest pain, severe breathlessness, new confusion, weakness or trouble speaking, loss of sight, severe headache or "
    "fainting at any time: stop and call the emergency service.",
    "Stop whenever the client asks.",
)


_COUNTED_ALL_THE_SAME = ("early", "out_of_order")


@dataclass(frozen=True, slots=True)
class MarkedReading:
    """A reading with what is to know of it. Every reading is kept; `counted` says whether the value uses it.

    `number` is its place as entered, from 1. Marks: early, out_of_order, over_cap, barred_arm, not_heard, not_judged.
    """

    number: int
    reading: TakenReading
    marks: tuple[str, ...]

    @property
    def counted(self) -> bool:
        """Whether the value may use it: early and out of order are marked and yet counted."""
        return all(mark in _COUNTED_ALL_THE_SAME for mark in self.marks)


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do now: take, wait, other_arm, enough or stop; `seconds` is how long to wait first."""

    do: str
    why: str
    seconds: int


@dataclass(frozen=True, slots=True)
class VisitValue:
    """The value [mmHg, unrounded] of one arm, how it was made, and what lowers its certainty, in words."""

    systolic_mmhg: float
    diastolic_mmhg: float
    arm: str | None
    how: str
    complete: bool
    doubts: tuple[str, ...]
    used: tuple[Pair, ...]
    """The readings that went into it [mmHg]."""
    lower: bool = False
    """Whether the lower of `used` is taken at each end, not their mean."""


@dataclass(frozen=True, slots=True)
class ArmStep:
    """One arm's value [mmHg, unrounded] and the step of the ladder that it reached; `on` is "" or names the arm."""

    ends: Pair
    on: str
    step: LadderStep


@dataclass(frozen=True, slots=True)
class Judged:
    """Everything the policy says about a visit. `value` and what follows from it are None where nothing is judged."""

    policy: ClinicalPolicy
    next: NextStep
    value: VisitValue | None
    category: str | None
    form: str | None
    also: tuple[tuple[str, str], ...]
    edge: Edge | None
    action: Action
    step: LadderStep | None
    readings: tuple[MarkedReading, ...]
    cautions: tuple[str, ...]
    held: tuple[ArmStep, ...] = ()
    """What each arm's value was held to; empty where the ladder was not asked yet."""
    symptoms: bool = False
    """Whether any symptom was told: the gravest step of most ladders asks for one."""


@dataclass(frozen=True, slots=True)
class _Arm:
    """Counted readings of one arm, how often it was pumped up, when last, and whether the first gave no reading."""

    name: str | None
    pairs: tuple[Pair, ...]
    pumped: int
    last_at: datetime | None
    first_missing: bool

    def on(self) -> str:
        return "" if self.name is None else " on the left arm" if self.name == "left" else " on the right arm"


def judge_visit(visit: Visit, policy: ClinicalPolicy, now: datetime, *, beside: bool = True) -> Judged:
    """Judge a visit under a policy; `now` (with a time zone) tells how long ago the last reading was.

    Without `beside`, what stands beside the verdict (cautions, other schemes, nearest edge) is left out, for lists that
    judge thousands of visits.
    """
    gates = pass_gates(visit)
    marked = _marked(visit, policy, gates)
    findings = list(gates.findings)
    severe = _severe_with_symptoms(visit, policy, gates)
    if severe:
        findings.insert(0, severe)
    arms = _arms(marked)
    irregular = visit.pulse.regular is False
    lead = max(arms, key=lambda arm: len(arm.pairs)) if arms else _Arm(None, (), 0, None, False)
    if gates.stop or severe:
        step = NextStep("stop", gates.stop or CALL, 0)
    else:
        step = _next_step(visit, policy, arms, lead, irregular, now)
    value = _value(policy, arms, lead, irregular, done=step.do == "enough")
    reached: tuple[ArmStep, ...] = ()
    if not gates.unjudged:
        reached = _pressure_findings(policy, gates, arms, lead, irregular, step, marked, findings)
        findings += _standing(visit, policy, value)
    worst = next((step for step in policy.ladder if any(each.step is step for each in reached)), None)
    value = _told_doubts(visit, policy, value, marked)
    cautions = _cautions(visit, policy, gates, value) if beside else ()
    action = decide(findings)
    if isinstance(action, Emergency):
        step = NextStep("stop", CALL, 0)
    if value is None:
        return Judged(policy, step, None, None, None, (), None, action, worst, marked, cautions)
    ends = (value.systolic_mmhg, value.diastolic_mmhg)
    edge = policy.scheme.nearest_edge(*ends) if beside else None
    if edge and abs(edge.distance_mmhg) <= NEAR_EDGE_MMHG:
        near = f"within {NEAR_EDGE_MMHG:g} mmHg of the edge at {edge.at_mmhg:g} {edge.end}: rounding would decide"
        value = replace(value, doubts=(*value.doubts, near))
    others = schemes().items() if beside else ()
    return Judged(
        policy=policy,
        next=step,
        value=value,
        category=policy.scheme.category(*ends),
        form=isolated_form(*ends),
        also=tuple((name, other.category(*ends)) for name, other in others if name != policy.id),
        edge=edge,
        action=action,
        step=worst,
        readings=marked,
        cautions=cautions,
        held=reached,
        symptoms=bool(gates.symptoms),
    )


def _marked(visit: Visit, policy: ClinicalPolicy, gates: Gates) -> tuple[MarkedReading, ...]:
    """Readings by time, each with its marks; where no times were told the order of entry is kept."""
    numbered = list(enumerate(visit.readings, start=1))
    times = [reading.at for reading in visit.readings if reading.at is not None]
    if len(times) == len(numbered):
        numbered = [numbered[place] for place in sorted(range(len(times)), key=times.__getitem__)]
    marked, pumped, last = [], dict.fromkeys((*ARMS, None), 0), dict[str | None, datetime | None]()
    latest = 0
    for number, reading in numbered:
        marks = []
        before = last.get(reading.arm)
        if before and reading.at and (reading.at - before).total_seconds() < policy.protocol.interval_s:
            marks.append("early")
        if number < latest:
            marks.append("out_of_order")
        latest = max(latest, number)
        pumped[reading.arm] += 1
        last[reading.arm] = reading.at
        if pumped[reading.arm] > policy.protocol.cap_per_arm:
            marks.append("over_cap")
        if reading.arm in visit.client.barred_arms:
            marks.append("barred_arm")
        if reading.systolic_mmhg is None or not reading.diastolic_mmhg:
            # Sounds down to 0 give no phase V either.
            marks.append("not_heard")
        if gates.unjudged:
            marks.append("not_judged")
        marked.append(MarkedReading(number, reading, tuple(marks)))
    return tuple(marked)


def _arms(marked: Sequence[MarkedReading]) -> list[_Arm]:
    names = dict.fromkeys(each.reading.arm for each in marked)
    arms = []
    for name in names:
        mine = [each for each in marked if each.reading.arm == name]
        pairs = tuple(
            (each.reading.systolic_mmhg or 0.0, each.reading.diastolic_mmhg or 0.0) for each in mine if each.counted
        )
        arms.append(_Arm(name, pairs, len(mine), mine[-1].reading.at, not mine[0].counted))
    return arms


def _severe_with_symptoms(visit: Visit, policy: ClinicalPolicy, gates: Gates) -> Finding | None:
    """An emergency by any one reading above the gravest limit beside any symptom, counted or not."""
    gravest = policy.ladder[0]
    if not gates.symptoms or gates.emergency:
        return None
    for reading in visit.readings:
        if gravest.reached(reading.systolic_mmhg or 0.0, reading.diastolic_mmhg or 0.0):
            told = f"a reading above {gravest.systolic_mmhg:g} or {gravest.diastolic_mmhg:g}"
            return Finding("emergency", f"{told} with {words(gates.symptoms)}: {CALL}")
    return None


def _everything(arms: Sequence[_Arm]) -> tuple[Pair, ...]:
    return tuple(pair for arm in arms for pair in arm.pairs)


def _next_step(
    visit: Visit, policy: ClinicalPolicy, arms: list[_Arm], lead: _Arm, irregular: bool, now: datetime
) -> NextStep:
    protocol = policy.protocol
    allowed = [arm for arm in ARMS if arm not in visit.client.barred_arms]
    if not any(arm.pumped for arm in arms):
        arm = f" on the {allowed[0]} arm, the only one allowed" if len(allowed) == 1 else ""
        return NextStep(
            "take", f"first reading{arm}, after {protocol.rest_s / 60:g} min seated at rest", int(protocol.rest_s)
        )
    if not lead.pairs and lead.name in visit.client.barred_arms:
        return NextStep("other_arm", f"the {lead.name} arm is barred: take readings on the {allowed[0]} arm", 0)
    asked = _outstanding(policy, lead, arms, irregular)
    if asked:
        why, wait_s = asked
        if lead.pumped >= protocol.cap_per_arm:
            return NextStep(
                "stop", f"{lead.pumped} times pumped up{lead.on()}, the most in one sitting: another day", 0
            )
        return _timed("take", why, wait_s, lead, now)
    other_name = next((name for name in allowed if lead.name in ARMS and name != lead.name), None)
    other = next((arm for arm in arms if arm.name == other_name), _Arm(other_name, (), 0, None, False))
    if other_name and other.pumped < protocol.cap_per_arm:
        if not other.pairs:
            if visit.client.first_visit and protocol.both_arms_at_first:
                return NextStep("other_arm", f"first visit: a reading on the {other_name} arm too", 0)
        else:
            apart = _systolic(policy, other, irregular) - _systolic(policy, lead, irregular)
            asked = _outstanding(policy, other, arms, irregular)
            if asked and apart > protocol.arms_apart_mmhg:
                why = f"the {other_name} arm is {apart:.3g} higher, more than {protocol.arms_apart_mmhg:g}: {asked[0]}"
                return _timed("other_arm", why, asked[1], other, now)
    many = len(lead.pairs)
    told = "one reading is" if many == 1 else f"{many} readings are"
    waived = f"; the {visit.client.barred_arms[0]} arm is barred, so one arm has to do" if len(allowed) == 1 else ""
    return NextStep("enough", f"{told} what {protocol.name} asks for{lead.on()}{waived}", 0)


def _value_of(policy: ClinicalPolicy, arm: _Arm, irregular: bool) -> tuple[Pair, str]:
    return policy.protocol.value_of(arm.pairs, irregular=irregular, first_missing=arm.first_missing)


def _systolic(policy: ClinicalPolicy, arm: _Arm, irregular: bool) -> float:
    return _value_of(policy, arm, irregular)[0][0]


def _outstanding(policy: ClinicalPolicy, arm: _Arm, arms: Sequence[_Arm], irregular: bool) -> tuple[str, float] | None:
    """Why one more reading of this arm is asked for and how long to wait before it [s], or None."""
    protocol, many = policy.protocol, len(arm.pairs)
    asked = protocol.asked(_everything(arms), irregular=irregular)
    apart = None if irregular else protocol.differing(arm.pairs)
    which = {"first_two": "the first two", "last_two": "the last two", "any": "the readings"}.get(protocol.compare, "")
    differ = f"{which} differ by {apart[0]:g} systolic and {apart[1]:g} diastolic" if apart else ""
    if many < asked:
        because = f"; {differ}, so one more follows" if differ else ""
        least = ", because the pulse is irregular" if irregular else ""
        return f"reading {many + 1} of {asked}{arm.on()}{least}{because}", protocol.interval_s
    if apart and many - asked < protocol.extra_most:
        return f"{differ}: one more{arm.on()}", max(protocol.interval_s, protocol.extra_rest_s)
    return None


def _timed(do: str, why: str, wait_s: float, arm: _Arm, now: datetime) -> NextStep:
    since_s = -1.0 if arm.last_at is None else (now - arm.last_at).total_seconds()
    if since_s < 0:
        # No times were told, or the clocks disagree: the whole wait is asked for.
        return NextStep(do, f"{why}, at least {wait_s:g} s after the one before", math.ceil(wait_s))
    left = math.ceil(wait_s - since_s)
    return NextStep("wait", f"then {why}", left) if left > 0 else NextStep(do, why, 0)


def _value(
    policy: ClinicalPolicy, arms: Sequence[_Arm], lead: _Arm, irregular: bool, *, done: bool
) -> VisitValue | None:
    """The value of the arm read most; of the higher arm where both are read as the protocol asks."""
    if not lead.pairs:
        return None
    whole = [arm for arm in arms if arm.pairs and not _outstanding(policy, arm, arms, irregular)]
    arm = max(whole, key=lambda each: _systolic(policy, each, irregular)) if lead in whole else lead
    (systolic, diastolic), how = _value_of(policy, arm, irregular)
    doubts = []
    if irregular:
        doubts.append("low certainty: with an irregular pulse every beat gives another pressure")
    spread = [max(ends) - min(ends) for ends in zip(*arm.pairs, strict=True)]
    if max(spread) > WIDE_SPREAD_MMHG:
        doubts.append(f"lower certainty: the readings spread over {spread[0]:g} systolic and {spread[1]:g} diastolic")
    if not done:
        doubts.append("so far only: the readings are not complete")
    used = policy.protocol.used(arm.pairs, irregular=irregular, first_missing=arm.first_missing)
    lower = policy.protocol.lower_taken(used, irregular=irregular)
    return VisitValue(systolic, diastolic, arm.name, f"{how}{arm.on()}", done, tuple(doubts), used, lower)


def _pressure_findings(
    policy: ClinicalPolicy,
    gates: Gates,
    arms: Sequence[_Arm],
    lead: _Arm,
    irregular: bool,
    step: NextStep,
    marked: Sequence[MarkedReading],
    findings: list[Finding],
) -> tuple[ArmStep, ...]:
    """Add what the pressure asks for, and return the step of the ladder that each arm's value reached.

    Before the arm read most has what the protocol asks for, no pressure proceeds or refers; after that every arm's
    value does, so that one more reading asked for never softens it.
    """
    if step.do != "enough" and step.why != CALL:
        when = f"in {step.seconds} s" if step.do == "wait" else "now"
        if step.do == "stop":
            when = "another day"
        findings.append(Finding("repeat", f"not complete: {step.why}", when=when))
    if len(lead.pairs) < policy.protocol.asked(_everything(arms), irregular=irregular):
        return ()
    reached = []
    for arm in arms:
        if arm.pairs:
            ends, _ = _value_of(policy, arm, irregular)
            reached.append(ArmStep(ends, arm.on(), _step(policy, ends, bool(gates.symptoms))))
    findings += [_ladder_finding(policy, each) for each in reached]
    stop = next(each for each in policy.ladder if each.verdict == "refer")
    if all(each.step.verdict == "proceed" for each in reached) and any(
        stop.reached(each.reading.systolic_mmhg or 0.0, each.reading.diastolic_mmhg or 0.0) for each in marked
    ):
        reason = f"one reading reached {stop.words()}, though the value did not: no exercise on this set of readings"
        findings.append(Finding("repeat", reason, when="after a longer rest, or another day"))
    return tuple(reached)


def _standing(visit: Visit, policy: ClinicalPolicy, value: VisitValue | None) -> list[Finding]:
    """A fall on standing up, by the policy's own limits; nothing where the policy has none or no value stands."""
    if value is None:
        return []
    found = []
    for reading in visit.standing:
        seated = (value.systolic_mmhg, value.diastolic_mmhg)
        stood = (reading.systolic_mmhg, reading.diastolic_mmhg)
        for end, sat, up, limit in zip(
            ("systolic", "diastolic"), seated, stood, policy.protocol.standing_fall_mmhg, strict=True
        ):
            if limit is not None and up is not None and sat - up >= limit:
                fall = f"{end} falls by {sat - up:g} within {reading.after_s:g} s of standing up"
                reason = f"{fall}, {limit:g} or more ({policy.id}): sit down again, no exercise before it is looked at"
                found.append(Finding("refer", reason, to="a doctor"))
    return found


def _told_doubts(
    visit: Visit, policy: ClinicalPolicy, value: VisitValue | None, marked: Sequence[MarkedReading]
) -> VisitValue | None:
    """Add what the time of rest, haste, today's habits and the posture take from the certainty of a value."""
    if value is None:
        return None
    doubts = []
    asked_s = policy.protocol.rest_s
    if visit.rested_s is not None and visit.rested_s < asked_s:
        doubts.append(f"lower certainty: rested {visit.rested_s:.0f} s, {asked_s:g} are asked for")
    soon = [each.number for each in marked if each.counted and "early" in each.marks and each.reading.arm == value.arm]
    if soon:
        told = ", ".join(map(str, soon))
        gap_s = policy.protocol.interval_s
        doubts.append(f"lower certainty: reading {told} came less than {gap_s:g} s after the one before")
    for code in visit.today or ():
        effect = today_effects()[code]
        doubts.append(f"lower certainty: {effect.what} ({effect.words()}; {effect.source})")
    for code in visit.posture or ():
        fault = technique_effects()[code]
        ends = "/".join(f"{low:+g} to {high:+g}" for low, high in (fault.systolic_mmhg, fault.diastolic_mmhg))
        doubts.append(f"lower certainty: {fault.what} ({ends}; {fault.source})")
    return replace(value, doubts=(*value.doubts, *doubts))


def _step(policy: ClinicalPolicy, ends: Pair, symptoms: bool) -> LadderStep:
    return next(
        step
        for step in policy.ladder
        if step.reached(*ends) and (symptoms or step.verdict != "emergency_with_symptoms")
    )


def _ladder_finding(policy: ClinicalPolicy, reached: ArmStep) -> Finding:
    step, ends = reached.step, reached.ends
    shown = f"{whole_mmhg(ends[0])}/{whole_mmhg(ends[1])}{reached.on}"
    clock = days_in_words(step.within_days)
    source = f"{policy.id}, {step.words()}; {step.source}"
    if step.verdict == "proceed":
        reason = f"{shown} reaches no stop limit of this policy ({policy.id}); {LOCAL_FIRST}; measure again {clock}"
        return Finding("proceed", reason, when=f"today, as far as this policy goes; measure again {clock}")
    if step.verdict == "repeat":
        return Finding("repeat", f"{shown}: {step.limits} ({source})", when=clock)
    if step.verdict == "refer":
        return Finding("refer", f"{shown}: {step.limits} ({source})", to=step.to, within_days=step.within_days)
    return Finding("emergency", f"{shown}: {CALL} ({source})")


def _cautions(visit: Visit, policy: ClinicalPolicy, gates: Gates, value: VisitValue | None) -> tuple[str, ...]:
    told = list(CAUTIONS)
    if gates.emergency:
        return tuple(told)
    missing: Mapping[str, object] = {
        "consent": visit.consent, "symptoms": visit.symptoms, "known disease": visit.client.known_disease,
        "regular exercise": visit.client.exercises_regularly, "pulse": visit.pulse.regular, "age": visit.client.age,
        "arm circumference": visit.client.arm_cm, "what is intended": visit.intended, "gauge": visit.gauge,
    }  # fmt: skip
    absent = [what for what, known in missing.items() if known is None]
    if absent:
        told.append(f"Not told, and so not judged: {', '.join(absent)}. Ask before deciding.")
    told += gates.notes
    told += [
        f"{arm.capitalize()} arm locked: {reason.replace('_', ' ')}." for arm, reason in visit.client.barred_reasons
    ]
    if value is not None and value.complete and policy.protocol.standing_after_s and not visit.standing:
        moments = " and ".join(f"{after_s // 60} min" for after_s in policy.protocol.standing_after_s)
        told.append(f"{policy.id} has readings after {moments} of standing up: none is told.")
    if visit.position is not None and visit.position.strip().lower() not in {"sitting", "seated"}:
        told.append("Bands and limits are for a seated person; this position is another.")
    if visit.client.medicines:
        told.append("Medicines are noted, not judged: leave them to whoever prescribes; blood thinners bruise easily.")
    if visit.client.age is not None and policy.id != "AAP_2017" and visit.client.age < 18:
        told.append("Under 18 years the bands of AAP_2017 are meant; see them beside this policy's.")
    if value is not None and value.systolic_mmhg < 90:
        told.append(
            "A low systolic: bands and limits here have no lower end and say nothing of it; with dizziness or fainting "
            "it stops the session."
        )
    memory = policy.from_memory()
    if memory:
        told.append(f"Not checked against the printed text ({policy.id}): {', '.join(memory)}.")
    return tuple(told)
