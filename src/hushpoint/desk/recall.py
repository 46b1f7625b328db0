"""What a bad gauge touched: every live reading since its last good check, corrected, sorted, and decided line by line.

The list is folded anew from the journal each time; a correction is worked out for it and never stored over a reading.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cache, cached_property
from typing import Literal

from hushpoint.desk.kit import Item, StoredCheck, register
from hushpoint.desk.live import LiveReading, readings
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.guideline.clinical_policies import ClinicalPolicy, LadderStep, clinical_policy
from hushpoint.instrument import (
    USE,
    Corrected,
    CorrectionCurve,
    Drift,
    DriftCorrection,
    Moved,
    Reach,
    reach,
)
from hushpoint.ledger.records import AlreadyStoredError, Entry, Kind, Ledger, Row
from hushpoint.measure import Withheld
from hushpoint.visit import TakenReading, Visit, judge_visit

Sort = Literal["visit", "pair", "single"]
Changes = Literal["certainly", "perhaps", "no", "unknown"]
Urgency = Literal["today", "month", "later", "pair", "note"]

POLICY = "NHFA_2016"
"""Whose bands and ladder are used where a visit names no policy: the one that the recall scene is told by (CHOICE)."""
URGENCIES: dict[Urgency, str] = {
    "today": "Today",
    "month": "Within a month",
    "later": "Later",
    "pair": "Pairs that are void",
    "note": "Stands, or a note is enough",
}
"""What each part of the list is called, the most urgent first."""
DECISIONS: dict[str, tuple[str, tuple[Sort, ...]]] = {
    "annotate": ("annotate: a note beside the reading", ("visit", "single", "pair")),
    "repeat": ("repeat measured on another gauge", ("visit",)),
    "letter": ("letter sent", ("visit",)),
    "stands": ("stands", ("pair",)),
    "void": ("void: not used as evidence", ("pair", "single")),
    "open": ("taken back: not decided", ("visit", "single", "pair")),
}
"""What may be decided on which sort of line; a later decision stands in place of an earlier one, and both are kept."""
ROLES = ("lecturer", "practitioner", "second assessor", "keeper of the kit")
LONGEST_WHY = 300
MOST_LINES = 20_000
CAUTIONS = (
    "A correction serves to decide whom to measure again. It is no measurement: measure again on a gauge in date.",
    f"A correction is {USE}.",
    "A screening and teaching aid: no diagnosis. Local policy, scope of practice and law come first.",
)
WAYS: dict[str, Callable[[DriftCorrection], Corrected | Withheld]] = {
    "none": lambda found: found.before_step,
    "slope": lambda found: found.slope,
    "whole": lambda found: found.after_step,
}
"""The three ways a reading is corrected: as if the knock came later, on an even drift, as if it came before."""
_PLACES: tuple[Callable[[Corrected], float], ...] = (
    lambda found: found.low_mmhg,
    lambda found: found.mmhg,
    lambda found: found.high_mmhg,
)
_DAYS_OF_A_MONTH = 31
_NOTHING = Visit()
_LONG = timedelta(days=1)
"""After every wait of a protocol is over: what is judged is what was written, not what to do next."""


@dataclass(frozen=True, slots=True)
class Window:
    """The readings in question: since the last good check (None: since ever), until the next good one (None: now)."""

    gauge: Item
    good: StoredCheck | None
    bad: StoredCheck
    until: datetime | None

    @property
    def ref(self) -> str:
        """Names the recall, so that it is opened once."""
        return f"recall-{self.bad.seq}"


@dataclass(frozen=True, slots=True)
class End:
    """One end of a reading as written [mmHg], its correction three ways, and its reach."""

    written_mmhg: int
    found: DriftCorrection
    reach: Reach | Withheld


@dataclass(frozen=True, slots=True)
class Touched:
    """A reading on the failed gauge; an end is None where nothing was heard."""

    reading: LiveReading
    systolic: End | None
    diastolic: End | None


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a policy says of a value [mmHg]: category, step of the ladder, and what to do when."""

    systolic_mmhg: float
    diastolic_mmhg: float
    category: str
    step: LadderStep
    verdict: str
    when: str

    @property
    def says(self) -> tuple[str, str, str, str]:
        """What must be equal for nothing to have changed."""
        return self.category, self.step.step, self.verdict, self.when


