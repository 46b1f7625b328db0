"""Visits for tests: readings from text such as "134/82 130/80 L128/80", with or without times."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hushpoint.guideline.clinical_policies import clinical_policy
from hushpoint.visit import Client, Judged, Pulse, TakenReading, Visit, judge_visit

START = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
LATER = START + timedelta(days=1)


def readings(text: str, gap_s: float | None = 60) -> tuple[TakenReading, ...]:
    """Readings `gap_s` apart, or without times; L before a reading is the left arm, else the right; "?" not heard."""
    taken = []
    for place, typed in enumerate(text.split()):
        ends = [None if end == "?" else float(end) for end in typed.lstrip("L").split("/")]
        at = None if gap_s is None else START + timedelta(seconds=gap_s * place)
        taken.append(TakenReading(ends[0], ends[1], "left" if typed.startswith("L") else "right", at))
    return tuple(taken)


def judged(
    text: str,
    policy: str,
    *,
    gap_s: float | None = 60,
    now: datetime = LATER,
    regular: bool | None = True,
    per_min: float | None = None,
    client: Client | None = None,
    **visit: object,
) -> Judged:
    """The verdict on readings given as text, long after the last one unless `now` says otherwise."""
    whole = Visit(
        readings(text, gap_s),
        client=client or Client(),
        pulse=Pulse(per_min, regular),
        **visit,  # type: ignore[arg-type]
    )
    return judge_visit(whole, clinical_policy(policy), now)


def shown(result: Judged) -> tuple[int, int]:
    """The value as shown, whole mmHg."""
    from hushpoint.measure import whole_mmhg

    assert result.value is not None
    return whole_mmhg(result.value.systolic_mmhg), whole_mmhg(result.value.diastolic_mmhg)
