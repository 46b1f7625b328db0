"""One client's visit: gates, the next step, the value, its category, and what the policy says to do."""

from hushpoint.visit.judging import Judged, MarkedReading, NextStep, VisitValue, judge_visit
from hushpoint.visit.record import (
    ARMS,
    DISEASES,
    EMERGENCIES,
    INTENDED,
    SYMPTOMS,
    Client,
    Pulse,
    TakenReading,
    Visit,
)
from hushpoint.visit.verdicts import Action, Emergency, Proceed, Refer, Repeat

__all__ = [
    "ARMS",
    "DISEASES",
    "EMERGENCIES",
    "INTENDED",
    "SYMPTOMS",
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
    "TakenReading",
    "Visit",
    "VisitValue",
    "judge_visit",
]