@dataclass(frozen=True, eq=False)
class ClientChange:
    """What correcting does to one visit under its policy.

    `changes`: certainly (whatever the gauge did, wherever in the interval), perhaps (somewhere), no (nowhere) or
    unknown, and then `why`. `gravest` is the gravest place reached. The rest is worked out when it is asked for: a
    long list is put in order without it.
    """

    policy: str
    written: Meaning | None
    gravest: Meaning | None
    changes: Changes
    why: str
    at: Callable[[Callable[[End], float]], Meaning | None] = field(repr=False)
    """What the policy says with every touched end at the place picked."""
    ends: tuple[End, ...] = field(repr=False)

    @cached_property
    def by_way(self) -> dict[str, Changes]:
        """The same word for each way the gauge may have gone, apart."""
        if self.changes == "unknown":
            return {}
        return {name: self._word(name) for name in WAYS if self._told(name)}

    @cached_property
    def slope(self) -> Meaning | None:
        """As if the gauge had drifted evenly; None where that is not told."""
        return self._estimate("slope")

    @cached_property
    def whole(self) -> Meaning | None:
        """As if the whole error had been there."""
        return self._estimate("whole")

    @cached_property
    def between(self) -> tuple[Meaning, Meaning] | None:
        """Both ends of the interval of `whole`, inside the reach."""
        if self.changes == "unknown":
            return None
        low, _, high = (self.at(_place(WAYS["whole"], place)) for place in _PLACES)
        return None if low is None or high is None else (low, high)

    def _told(self, name: str) -> bool:
        return not any(isinstance(WAYS[name](end.found), Withheld) for end in self.ends)

    def _estimate(self, name: str) -> Meaning | None:
        told = self.changes != "unknown" and self._told(name)
        return self.at(_place(WAYS[name], _PLACES[1])) if told else None

    def _word(self, name: str) -> Changes:
        there = [self.at(_place(WAYS[name], place)) for place in _PLACES]
        changed = [each is None or self.written is None or each.says != self.written.says for each in there]
        return "certainly" if all(changed) else "perhaps" if any(changed) else "no"


@dataclass(frozen=True, slots=True)
class Decision:
    """What was decided on a line: by whom (a role), when (UTC), why."""

    decision: str
    by: str
    at: str
    why: str


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the worklist. `key` names it in decisions; `suggested` is recall, void, stands or annotate."""

    key: str
    sort: Sort
    touched: tuple[Touched, ...]
    others: tuple[LiveReading, ...]
    suggested: str
    urgency: Urgency
    change: ClientChange | None = None
    decisions: tuple[Decision, ...] = ()

    @property
    def why(self) -> str:
        """Why this is suggested, in one sentence."""
        return _WHY[self.sort, self.suggested] if self.change is None else _why_of_client(self.change)

    @property
    def decided(self) -> Decision | None:
        """The decision that stands; None where there is none or it was taken back."""
        last = self.decisions[-1] if self.decisions else None
        return None if last is None or last.decision == "open" else last

    @property
    def code(self) -> str:
        """The client's code, or the beginning of the observer's id: never a name."""
        first = self.touched[0].reading
        return first.client or first.observer[:8]


@dataclass(frozen=True, slots=True)
class Recall:
    """The whole list of one failed gauge, the most urgent line first; `opened` is its journal row, 0 before that.

    `unnamed` counts the readings of the same time that name no gauge: they may have been made on this one.
    """

    window: Window
    moved: Moved | Withheld
    lines: tuple[Line, ...]
    opened: int
    unnamed: int = 0

    def cautions(self) -> tuple[str, ...]:
        """What stands beside the list, on every page and sheet."""
        if not self.unnamed:
            return CAUTIONS
        many = self.unnamed
        told = f"Readings of this time that name no gauge, so that nobody can tell whether it was this one: {many}."
        return (told, *CAUTIONS)

    def counted(self) -> dict[Urgency, int]:
        """How many lines each part of the list holds."""
        found = Counter(line.urgency for line in self.lines)
        return {urgency: found[urgency] for urgency in URGENCIES}


VisitKnown = Callable[[str], "tuple[ClinicalPolicy, Visit] | None"]
"""From a visit's room: its policy and what else is known of it (its own readings are left out); None: not told."""


def nothing_known(_room: str) -> tuple[ClinicalPolicy, Visit] | None:
    """Know nothing of any visit."""
    return None


