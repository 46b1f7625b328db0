"""The evidence of the invented college: one learner signed competent, one not yet, one unit of competency adopted.

Nobody in it exists. The pairs come from an invented paper sheet, so that they are stored at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta

from hushpoint.desk import decisions, pairs, technique, units
from hushpoint.guideline.technique_steps import technique_steps
from hushpoint.ledger.records import Ledger

RULE = "OBRIEN_90_95"
COMPETENT, NOT_YET = 6, 7
"""Places on the class's list."""
REFERENCES: tuple[tuple[int, int], ...] = (
    (118, 74), (126, 78), (142, 88), (108, 66), (134, 84), (122, 72), (162, 96), (114, 70), (128, 82), (138, 86),
    (112, 64), (146, 90), (124, 76), (120, 80), (132, 78), (116, 68), (150, 92), (106, 62), (130, 84), (136, 80),
)  # fmt: skip
STEADY: tuple[tuple[int, int], ...] = (
    (0, 0), (2, 0), (0, -2), (0, 0), (-2, 0), (0, 2), (4, 0), (0, 0), (0, 0), (2, -2),
    (0, 0), (0, 4), (-2, 0), (0, 0), (0, 6), (2, 0), (-6, 0), (0, 0), (0, 0), (0, -2),
)  # fmt: skip
LOW: tuple[tuple[int, int], ...] = tuple((-6 if place % 3 else -2, 2 * (place % 2)) for place in range(12))
"""How far the learner's systolic and diastolic are off the reference's [mmHg]."""
UNIT = """criterion,text,evidence,least,setting,source,unit,title
1.1,measures three clients or more,clients,3,any,INVENTED unit,INVENTED1 R1,Measure resting blood pressure (INVENTED)
1.2,twenty measurements beside a practised observer,pairs,20,any,INVENTED unit,INVENTED1 R1,
1.3,at least one high reading,from_140,1,any,INVENTED unit,INVENTED1 R1,
2.1,works through the steps without a critical omission,sheets,1,any,INVENTED unit,INVENTED1 R1,
2.2,a listening paper met,papers,1,any,INVENTED unit,INVENTED1 R1,
3.1,signed competent in live conditions,decisions,1,live,INVENTED unit,INVENTED1 R1,
3.2,speaks kindly and defers to local policy,lecturer,1,any,INVENTED unit,INVENTED1 R1,
"""


def acts(
    ledger: Ledger, now: datetime, *, room: str, learners: Sequence[str], items: Mapping[str, str]
) -> list[tuple[int, Callable[[], None]]]:
    """Return what is done, with how many days ago it is done."""

    def competent() -> None:
        units.adopt(ledger, UNIT.encode(), "invented-unit.csv")
        who = learners[COMPETENT]
        _pairs(ledger, room, who, items, STEADY, now - timedelta(days=16))
        _watched(ledger, room, who)
        _signed(
            ledger, room, who, now - timedelta(days=12), decision="competent", feedback_on="",
            reasons="Twenty fair pairs meet the rule, high readings among them; every critical step was seen.",
        )  # fmt: skip

    def not_yet() -> None:
        who = learners[NOT_YET]
        _pairs(ledger, room, who, items, LOW, now - timedelta(days=6))
        day = now - timedelta(days=5)
        _signed(
            ledger, room, who, day, decision="not_yet", feedback_on=day.astimezone().date().isoformat(),
            reasons="Systolic reads low: pump higher and wait for the first of two taps. A new set in two weeks.",
        )  # fmt: skip

    return [(12, competent), (5, not_yet)]


def _pairs(
    ledger: Ledger,
    room: str,
    who: str,
    items: Mapping[str, str],
    off: Sequence[tuple[int, int]],
    first: datetime,
) -> None:
    written = []
    for place, ((upper, lower), (high, low)) in enumerate(zip(REFERENCES, off, strict=False)):
        at = (first + timedelta(minutes=6 * place)).astimezone(UTC).isoformat(timespec="milliseconds")
        opening = pairs.Opening(
            who,
            gauge=items["G1"],
            cuff=items["C2"],
            stethoscope=items["S1"],
            client=f"K{41 + place % 5}",
            taken_at=at.replace("+00:00", "Z"),
            via="paper",
        )
        written.append((opening, (upper + high, lower + low), (upper, lower), f"invented.{who}.{place}"))
    pairs.store_written(ledger, room=room, written=written)


def _watched(ledger: Ledger, room: str, who: str) -> None:
    performance = technique.begin(ledger, room=room, learner=who, ref="invented-signed")
    marks = {step.id: "done" if step.critical or step.number % 4 else "missed" for step in technique_steps()}
    sheet = {"assessor": "AB", "marks": marks, "overall": "alone", "ref": "AB"}
    technique.mark(ledger, room=room, performance=performance, sheet=sheet)


def _signed(
    ledger: Ledger, room: str, who: str, at: datetime, *, decision: str, reasons: str, feedback_on: str
) -> None:
    signing = decisions.Signing(
        rule=RULE,
        decision=decision,
        reasons=reasons,
        assessor="A. Invented",
        credential="invented credential",
        ref="invented",
        noise="a class at work",
        place="room 4",
        feedback_on=feedback_on,
        identity_checked=True,
        learner_declares=True,
    )
    decisions.sign(ledger, room=room, learner=who, signing=signing, today=at.astimezone().date())
