"""A learner's own results: what improved, what to do next, and what evidence there is so far.

Practice and evidence are told apart: readings on practice persons train, fair pairs and listening papers count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from hushpoint.desk import bench, pairs, papers, path
from hushpoint.desk.decisions import Decision, decisions_of
from hushpoint.practice.next_person import WORDS, Estimate, estimates

if TYPE_CHECKING:
    from hushpoint.ledger.records import Ledger

FEWEST = 6
"""Below so many judged readings nothing is said of a change (design choice: three against three)."""
MOST_COMPARED = 10
"""The first and the last of at most so many readings each are compared (design choice)."""
RATE_SLACK_MMHG_PER_S = 0.3
"""A stretch so far outside the asked rate is let pass, as in the judgement (design choice)."""
NEAR_MMHG, FAR_MMHG = 5, 10
"""Distances that live pairs are counted within (O'Brien 1991; SEEN)."""


LEAST_CHANGE = 1.0
"""Less than this, in mmHg or in percent of a release, is called alike: no gauge and no wrist is read finer."""


@dataclass(frozen=True, slots=True)
class Change:
    """One quantity in the first and in the last readings; `unit` follows the numbers, `better` is None where alike."""

    what: str
    count: int
    first: float
    last: float
    unit: str
    better: bool | None


@dataclass(frozen=True, slots=True)
class PaperTaken:
    """An attempt at a listening paper whose results are open."""

    title: str
    at: str
    verdict: str
    reasons: tuple[str, ...]
    counts: bool


@dataclass(frozen=True, slots=True)
class Results:
    """What the page shows. `kinds`: those met, the weakest first; `unmet`: in words; `decisions`: the newest first,
    one of "not yet" only once the talk about it was had.
    """

    readings: int
    changes: tuple[Change, ...]
    kinds: tuple[Estimate, ...]
    unmet: tuple[str, ...]
    next_acts: tuple[str, ...]
    fair_pairs: int
    pairs_near: int
    pairs_far: int
    papers: tuple[PaperTaken, ...]
    decisions: tuple[Decision, ...]


def results_of(ledger: Ledger, *, room: str, who: str, now: datetime) -> Results:
    """Return a learner's results as they may be seen now: what a set holds back is left out."""
    every = bench.own_readings(ledger, who)
    held = path.held_back(every, now)
    seen = [one for one in every if one.judgement is not None and one.measurement not in held]
    found = estimates(path.attempts_of(seen), now.timestamp() / path.DAY_S)
    met = tuple(one for one in found if one.readings)
    near, far, fair = _pairs(ledger, room, who)
    return Results(
        readings=len(seen),
        changes=_changes(seen),
        kinds=met,
        unmet=tuple(WORDS[one.kind] for one in found if not one.readings),
        next_acts=_next(seen, met),
        fair_pairs=fair,
        pairs_near=near,
        pairs_far=far,
        papers=tuple(_papers(ledger, room, who)) if room else (),
        decisions=tuple(_told(ledger, room, who)) if room else (),
    )


def _told(ledger: Ledger, room: str, who: str) -> list[Decision]:
    return [one for one in decisions_of(ledger, room, who)[::-1] if one.competent or one.now("feedback_on")]


def _changes(seen: Sequence[bench.OwnReading]) -> tuple[Change, ...]:
    if len(seen) < FEWEST:
        return ()
    count = min(MOST_COMPARED, len(seen) // 2)
    found = []
    for end in ("systolic", "diastolic"):
        first, last = (_off(part, end) for part in (seen[:count], seen[-count:]))
        if first is not None and last is not None:
            found.append(_change(f"your ear, {end}", count, first, last, "mmHg off on average", less_is_better=True))
    first, last = (_rate_share(part) for part in (seen[:count], seen[-count:]))
    if first is not None and last is not None:
        found.append(
            _change("your hand", count, first, last, "% of the release at the rate asked", less_is_better=False)
        )
    return tuple(found)


def _change(what: str, count: int, first: float, last: float, unit: str, *, less_is_better: bool) -> Change:
    first, last = round(first, 1), round(last, 1)
    better = None if abs(first - last) < LEAST_CHANGE else (last < first) == less_is_better
    return Change(what, count, first, last, unit, better)


def _off(readings: Sequence[bench.OwnReading], end: str) -> float | None:
    """Return the mean of the ear's absolute errors [mmHg], None where there are none."""
    errors = [_judged(one)["ear"][f"{end}_error_mmhg"] for one in readings]
    given = [abs(float(error)) for error in errors if error is not None]
    return sum(given) / len(given) if given else None


def _rate_share(readings: Sequence[bench.OwnReading]) -> float | None:
    """Return how much of the releases went at the rate asked [%], by stretches of pressure."""
    inside, total = 0.0, 0.0
    for one in readings:
        judged = _judged(one)
        slow, fast = judged["picture"]["asked_rate"]
        for stretch in judged["hand"]["segments"]:
            width = abs(stretch["from_mmhg"] - stretch["to_mmhg"])
            total += width
            if slow - RATE_SLACK_MMHG_PER_S <= stretch["rate_mmhg_per_s"] <= fast + RATE_SLACK_MMHG_PER_S:
                inside += width
    return 100 * inside / total if total else None


def _next(seen: Sequence[bench.OwnReading], met: Sequence[Estimate]) -> tuple[str, ...]:
    acts = []
    if seen:
        acts.append(str(_judged(seen[-1])["next"]).removeprefix("Next: "))
    if met:
        worst = met[0]
        acts.append(f"Most to gain: {WORDS[worst.kind]}, {worst.near} of {worst.readings} within 4 mmHg so far.")
    return tuple(acts)


def _pairs(ledger: Ledger, room: str, who: str) -> tuple[int, int, int]:
    """Return of the fair pairs how many lie within 5 and within 10 at both ends as sealed, and how many there are."""
    if not room:
        return 0, 0, 0
    mine = pairs.of_learner(ledger, room, who)
    both = [(pair.learner.counts, pair.reference.counts) for pair in mine if pair.fair]

    def within(mmhg: int) -> int:
        return sum(
            mine is not None
            and theirs is not None
            and all(a is not None and b is not None and abs(a - b) <= mmhg for a, b in zip(mine, theirs, strict=True))
            for mine, theirs in both
        )

    return within(NEAR_MMHG), within(FAR_MMHG), len(both)


def _papers(ledger: Ledger, room: str, who: str) -> list[PaperTaken]:
    found = []
    for paper in papers.papers_of(ledger, room):
        for attempt in paper.of(who):
            if paper.results_shown(attempt):
                told, begun = papers.result(paper, attempt), attempt.begun_at
                reasons = tuple(str(line) for line in told["reasons"])
                found.append(PaperTaken(paper.title, begun, str(told["verdict"]), reasons, attempt.counts))
    return sorted(found, key=lambda one: one.at)


def _judged(one: bench.OwnReading) -> Any:
    return one.judgement
