"""The questions before the cuff goes on, in order; each may stop the measurement or ask for somebody first."""

from __future__ import annotations

import re
from dataclasses import dataclass

from hushpoint.guideline.cuffs import (
    BLADDER_LENGTH_CM,
    BLADDER_WIDTH_CM,
    AnotherCuff,
    CuffRefused,
    CuffSize,
    bladder_fit,
    cuff_sizes,
    size_for,
)
from hushpoint.guideline.preparticipation import clearance_rule
from hushpoint.measure.verdict import Withheld
from hushpoint.visit.record import ARMS, EMERGENCIES, SYMPTOMS, Visit
from hushpoint.visit.verdicts import Finding

YOUNGEST = 13
"""Under 13 years pressure is judged by percentiles of age, sex and height (AAP 2017): not done here."""
FAST_PULSE_PER_MIN = 100
"""Above this at rest: no exercise (UK cardiac rehabilitation, one practitioner's page; AACVPR 120 from memory)."""
CALL = "call the emergency service now, stay with the person, stop the session"
CLINICIAN = "a trained clinician"
_BLADDER = re.compile(r"(\d{1,2}(?:\.\d)?) ?(?:cm)? ?[x×] ?(\d{1,2}(?:\.\d)?)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Gates:
    """What the questions gave: findings in their order, what stops the measurement, and what to know.

    `stop` is why nothing may be measured, `unjudged` says that no reading is judged then.
    """

    findings: tuple[Finding, ...]
    stop: str | None
    unjudged: bool
    emergency: bool
    symptoms: tuple[str, ...]
    notes: tuple[str, ...]


def words(codes: tuple[str, ...]) -> str:
    """Return codes as plain words."""
    return ", ".join(code.replace("_", " ") for code in codes)


def pass_gates(visit: Visit) -> Gates:
    """Ask every gate in order; a stopped gate does not hide the findings of the others, save after an emergency."""
    symptoms = visit.symptoms or ()
    urgent = tuple(code for code in symptoms if code in EMERGENCIES)
    if urgent:
        return Gates((Finding("emergency", f"{words(urgent)}: {CALL}"),), CALL, True, True, symptoms, ())
    findings: list[Finding] = []
    stops: list[str] = []
    notes: list[str] = []
    if visit.consent is False:
        stops.append("the client has not consented: do not measure")
        findings.append(Finding("repeat", stops[-1], when="only once the client consents"))
    findings += _clearance(visit, symptoms, notes)
    findings += _condition(visit)
    for stop, finding in _arms(visit, notes):
        stops.append(stop)
        findings.append(finding)
    if visit.client.age is not None and visit.client.age < YOUNGEST:
        stops.append(f"under {YOUNGEST} years pressure is judged by percentiles, which are not here: do not judge it")
        findings.append(Finding("refer", stops[-1], to=CLINICIAN))
    return Gates(tuple(findings), stops[0] if stops else None, bool(stops), False, symptoms, tuple(notes))


def _clearance(visit: Visit, symptoms: tuple[str, ...], notes: list[str]) -> list[Finding]:
    client = visit.client
    disease = client.known_disease or ()
    asked = tuple(code for code in symptoms if code in SYMPTOMS)
    if not disease and not asked:
        return []
    rule = clearance_rule(
        exercises=client.exercises_regularly is True,
        disease=bool(disease),
        symptoms=bool(asked),
        # What is intended counts as vigorous unless it is told to be less; a test is vigorous.
        vigorous=visit.intended not in {"light", "moderate"},
    )
    told = "; ".join(
        part
        for part in (
            f"known disease: {words(disease)}" if disease else "",
            f"signs or symptoms: {words(asked)}" if asked else "",
            "exercises regularly" if client.exercises_regularly else "does not exercise regularly, or not told",
        )
        if part
    )
    because = f"{told}. Preparticipation algorithm (Riebe 2015), row {rule.id}, whatever the pressure"
    if rule.clearance == "not_needed":
        notes.append(f"{because}: clearance is not asked for; {rule.advice}.")
        return []
    if rule.clearance == "needed_unless_cleared" and client.cleared_within_12_months:
        notes.append(f"{because}: cleared within 12 months, which stands only if nothing has changed since.")
        return []
    asks = "stop exercise and seek medical clearance" if rule.clearance == "stop" else "medical clearance first"
    return [Finding("refer", f"{because}: {asks}; {rule.advice}", to="a doctor")]


def _condition(visit: Visit) -> list[Finding]:
    findings = []
    if visit.client.pregnant:
        reason = "pregnancy: ask maternity care first; write phase IV and V where the sounds go on to zero"
        findings.append(Finding("refer", reason, to="maternity care"))
    if visit.pulse.regular is False:
        reason = "irregular pulse: unless it is known and a doctor has agreed, a doctor first, no test"
        findings.append(Finding("refer", reason, to="a doctor"))
    per_min = visit.pulse.per_min
    if per_min is not None and per_min > FAST_PULSE_PER_MIN:
        reason = f"pulse {per_min:g} a minute at rest, above {FAST_PULSE_PER_MIN}: no exercise, rest and count again"
        findings.append(Finding("repeat", reason, when="after at least 5 minutes of rest"))
    return findings


def _arms(visit: Visit, notes: list[str]) -> list[tuple[str, Finding]]:
    client = visit.client
    found = []
    if set(client.barred_arms) == set(ARMS):
        stop = "both arms are barred: do not measure; leg or forearm needs training"
        found.append((stop, Finding("refer", stop, to=CLINICIAN)))
    if client.arm_cm is None:
        return found
    named = size_for(client.arm_cm)
    if isinstance(named, Withheld):
        found.append((named.reason, Finding("refer", named.reason, to=CLINICIAN)))
        return found
    bladder = _bladder(visit.cuff)
    take = f"{named.label}, bladder {named.bladder_width_cm:g} × {named.bladder_length_cm:g} cm"
    if bladder is None:
        notes.append(f"Arm {client.arm_cm:g} cm asks for {take}; the bladder in use is not told: measure it.")
        return found
    fit = bladder_fit(client.arm_cm, *bladder)
    if isinstance(fit.verdict, CuffRefused):
        stop = f"this cuff, bladder {bladder[0]:g} × {bladder[1]:g} cm, {fit.verdict.reason}"
        found.append((stop, Finding("repeat", stop, when=f"once the cuff is {take}")))
    elif isinstance(fit.verdict, AnotherCuff):
        notes.append(f"Cuff: {fit.verdict.reason}.")
    return found


def _bladder(cuff: str | None) -> tuple[float, float] | None:
    """Width and length [cm] of a cuff as written: "13x23" counts before the label, which may be wrong."""
    if cuff is None:
        return None
    typed = _BLADDER.search(cuff)
    if typed:
        width, length = float(typed[1]), float(typed[2])
        in_range = (
            BLADDER_WIDTH_CM[0] <= width <= BLADDER_WIDTH_CM[1]
            and BLADDER_LENGTH_CM[0] <= length <= BLADDER_LENGTH_CM[1]
        )
        return (width, length) if in_range else None
    named: CuffSize | None = next(
        (size for size in cuff_sizes() if cuff.strip().lower() in {size.id, size.label}), None
    )
    return (named.bladder_width_cm, named.bladder_length_cm) if named else None
