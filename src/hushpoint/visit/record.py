"""What is known of a visit. None everywhere means "not told", which is never taken for "no"."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

ARMS = ("left", "right")
DISEASES = ("cardiac", "peripheral_vascular", "cerebrovascular", "diabetes_1", "diabetes_2", "renal")
"""Known disease that the preparticipation algorithm asks about (Riebe 2015, second-hand)."""
SYMPTOMS = (
    "chest_pain", "breathless", "dizzy_or_faint", "lying_breathless", "ankle_swelling", "palpitations", "calf_pain",
    "murmur", "unusual_fatigue",
)  # fmt: skip
"""Signs and symptoms that the algorithm asks about (from memory)."""
EMERGENCIES = (
    "chest_pain", "severe_breathless", "new_confusion", "weakness_or_speech", "visual_loss", "severe_headache",
    "fainted",
)  # fmt: skip
"""Symptoms that stop the session at once (from memory; NICE lists most of them)."""
TODAY = ("caffeine", "smoking", "exercise", "meal", "alcohol", "full_bladder", "cold")
"""What is asked about today; what each may add is in guideline/data/today_effects.csv."""
POSTURE_FAULTS = ("back_unsupported", "legs_crossed", "arm_unsupported", "arm_below_heart", "talking")
"""What could not be put right before measuring; what each adds is in guideline/data/technique_effects.csv."""
BARRED_REASONS = (
    "fistula", "lymph_nodes", "wound_or_dressing", "swelling", "paralysed_or_withered", "tubes", "blood_drawn", "pain",
    "other",
)  # fmt: skip
"""Why an arm is not used (exclusions of a national survey; blood drawn from it in the last week; facts 10)."""
INTENDED = ("light", "moderate", "vigorous", "test")


@dataclass(frozen=True, slots=True)
class Client:
    """What was told of a client; `age` in years, `arm_cm` around the middle of the upper arm."""

    code: str | None = None
    age: float | None = None
    arm_cm: float | None = None
    barred_arms: tuple[str, ...] = ()
    known_disease: tuple[str, ...] | None = None
    exercises_regularly: bool | None = None
    cleared_within_12_months: bool | None = None
    first_visit: bool | None = None
    pregnant: bool | None = None
    medicines: tuple[str, ...] = ()
    barred_reasons: tuple[tuple[str, str], ...] = ()
    """(arm, reason class) for barred arms whose reason was told."""


@dataclass(frozen=True, slots=True)
class Pulse:
    """The pulse as counted."""

    per_min: float | None = None
    regular: bool | None = None


@dataclass(frozen=True, slots=True)
class TakenReading:
    """One measurement [mmHg]; an end is None where it could not be heard. `at` has a time zone, or is None."""

    systolic_mmhg: float | None
    diastolic_mmhg: float | None
    arm: str | None = None
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class StandingReading:
    """A reading taken so many seconds after standing up [mmHg]; None where it was not heard."""

    after_s: float
    systolic_mmhg: float | None
    diastolic_mmhg: float | None


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit as written down; readings in the order they were entered."""

    readings: tuple[TakenReading, ...] = ()
    client: Client = Client()
    consent: bool | None = None
    performer: str | None = None
    cuff: str | None = None
    gauge: str | None = None
    position: str | None = None
    intended: str | None = None
    symptoms: tuple[str, ...] | None = None
    pulse: Pulse = Pulse()
    today: tuple[str, ...] | None = None
    posture: tuple[str, ...] | None = None
    """Faults that could not be put right; empty where all was right."""
    rested_s: float | None = None
    palpated_mmhg: float | None = None
    standing: tuple[StandingReading, ...] = ()
