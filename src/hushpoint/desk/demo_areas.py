"""What stands in every area of the invented college at first sight: kit, pairs, technique, visits, decisions.

Nobody and nothing in it exists. Each row is written by the act that a person would do, at the time it would be done.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from hushpoint.desk import demo_evidence, kit, pairs, rotation, technique, visits
from hushpoint.guideline.technique_steps import technique_steps
from hushpoint.instrument import Direction, GaugePoint
from hushpoint.ledger.records import Ledger
from hushpoint.practice.rotation import Asked

SEED = 20260302
STEPS_MMHG = (0, 60, 100, 150, 200, 250, 300)
REFERENCE = kit.Reference("invented reference M1", "INVENTED-12", 0.5)
CHECKED_DAYS_AGO = {"G1": 60, "G2": 75, "G3": 215, "G4": 90, "G5": 60}
"""When each gauge was last found good [days]; G6 was never checked, G3 is overdue."""
LOW_MMHG = 6
"""How low G4 reads at its second check, this morning [mmHg]."""
CUFFS: tuple[Mapping[str, str], ...] = (
    {"label": "C1", "bladder_width_cm": "13", "bladder_length_cm": "23", "latex": "no"},
    {"label": "C2", "bladder_width_cm": "12", "bladder_length_cm": "26", "latex": "no"},
    {"label": "C3", "bladder_width_cm": "15", "bladder_length_cm": "33", "latex": "unknown"},
)
PAIRED: tuple[tuple[int, int, str, int, int, int, int], ...] = (
    (0, 14, "G4", 122, 78, 126, 78),
    (0, 14, "G4", 134, 84, 138, 84),
    (0, 7, "G1", 118, 72, 118, 74),
    (0, 7, "G1", 148, 92, 150, 92),
    (1, 14, "G4", 128, 80, 126, 80),
    (1, 7, "G2", 110, 66, 112, 66),
    (2, 7, "G2", 140, 88, 136, 86),
)
"""Fair pairs: whose, days ago, gauge, systolic and diastolic of learner and reference [mmHg]."""
CLIENT: Mapping[str, Any] = {
    "consent": True,
    "symptoms": [],
    "intended": "moderate",
    "client.exercises_regularly": False,
    "client.known_disease": [],
    "client.medicines": [],
    "client.barred_arms": [],
    "rested_s": 300,
    "position": "seated",
    "pulse.per_min": 72,
    "pulse.regular": True,
    "steps": "consent,urgent,signs,disease,habit,plan,about,today,arms,size,kit,rest,posture,pulse,feel",
}
VISITED: tuple[tuple[int, int, int, str, tuple[tuple[int, int], ...], str], ...] = (
    (12, 34, 30, "G1", ((124, 78), (122, 78)), ""),
    (9, 61, 33, "G4", ((168, 100), (164, 98), (162, 98)), "Letter read; light effort only until seen again."),
    (4, 47, 31, "G4", ((178, 104), (164, 98), (162, 96)), ""),
)
"""Closed visits: days ago, age, arm [cm], gauge, readings [mmHg], and the reply that closed the referral."""


def furnish(
    ledger: Ledger, move_to: Callable[[datetime], None], now: datetime, *, room: str, learners: Sequence[str]
) -> None:
    """Put something into every area; `move_to` sets the ledger's clock, which never goes back."""
    items = _kit(ledger, now)
    acts = sorted(
        [(days, _pair_act(ledger, room, learners, items, one, now)) for one in PAIRED for days in [one[1]]]
        + [(one[0], _visit_act(ledger, items, number, one, now)) for number, one in enumerate(VISITED)]
        + demo_evidence.acts(ledger, now, room=room, learners=learners, items=items),
        key=lambda act: -act[0],
    )
    for days, act in acts:
        move_to(now - timedelta(days=days))
        act()
    move_to(now - timedelta(days=1))
    _unfair(ledger, room, learners, items, now)
    _technique(ledger, room, learners)
    move_to(now - timedelta(hours=1))
    _check(ledger, items["G4"], now - timedelta(hours=1), now, off_mmhg=-LOW_MMHG)
    kit.knock(ledger, items["G5"], by="a learner of this invented class")
    _visit_begun(ledger, items, now - timedelta(hours=1))


def plan(ledger: Ledger, now: datetime, *, room: str) -> None:
    """Plan a rotation of the class, unless there is one."""
    if rotation.rotation_of(ledger, room) is None:
        rotation.plan_rotation(
            ledger,
            room=room,
            asked=Asked(60, 4, 1, tests=2),
            absent=frozenset(),
            competent=frozenset(),
            paper=True,
            today=now.astimezone().date(),
        )


def _kit(ledger: Ledger, now: datetime) -> dict[str, str]:
    """Register the kit and its first checks; return ids by label."""
    described: list[Mapping[str, str]] = [
        *({"type": "gauge", "label": f"G{number}", "serial": f"INVENTED {number}"} for number in range(1, 7)),
        *({"type": "cuff", **cuff} for cuff in CUFFS),
        {"type": "stethoscope", "label": "S1", "head": "double"},
        {"type": "stethoscope", "label": "S2", "head": "single"},
    ]
    items = {one.label: one.id for one in (kit.add(ledger, fields, by="lecturer") for fields in described)}
    for label, days in CHECKED_DAYS_AGO.items():
        _check(ledger, items[label], now - timedelta(days=days), now)
    for label in ("C1", "C2", "S1"):
        kit.wipe(ledger, items[label], by="lecturer")
    return items


