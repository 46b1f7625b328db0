"""One client's visit: gates, the next step, the value, its category, and what the policy says to do."""

from hushpoint.visit.by_hand import worked
from hushpoint.visit.judging import Judged, MarkedReading, NextStep, VisitValue, judge_visit
from hushpoint.visit.record import (
    ARMS,
    BARRED_REASONS,
    DISEASES,
    EMERGENCIES,
    INTENDED,
    POSTURE_FAULTS,
    SYMPTOMS,
    TODAY,
    Client,
    Pulse,
    StandingReading,
    TakenReading,
    Visit,
)
from hushpoint.visit.verdicts import Action, Emergency, Proceed, Refer, Repeat

__all__ = [
    "ARMS",
    "BARRED_REASONS",
    "DISEASES",
    "EMERGENCIES",
    "INTENDED",
    "POSTURE_FAULTS",
    "SYMPTOMS",
    "TODAY",
    "Action",
    "Client",
    "Emergency",
    "Judged",
    "MarkedReading",
    "NextStep",
    "Proceed",
    "Pulse",
    "Refer",
    "Repeat",
    "StandingReading",
    "TakenReading",
    "Visit",
    "VisitValue",
    "judge_visit",
    "worked",
]
