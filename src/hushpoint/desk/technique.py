"""The technique sheet: what an assessor saw of each step, and how far two assessors of one performance agree.

A step is done, missed, or, where nobody touched it, not seen. A sheet marked again stands beside the first one; the
later counts. Assessors sign with their initials.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any, Literal

from hushpoint.agreement import Kappa, kappa, kappa_by_hand
from hushpoint.desk import classes
from hushpoint.desk.pairs import checked_ref
from hushpoint.desk.standing import standing
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.guideline.technique_steps import TechniqueStep, technique_steps
from hushpoint.ledger.records import AlreadyStoredError, Entry, Kind, Ledger, Row
from hushpoint.measure import Worked

Mark = Literal["done", "missed"]
MARKS: tuple[Mark, ...] = ("done", "missed")
OVERALL = {
    "alone": "measures alone",
    "beside": "measures with somebody beside",
    "practice": "more practice first",
    "guided": "again from the start, guided",
}
"""The global mark in words (our choice)."""
LONGEST_NOTE = 300
WELL_FROM = 0.6
"""Kappa from which agreement is called good (Landis and Koch 1977: "substantial" above 0.60; FROM MEMORY)."""
RARE = 0.05
"""So many alike come by chance in fewer than one in twenty (our choice)."""
_INITIALS = re.compile(r"[^\W\d_]{1,6}")


@dataclass(frozen=True, slots=True)
class Sheet:
    """One assessor's sheet; `marks` holds the steps that were seen, by id, `overall` a key of OVERALL or ""."""

    assessor: str
    marks: Mapping[str, Mark]
    notes: Mapping[str, str]
    overall: str
    at: str
    again: bool = False
    """Whether this assessor had marked the performance before."""

    def steps(self, mark: Mark | None, *, critical: bool = False) -> list[TechniqueStep]:
        """Return the steps with a mark, None for those not seen; of the critical ones only, where asked."""
        return [
            step for step in technique_steps() if self.marks.get(step.id) == mark and (step.critical or not critical)
        ]


@dataclass(slots=True)
class Performance:
    """One performance of a learner that assessors watched; `sheets` by assessor, each the latest of theirs."""

    id: str
    learner: str
    begun_at: str
    sheets: dict[str, Sheet] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Compared:
    """Two assessors on the same performances: steps that both marked, those they differ on, and kappa over them.

    `kappa` is None where no step was marked by both. Steps of one performance are taken as independent judgements, so
    its interval is rather too narrow.
    """

    assessors: tuple[str, str]
    both: int
    alike: int
    one_only: int
    differ: tuple[TechniqueStep, ...]
    kappa: Kappa | None

    @property
    def worked(self) -> Worked | None:
        """The calculation behind kappa."""
        return None if self.kappa is None else kappa_by_hand(self.kappa, " and ".join(self.assessors))

    @property
    def told(self) -> tuple[str, str]:
        """What the figures say in a few words, and what to do next.

        Whether two agree well or poorly is said only where the whole interval of kappa lies on one side of
        WELL_FROM, and well only where so many alike would be rare by chance.
        """
        if self.kappa is None:
            return "Nothing to compare yet", "no step was marked by both; each marks every step that they see, alone"
        if self.kappa.kappa is None or self.kappa.ci is None:
            why = "both gave one mark throughout, which chance alone would give too"
            return "Too little is known", f"{why}; mark a performance together in which steps are missed"
        low, high = self.kappa.ci
        if high < WELL_FROM:
            why = f"even the upper end of the interval is below {WELL_FROM}"
            return "They agree poorly", f"{why}; go through the steps below aloud, then mark the next performance alone"
        rare = self.kappa.p is None or self.kappa.p < RARE
        if low >= WELL_FROM and rare:
            return "They agree well", f"even the lower end of the interval is at {WELL_FROM} or above"
        why = f"steps compared: {self.both}, which leave room from poor to full agreement"
        return "Too little is known", f"{why}; mark further performances together, best some with steps missed"

    @property
    def differ_times(self) -> tuple[tuple[TechniqueStep, int], ...]:
        """The steps they differ on, in the sheet's order, each with how often."""
        return tuple((step, self.differ.count(step)) for step in technique_steps() if step in self.differ)

    @property
    def critical(self) -> tuple[TechniqueStep, ...]:
        """The critical steps they differ on, each once, in the sheet's order."""
        return tuple(step for step, _ in self.differ_times if step.critical)


def begin(ledger: Ledger, *, room: str, learner: str, ref: str) -> str:
    """Begin a performance of a learner, once for each `ref`; return its id."""
    code = classes.find_class(ledger, room).code
    classes.name_of(ledger, code, learner)
    performance = secrets.token_hex(8)
    body = {"performance": performance}
    try:
        ledger.append(Entry(Kind.TECHNIQUE_BEGUN, body, room=code, who=learner, ref=checked_ref(ref)))
    except AlreadyStoredError as stored:
        if stored.row.body is None:
            raise
        return str(stored.row.body["performance"])
    return performance