def _check(ledger: Ledger, gauge: str, at: datetime, now: datetime, *, off_mmhg: int = 0) -> None:
    """File a check up and down; the zero always stands, beyond it the gauge is off by so much."""
    points = [
        GaugePoint(step, step + (off_mmhg + (way is Direction.DOWN and step < max(STEPS_MMHG)) if step else 0), way)
        for way, steps in ((Direction.UP, STEPS_MMHG), (Direction.DOWN, STEPS_MMHG[::-1]))
        for step in steps
    ]
    kit.file_check(
        ledger, gauge, points=points, rule="in_use", reference=REFERENCE, checked_at=at, how="bench", by="lecturer",
        now=now,
    )  # fmt: skip


def _pair_act(
    ledger: Ledger,
    room: str,
    learners: Sequence[str],
    items: Mapping[str, str],
    one: tuple[int, int, str, int, int, int, int],
    now: datetime,
) -> Callable[[], None]:
    place, days, gauge, *ends = one
    opening = pairs.Opening(
        learners[place],
        gauge=items[gauge],
        cuff=items["C2"],
        stethoscope=items["S1"],
        client="K31",
        arm="left",
        taken_at=_written_at(now - timedelta(days=days)),
    )
    return lambda: _sealed(ledger, room, opening, ends)


def _sealed(ledger: Ledger, room: str, opening: pairs.Opening, ends: Sequence[int]) -> None:
    pair = pairs.open_pair(ledger, room=room, opening=opening)
    both = ((opening.learner, ends[:2]), (opening.reference, ends[2:]))
    for observer, (systolic, diastolic) in both:
        pairs.seal(
            ledger, room=room, pair=pair, observer=observer, systolic=systolic, diastolic=diastolic, ref="invented"
        )


def _unfair(ledger: Ledger, room: str, learners: Sequence[str], items: Mapping[str, str], now: datetime) -> None:
    """Two pairs that are kept and never counted, and one that waits for both."""
    yesterday = _written_at(now - timedelta(days=1))
    two_releases = pairs.Opening(learners[1], same_inflation=False, gauge=items["G2"], client="K32", taken_at=yesterday)
    _sealed(ledger, room, two_releases, (126, 78, 118, 76))
    two_gauges = pairs.Opening(
        learners[3], gauge=items["G1"], reference_gauge=items["G2"], client="K33", taken_at=yesterday
    )
    _sealed(ledger, room, two_gauges, (120, 76, 122, 78))
    pairs.open_pair(ledger, room=room, opening=pairs.Opening(learners[4], gauge=items["G1"], client="K34"))


def _technique(ledger: Ledger, room: str, learners: Sequence[str]) -> None:
    """Two watched performances, the first one by two assessors who differ on a few steps."""
    rng = np.random.default_rng([SEED, 3])
    ids = [step.id for step in technique_steps()]
    for place, (learner, assessors) in enumerate(((learners[0], ("AB", "CD")), (learners[2], ("AB",)))):
        performance = technique.begin(ledger, room=room, learner=learner, ref=f"invented-{place}")
        seen = {step: "missed" if rng.random() < 0.2 else "done" for step in ids}
        for assessor in assessors:
            marks = {step: "done" if rng.random() < 0.1 else mark for step, mark in seen.items()}
            sheet = {"assessor": assessor, "marks": marks, "overall": "beside", "ref": assessor}
            technique.mark(ledger, room=room, performance=performance, sheet=sheet)


def _visit_act(
    ledger: Ledger,
    items: Mapping[str, str],
    number: int,
    one: tuple[int, int, int, str, tuple[tuple[int, int], ...], str],
    now: datetime,
) -> Callable[[], None]:
    days, age, arm_cm, gauge, readings, reply = one

    def act() -> None:
        at = now - timedelta(days=days)
        visit = _asked(ledger, at, f"{number}", {"client.age": age, "client.arm_cm": arm_cm}, items, gauge)
        for place, (systolic, diastolic) in enumerate(readings, start=1):
            later = at + timedelta(seconds=75 * place)
            reading = {"arm": "right", "systolic": systolic, "diastolic": diastolic}
            asked = {"ref": f"invented-{number}-{place}", "at": later.isoformat(), "reading": reading}
            visits.act(ledger, visit, asked, later)
        visits.close(ledger, visit, at + timedelta(minutes=6))
        if reply:
            visits.reply(ledger, visit, text=reply, done=True)

    return act


def _visit_begun(ledger: Ledger, items: Mapping[str, str], at: datetime) -> None:
    """A visit that goes on: asked, rested, one reading written."""
    visit = _asked(ledger, at, "open", {"client.age": 29, "client.arm_cm": 29}, items, "G1")
    later = at + timedelta(seconds=75)
    reading = {"arm": "right", "systolic": 132, "diastolic": 84}
    visits.act(ledger, visit, {"ref": "invented-open-1", "at": later.isoformat(), "reading": reading}, later)


def _asked(
    ledger: Ledger, at: datetime, name: str, more: Mapping[str, Any], items: Mapping[str, str], gauge: str
) -> str:
    """Begin a visit and store its answers; return its id."""
    visit = visits.begin(ledger, policy_id="NHFA_2016")
    told = {**CLIENT, **more, "kit_gauge": items[gauge], "kit_cuff": items["C3"], "kit_stethoscope": items["S2"]}
    visits.act(ledger, visit, {"ref": f"invented-told-{name}", "at": at.isoformat(), "told": told}, at)
    return visit


def _written_at(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