def gauge_named(ledger: Ledger, text: str) -> Item:
    """Return a gauge by its label or its id; raises NotFoundError where there is none."""
    wanted = text.strip().casefold()
    gauges = [item for item in register(ledger, retired=True).values() if item.type == "gauge"]
    for item in gauges:
        if item.id.casefold() == wanted or (item.label.casefold() == wanted and not item.retired):
            return item
    retired = [item for item in gauges if item.label.casefold() == wanted]
    if not retired:
        raise NotFoundError("gauge: none in the register has this label or id; the register at /kit lists them")
    return max(retired, key=lambda one: one.retired_at)


def window_of(gauge: Item) -> Window:
    """Return what the newest failed check of a gauge leaves in question; raises NotFoundError where none failed."""
    found: Window | None = None
    good: StoredCheck | None = None
    for each in gauge.checks:
        if each.passed:
            if found is not None and found.until is None:
                found = replace(found, until=each.at)
            good = each
        elif found is None or found.until is not None:
            found = Window(gauge, good, each, None)
    if found is None:
        raise NotFoundError(f"{gauge.label}: no check of it was outside its limits, so no reading is in question")
    return found


def recall(
    ledger: Ledger, window: Window, *, visit_known: VisitKnown = nothing_known, policy_id: str = POLICY
) -> Recall:
    """Return every reading the gauge touched, one line for each visit, pair or single reading.

    `policy_id` is for visits that name no policy; raises BadInputError where it is unknown.
    """
    otherwise = clinical_policy(policy_id)
    correct, moved = _corrections(window)
    groups: dict[str, list[LiveReading]] = {}
    hit: dict[str, list[Touched]] = {}
    unnamed = 0
    for reading in readings(ledger):
        key = f"visit:{reading.room}" if _in_visit(reading) else f"pair:{reading.room}:{reading.measurement}"
        groups.setdefault(key, []).append(reading)
        if reading.gauge in ("", window.gauge.id):
            at = datetime.fromisoformat(reading.taken_at)
            inside = (window.good is None or at >= window.good.at) and (window.until is None or at < window.until)
            unnamed += inside and not reading.gauge
            if inside and reading.gauge:
                hit.setdefault(key, []).append(
                    Touched(reading, correct(reading.systolic_mmhg, at), correct(reading.diastolic_mmhg, at))
                )
    opened, decisions = _decisions(ledger, window)
    lines = []
    for key, touched in hit.items():
        own = {each.reading.seq for each in touched}
        others = tuple(reading for reading in groups[key] if reading.seq not in own)
        made = _line(key, tuple(touched), others, visit_known, otherwise)
        lines.append(replace(made, decisions=tuple(decisions.get(made.key, ()))))
    return Recall(window, moved, tuple(sorted(lines, key=_by_urgency)), opened, unnamed)


def decide(ledger: Ledger, found: Recall, *, keys: Sequence[str], decision: str, by: str, why: str) -> list[Row]:
    """Record one decision on one line or many, all or none, and open the recall with the first of them.

    Raises BadInputError with what is allowed where a line, a decision, a role or the reason will not do.
    """
    lines = {line.key: line for line in found.lines}
    chosen = [lines[key] for key in dict.fromkeys(keys) if key in lines]
    if not chosen or len(chosen) < len(set(keys)):
        raise BadInputError("lines: choose at least one line that stands in this list")
    if decision not in DECISIONS:
        raise BadInputError(f"decision: must be one of {', '.join(DECISIONS)}")
    words, sorts = DECISIONS[decision]
    wrong = next((line for line in chosen if line.sort not in sorts), None)
    if wrong is not None:
        raise BadInputError(f'decision: "{words}" is for {" and ".join(sorts)} lines; {wrong.key} is a {wrong.sort}')
    if by not in ROLES:
        raise BadInputError(f"who decides: must be one of {', '.join(ROLES)}")
    reason = " ".join(why.split())
    if not reason or len(reason) > LONGEST_WHY or not reason.isprintable():
        raise BadInputError(f"why: 1 to {LONGEST_WHY} characters are needed, without names")
    opened = _open(ledger, found.window)
    return ledger.append(
        *(
            Entry(
                Kind.RECALL_DECIDED,
                {"recall": opened, "line": line.key, "decision": decision, "by": by, "why": reason},
                who=line.touched[0].reading.who,
            )
            for line in chosen
        )
    )