def mark(ledger: Ledger, *, room: str, performance: str, sheet: Mapping[str, Any]) -> int:
    """Store an assessor's sheet as delivered, once for each of its `ref`; return its row number.

    `sheet` holds assessor, marks, notes, overall and ref. Raises BadInputError, one line, for anything else.
    """
    found = find(ledger, room, performance)
    known = {step.id for step in technique_steps()}
    body = {
        "performance": performance,
        "assessor": checked_initials(sheet.get("assessor")),
        "marks": _of_steps(sheet.get("marks"), "marks", known, _checked_mark),
        "notes": _of_steps(sheet.get("notes", {}), "notes", known, _checked_note),
        "overall": _checked_overall(sheet.get("overall", "")),
    }
    if not body["marks"] and not body["notes"]:
        raise BadInputError("the sheet: nothing is marked yet")
    ref = f"{performance}.{checked_ref(sheet.get('ref'))}"
    try:
        return ledger.append(Entry(Kind.TECHNIQUE_MARKED, body, room=room, who=found.learner, ref=ref))[0].seq
    except AlreadyStoredError as stored:
        return stored.row.seq


def performances(ledger: Ledger, room: str, *, learner: str | None = None) -> list[Performance]:
    """Return the performances of a class, or of one learner in it, newest first; erased ones are left out."""
    kinds = [Kind.TECHNIQUE_BEGUN, Kind.TECHNIQUE_MARKED]
    return _folded(standing(ledger, kinds, room=room, who=learner))[::-1]


def find(ledger: Ledger, room: str, performance: str) -> Performance:
    """Return a performance by its id; raises NotFoundError."""
    found = next((one for one in performances(ledger, room) if one.id == performance), None)
    if found is None:
        raise NotFoundError("No such performance in this class.")
    return found


def compare(watched: Iterable[Performance], one: str, other: str) -> Compared:
    """Compare two assessors over the performances that both marked, step by step."""
    table = [[0, 0], [0, 0]]
    differ: list[TechniqueStep] = []
    one_only = 0
    for performance in watched:
        first, second = performance.sheets.get(one), performance.sheets.get(other)
        if first is None or second is None:
            continue
        for step in technique_steps():
            mine, theirs = first.marks.get(step.id), second.marks.get(step.id)
            if mine is None or theirs is None:
                one_only += mine is not theirs
                continue
            table[MARKS.index(mine)][MARKS.index(theirs)] += 1
            if mine != theirs:
                differ.append(step)
    both = sum(map(sum, table))
    found = kappa(table) if both else None
    return Compared((one, other), both, table[0][0] + table[1][1], one_only, tuple(differ), found)


def assessors_compared(watched: list[Performance]) -> list[Compared]:
    """Compare every two assessors who marked the same performance."""
    twos = {two for one in watched for two in combinations(sorted(one.sheets), 2)}
    return [compare(watched, *two) for two in sorted(twos)]


def checked_initials(text: object) -> str:
    """Return an assessor's initials in capitals; raises BadInputError."""
    if not isinstance(text, str) or not _INITIALS.fullmatch(text.strip()):
        raise BadInputError("assessor: your initials, 1 to 6 letters")
    return text.strip().upper()


def _folded(rows: Iterable[Row]) -> list[Performance]:
    found: dict[str, Performance] = {}
    for row in rows:
        if row.body is None:
            continue
        key = row.body["performance"]
        if row.kind is Kind.TECHNIQUE_BEGUN:
            found[key] = Performance(key, row.who, row.at)
        elif key in found:
            body, sheets = row.body, found[key].sheets
            again = body["assessor"] in sheets
            sheets[body["assessor"]] = Sheet(
                body["assessor"], body["marks"], body["notes"], body["overall"], row.at, again
            )
    return list(found.values())


def _of_steps(given: object, what: str, known: set[str], checked: Any) -> dict[str, str]:
    if not isinstance(given, Mapping) or not set(given) <= known:
        raise BadInputError(f"{what}: must name steps of the sheet")
    return {step: checked(value) for step, value in given.items()}


def _checked_mark(value: object) -> str:
    if value not in MARKS:
        raise BadInputError("marks: each must be done or missed; a step left out was not seen")
    return str(value)


def _checked_note(value: object) -> str:
    if not isinstance(value, str) or not 1 <= len(value.strip()) <= LONGEST_NOTE:
        raise BadInputError(f"notes: each must have 1 to {LONGEST_NOTE} characters")
    return value.strip()


def _checked_overall(value: object) -> str:
    if not isinstance(value, str) or (value and value not in OVERALL):
        raise BadInputError(f"overall: must be one of {', '.join(OVERALL)}, or empty")
    return value
