"""The vectors that hold the page's next step to the server's: the server still says what they say."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from hushpoint.desk.visit_told import figures
from hushpoint.guideline.clinical_policies import clinical_policies, clinical_policy
from hushpoint.visit import Client, Pulse, TakenReading, Visit, judge_visit

VECTORS = json.loads((Path(__file__).resolve().parents[1] / "vectors" / "visit_next.json").read_text(encoding="utf-8"))
START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)


def said(case: dict[str, Any]) -> tuple[str, int]:
    """What the server's rule does about a case."""
    readings = tuple(
        TakenReading(one["systolic"], one["diastolic"], one["arm"], START + timedelta(milliseconds=one["at_ms"]))
        for one in case["readings"]
    )
    visit = Visit(
        readings=readings,
        client=Client(barred_arms=tuple(case["barred"]), first_visit=case["firstVisit"]),
        pulse=Pulse(None, not case["irregular"]),
    )
    step = judge_visit(visit, clinical_policy(case["policy"]), START + timedelta(milliseconds=case["now_ms"])).next
    return step.do, step.seconds


def test_the_server_says_what_the_vectors_say() -> None:
    """Every case: what to do and how long to wait."""
    wrong = [case for case in VECTORS["cases"] if said(case) != (case["do"], case["seconds"])]
    assert wrong == []


def test_the_vectors_hold_every_policys_figures() -> None:
    """A changed figure of a shipped policy asks for new vectors."""
    now = {name: json.loads(json.dumps(figures(policy))) for name, policy in clinical_policies().items()}
    assert now == VECTORS["figures"]