def client_change(
    policy: ClinicalPolicy,
    taken: Sequence[LiveReading],
    corrected: Sequence[Touched],
    known: Visit = _NOTHING,
) -> ClientChange:
    """Say what the policy makes of a visit as written, and corrected every way.

    `taken` are all live readings of the visit, `corrected` those of them on the failed gauge; `known` is what else is
    known of the visit.
    """
    touched = {each.reading.seq: each for each in corrected}

    @cache
    def meaning(values: tuple[tuple[float | None, float | None], ...]) -> Meaning | None:
        return _meaning(policy, known, taken, values)

    def at(pick: Callable[[End], float]) -> Meaning | None:
        return meaning(
            tuple(
                (_number(each.systolic_mmhg), _number(each.diastolic_mmhg))
                if each.seq not in touched
                else (_picked(touched[each.seq].systolic, pick), _picked(touched[each.seq].diastolic, pick))
                for each in taken
            )
        )

    written = at(lambda end: end.written_mmhg)
    ends = tuple(end for each in corrected for end in (each.systolic, each.diastolic) if end is not None)
    beyond = next((end.reach for end in ends if isinstance(end.reach, Withheld)), None)
    if written is None or beyond is not None:
        why = "no value can be made of these readings" if beyond is None else beyond.reason
        return ClientChange(policy.id, written, written, "unknown", why, at, ends)
    places = [at(lambda end: _edge(end, high=False)), at(lambda end: _edge(end, high=True))]
    gravest = min(
        (each for each in (*places, written) if each is not None),
        key=lambda each: (
            policy.ladder.index(each.step),
            -policy.scheme.rank(each.systolic_mmhg, each.diastolic_mmhg),
            -each.systolic_mmhg,
        ),
    )
    changed = [each is None or each.says != written.says for each in places]
    if not any(changed):
        # Category and action rise with the pressure: what holds at both ends of the reach holds between them.
        return ClientChange(policy.id, written, gravest, "no", "", at, ends)
    perhaps = ClientChange(policy.id, written, gravest, "perhaps", "", at, ends)
    # Where one end of the reach changes nothing, nothing is certain: that is told without looking at every way.
    certain = all(changed) and list(perhaps.by_way.values()) == ["certainly"] * len(WAYS)
    return replace(perhaps, changes="certainly") if certain else perhaps


def _number(value_mmhg: int | None) -> float | None:
    return None if value_mmhg is None else float(value_mmhg)


def _picked(end: End | None, pick: Callable[[End], float]) -> float | None:
    # Six decimals: 134 and 6 are 140, not a hair less.
    return None if end is None else round(float(pick(end)), 6)


def _edge(end: End, *, high: bool) -> float:
    assert isinstance(end.reach, Reach)  # noqa: S101 - a withheld one was told before
    return end.reach.high_mmhg if high else end.reach.low_mmhg


def _place(
    way: Callable[[DriftCorrection], Corrected | Withheld], place: Callable[[Corrected], float]
) -> Callable[[End], float]:
    """Pick a place of an interval, inside the reach; what is withheld stays as written."""

    def pick(end: End) -> float:
        found = way(end.found)
        if isinstance(found, Withheld):
            return end.written_mmhg
        return min(max(place(found), _edge(end, high=False)), _edge(end, high=True))

    return pick


def _meaning(
    policy: ClinicalPolicy,
    known: Visit,
    taken: Sequence[LiveReading],
    values: Sequence[tuple[float | None, float | None]],
) -> Meaning | None:
    visit = replace(
        known,
        readings=tuple(
            TakenReading(systolic, diastolic, each.arm or None, datetime.fromisoformat(each.taken_at))
            for each, (systolic, diastolic) in zip(taken, values, strict=True)
        ),
    )
    now = max(datetime.fromisoformat(each.taken_at) for each in taken) + _LONG
    judged = judge_visit(visit, policy, now, beside=False)
    if judged.value is None or judged.category is None:
        return None
    ends = judged.value.systolic_mmhg, judged.value.diastolic_mmhg
    # Too few readings reach no step of the ladder; how urgent they are is told by their value all the same.
    step = judged.step or next(
        each for each in policy.ladder if each.reached(*ends) and (known.symptoms or "with" not in each.verdict)
    )
    return Meaning(*ends, judged.category, step, judged.action.word, judged.action.when)


