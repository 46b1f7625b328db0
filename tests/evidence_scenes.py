"""Learners whose evidence is known: twenty pairs, papers of so many right, a clock that is set."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from hushpoint.desk import classes, decisions, pairs, papers
from hushpoint.ledger.records import Ledger

REFERENCES = [(2 * (55 + (7 * place) % 27), 2 * (34 + (5 * place) % 14)) for place in range(20)]
"""Twenty reference readings from 110/68 to 162/94, some at or above 140 and 160."""


class Clock:
    """Gives the time it was set to, and a microsecond more each time."""

    def __init__(self, day: str) -> None:
        self.day, self.ticks = day, 0

    def __call__(self) -> str:
        """The time as the journal writes it."""
        self.ticks += 1
        return f"{self.day}T09:00:00.{self.ticks:06d}Z"


def twenty_pairs(
    ledger: Ledger, code: str, who: str, off: Sequence[tuple[int, int]], references: Sequence[tuple[int, int]]
) -> list[str]:
    """Open and seal pairs of one inflation, the learner off by `off` [mmHg]; return their ids."""
    ids = []
    for place, ((upper, lower), (high, low)) in enumerate(zip(references, off, strict=True)):
        opening = pairs.Opening(who, client=f"K{place % 10:02d}", gauge="")
        pair = pairs.open_pair(ledger, room=code, opening=opening)
        for observer, numbers in ((who, (upper + high, lower + low)), (pairs.LECTURER, (upper, lower))):
            sealed: dict[str, Any] = {"systolic": numbers[0], "diastolic": numbers[1], "ref": "s1"}
            pairs.seal(ledger, room=code, pair=pair, observer=observer, **sealed)
        ids.append(pair)
    return ids


def pairs_from_paper(
    ledger: Ledger, code: str, who: str, off: Sequence[tuple[int, int]], references: Sequence[tuple[int, int]], day: str
) -> None:
    """Store fair pairs of one day as from a paper sheet, all in one write, the learner off by `off` [mmHg]."""
    written = []
    for place, ((upper, lower), (high, low)) in enumerate(zip(references, off, strict=True)):
        at = f"{day}T08:{place:02d}:00.000Z"
        opening = pairs.Opening(who, client=f"K{place % 10:02d}", taken_at=at, via="paper")
        written.append((opening, (upper + high, lower + low), (upper, lower), f"paper.{who}.{place}"))
    pairs.store_written(ledger, room=code, written=written)


SCENE_NINE = [(0, 0)] * 17 + [(4, 6), (8, 2), (-8, -4)]
"""Systolic 18 within 5, 20 within 10; diastolic 19 and 20."""


def with_an_amplified_stethoscope(ledger: Ledger, name: str = "Ines") -> tuple[str, str]:
    """A learner with the twenty pairs of scene 9."""
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    who = classes.join(ledger, room=code, name=name)
    twenty_pairs(ledger, code, who, SCENE_NINE, REFERENCES)
    return code, who


def paper_taken(ledger: Ledger, code: str, who: str, paper: str, day: str, off: Sequence[int]) -> papers.Attempt:
    """Take a form: the 24 answers off by `off` [mmHg], systolic and diastolic by turns."""
    now = f"{day}T10:00:00.000000Z"
    attempt = papers.begin(ledger, room=code, who=who, paper_id=paper, profile_id="headphones", now=now)
    found = papers.paper_of(ledger, code, paper)
    for place, key in enumerate(papers.keys_of(found, attempt.form), start=1):
        reading = {
            "systolic": int(key.systolic_mmhg) + off[2 * place - 2],
            "diastolic": int(key.diastolic_mmhg) + off[2 * place - 1],
        }
        asked = {"room": code, "who": who, "attempt_id": attempt.id, "place": place}
        papers.count_play(ledger, **asked, number=1, now=now)
        papers.answer(ledger, **asked, reading=reading, now=now)
    return papers.attempt_of(ledger, code, attempt.id)[1]


def signing(**changed: Any) -> decisions.Signing:
    """A decision filled in."""
    given: dict[str, Any] = {
        "rule": "OBRIEN_90_95",
        "decision": "competent",
        "reasons": "twenty fair pairs meet the rule",
        "assessor": "L. Okafor",
        "ref": "d1",
    }
    return decisions.Signing(**{**given, **changed})