def _corrections(
    window: Window,
) -> tuple[Callable[[int | None, datetime], End | None], Moved | Withheld]:
    """Return a function from an end as written and its time to its correction, and how far the gauge moved at 120."""
    after = window.bad.curve()
    if isinstance(after, Withheld):
        nothing, none = after, DriftCorrection(after, after, after)
        return lambda written, _at: None if written is None else End(written, none, nothing), nothing
    before = None if window.good is None else window.good.curve()
    drift: Drift | None = None
    unknown = Withheld("no good check before this one: when the error began is not known")
    if window.good is not None and isinstance(before, CorrectionCurve):
        drift = Drift(before, window.good.at, after, window.bad.at)

    @cache
    def ends(written: int) -> tuple[Corrected | Withheld, Corrected | Withheld]:
        return drift.ends(written) if drift is not None else (unknown, after.correct(written))

    def correct(written: int | None, at: datetime) -> End | None:
        if written is None:
            return None
        pair = ends(written)
        if at >= window.bad.at:
            found = DriftCorrection(pair[1], pair[1], pair[1])  # the error was there
        elif drift is None:
            found = DriftCorrection(unknown, unknown, pair[1])
        else:
            found = drift.between(pair, at)
        return End(written, found, reach(written, found))

    return correct, unknown if drift is None else drift.moved(120.0)


def _in_visit(reading: LiveReading) -> bool:
    return reading.via == "visit" and bool(reading.room)


_WHY = {
    ("single", "annotate"): "a single reading: the correction and its interval belong beside it",
    ("pair", "void"): "read on two gauges, or on one that nobody named: the error stays in the difference",
    ("pair", "stands"): "one inflation, one gauge: the error cancels in the difference; the pressures need a note",
}


def _line(
    key: str,
    touched: tuple[Touched, ...],
    others: tuple[LiveReading, ...],
    visit_known: VisitKnown,
    otherwise: ClinicalPolicy,
) -> Line:
    first = touched[0].reading
    if _in_visit(first):
        policy, known = visit_known(first.room) or (otherwise, _NOTHING)
        taken = sorted((*others, *(each.reading for each in touched)), key=lambda reading: reading.seq)
        change = client_change(policy, taken, touched, known)
        suggested = "annotate" if change.changes == "no" else "recall"
        return Line(key, "visit", touched, others, suggested, _urgency(change), change)
    if len(touched) + len(others) == 1:
        return Line(f"reading:{first.seq}", "single", touched, others, "annotate", "note")
    if any(each.gauge != first.gauge for each in others):
        return Line(key, "pair", touched, others, "void", "pair")
    return Line(key, "pair", touched, others, "stands", "note")


def _urgency(change: ClientChange) -> Urgency:
    if change.changes == "no":
        return "note"
    if change.changes == "unknown" or change.gravest is None:
        return "today"
    step = change.gravest.step
    if step.verdict == "proceed" or step.within_days > _DAYS_OF_A_MONTH:
        return "later"
    return "month" if step.within_days else "today"


def _why_of_client(change: ClientChange) -> str:
    if change.changes == "no":
        return "category and action stay as they are wherever in the interval: a note is enough"
    if change.changes == "unknown":
        return f"{change.why}: decide by hand"
    if change.changes == "certainly":
        return "category or action changes in every case"
    if change.by_way.get("whole") == "certainly":
        return "category or action changes if the whole error was there"
    if change.whole is not None and change.written is not None and change.whole.says != change.written.says:
        return "category or action changes by the estimate if the whole error was there; its interval leaves room"
    return "category or action changes at the far end of the interval alone"


def _by_urgency(line: Line) -> tuple[int, int, int, str]:
    change = line.change
    days = change.gravest.step.within_days if change is not None and change.gravest is not None else 0
    certainty = 0 if change is None else ("certainly", "unknown", "perhaps", "no").index(change.changes)
    return list(URGENCIES).index(line.urgency), days, certainty, line.touched[0].reading.taken_at


def _open(ledger: Ledger, window: Window) -> int:
    body = {
        "gauge": window.gauge.id,
        "good_check": 0 if window.good is None else window.good.seq,
        "failed_check": window.bad.seq,
    }
    try:
        return ledger.append(Entry(Kind.RECALL_OPENED, body, ref=window.ref))[0].seq
    except AlreadyStoredError as known:
        return known.row.seq


def _decisions(ledger: Ledger, window: Window) -> tuple[int, dict[str, list[Decision]]]:
    opened = next((row.seq for row in ledger.rows(kinds=[Kind.RECALL_OPENED], ref=window.ref)), 0)
    found: dict[str, list[Decision]] = {}
    if opened:
        for row in ledger.rows(kinds=[Kind.RECALL_DECIDED], after=opened):
            body = row.body
            if body is not None and body["recall"] == opened:
                found.setdefault(body["line"], []).append(Decision(body["decision"], body["by"], row.at, body["why"]))
    return opened, found
