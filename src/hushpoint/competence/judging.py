"""A learner's answers against a reference, by a named rule: what the evidence shows and what is missing.

The rules are data (guideline/data/competence_rules.csv, each with its source). Counts are exact. The verdict is advice
to the person who signs; nothing is decided here.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from hushpoint.competence.verdict import Competent, NotYet, TooFew, Verdict, counted
from hushpoint.guideline.competence_rules import Criterion, PassRule

End = Literal["systolic", "diastolic"]

_Choice = tuple[tuple[int, ...], tuple[float, ...]]
"""What a constant hits at each distance, and the constant for each end."""

MISSED_MMHG = 1000.0
"""Stands for an answer left empty where the reference wrote one: outside every distance."""


class Written(Protocol):
    """What somebody wrote for one measurement [mmHg]; an end is None where it was not heard. A PairedReading is one."""

    @property
    def systolic_mmhg(self) -> float | None:
        """The systolic."""

    @property
    def diastolic_mmhg(self) -> float | None:
        """The diastolic."""

    @property
    def client(self) -> str:
        """The code of the person measured, "" where nobody said."""
        ...


@dataclass(frozen=True, slots=True)
class Answer:
    """What somebody wrote for one measurement, where either end may be missing [mmHg]."""

    systolic_mmhg: float | None
    diastolic_mmhg: float | None
    client: str = ""


@dataclass(frozen=True, slots=True)
class Answers:
    """One end of the pairs [mmHg]: what the reference wrote and how far off the learner's answer was.

    An answer left empty where the reference wrote one has the error MISSED_MMHG.
    """

    end: End
    references_mmhg: tuple[float, ...]
    errors_mmhg: tuple[float, ...]

    def within(self, distance_mmhg: float) -> int:
        """Return how many answers lie within the distance, the distance included."""
        return sum(abs(error) <= distance_mmhg for error in self.errors_mmhg)


@dataclass(frozen=True, slots=True)
class Count:
    """One criterion on one end, or on both together: `found` of `n` answers within, `needed` asked."""

    end: str
    within_mmhg: int
    found: int
    n: int
    needed: int

    @property
    def met(self) -> bool:
        """Whether enough answers lie within."""
        return self.found >= self.needed


@dataclass(frozen=True, slots=True)
class Coverage:
    """The pressures that the reference wrote [mmHg]: the range, and how many are high."""

    systolic_mmhg: tuple[float, float]
    diastolic_mmhg: tuple[float, float] | None
    at_or_above_140: int
    at_or_above_160: int


@dataclass(frozen=True, slots=True)
class Variety:
    """What an institution asks the readings to hold besides the rule: how many of each at least."""

    at_or_above_140: int = 1
    at_or_above_160: int = 1
    gap: int = 0
    irregular: int = 0
    faint: int = 0


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict with everything it rests on."""

    rule: PassRule
    verdict: Verdict
    counts: tuple[Count, ...]
    coverage: Coverage
    notes: tuple[str, ...]
    answers: tuple[Answers, ...]
    """What was counted, end by end."""


def answers_of(both: Sequence[tuple[Written, Written]]) -> tuple[tuple[Answers, ...], tuple[str, ...]]:
    """Return the (learner, reference) pairs as answers by end, and notes about what was left out.

    An end that the reference did not hear has no answer and is not counted; one that only the learner left empty counts
    as not within. The diastolic end is there only where the reference wrote at least one.
    """
    found: list[Answers] = []
    notes: list[str] = []
    ends: tuple[tuple[End, list[tuple[float | None, float | None]]], ...] = (
        ("systolic", [(mine.systolic_mmhg, reference.systolic_mmhg) for mine, reference in both]),
        ("diastolic", [(mine.diastolic_mmhg, reference.diastolic_mmhg) for mine, reference in both]),
    )
    for end, written in ends:
        heard = [(mine, theirs) for mine, theirs in written if theirs is not None]
        if end == "diastolic" and not heard:
            notes.append("the reference wrote no diastolic: this speaks of systolic alone")
            break
        empty = sum(mine is None for mine, _ in heard)
        if empty:
            notes.append(f"no {end} written where the reference wrote one: {empty}; each counts as not within")
        if len(heard) < len(both):
            notes.append(f"pairs where the reference wrote no {end}, left out there: {len(both) - len(heard)}")
        errors = tuple(MISSED_MMHG if mine is None else round(mine - theirs, 6) for mine, theirs in heard)
        found.append(Answers(end, tuple(theirs for _, theirs in heard), errors))
    return tuple(found), tuple(notes)


def judge(
    rule: PassRule,
    both: Sequence[tuple[Written, Written]],
    variety: Variety | None = None,
    kinds: Mapping[str, int] | None = None,
) -> Judgement:
    """Judge (learner, reference) pairs of the same measurements; the reference heard at least one systolic.

    `variety` is what the institution asks besides; `kinds` counts the measurements with a `gap`, an `irregular` pulse
    or a `faint` arm, which a readings file does not tell.
    """
    answers, notes = answers_of(both)
    if not answers[0].references_mmhg:
        raise ValueError("judge needs at least one pair whose reference wrote a systolic")
    counts = _counts(rule, answers)
    coverage = _coverage(answers)
    missing = _sizes_missing(rule, answers)
    if rule.clients_least:
        clients = {reference.client for _, reference in both if reference.client}
        if not clients:
            notes += (f"no client codes in the file: that {rule.clients_least} people were measured is not shown",)
        elif len(clients) < rule.clients_least:
            missing += (
                f"{counted(rule.clients_least - len(clients), 'more person', 'more people')} to be measured: "
                f"{len(clients)} of {rule.clients_least}",
            )
    if variety is not None:
        missing += variety_missing(variety, coverage, kinds or {})
    elif not coverage.at_or_above_160:
        notes += ("no reading at or above 160: the published rule does not ask for one, your own may (--variety)",)
    unmet = tuple(count for count in counts if not count.met)
    reasons = tuple(_told(count, rule) for count in counts)
    verdict: Verdict
    if unmet and not (missing and _can_still_be_met(rule, answers)):
        verdict = NotYet(reasons, _would_show(rule, answers, unmet) + missing)
    elif missing:
        verdict = TooFew(reasons, missing)
    elif steady := constant_that_passes(rule, answers):
        written = "/".join(f"{value:g}" for value in steady)
        verdict = NotYet(
            reasons,
            (
                f"these measurements are so alike that writing {written} every time would meet the rule too: "
                "readings further apart are missing, such as one at or above 140 and one at or above 160",
            ),
        )
    else:
        verdict = Competent(reasons)
    return Judgement(rule, verdict, counts, coverage, notes, answers)


def _counts(rule: PassRule, answers: Sequence[Answers]) -> tuple[Count, ...]:
    if rule.ends == "pooled":
        n = sum(len(end.errors_mmhg) for end in answers)
        name = " and ".join(end.end for end in answers)
        return tuple(
            Count(name, c.within_mmhg, sum(end.within(c.within_mmhg) for end in answers), n, c.needed(n))
            for c in rule.criteria
        )
    return tuple(
        Count(end.end, c.within_mmhg, end.within(c.within_mmhg), len(end.errors_mmhg), c.needed(len(end.errors_mmhg)))
        for end in answers
        for c in rule.criteria
    )


def _told(count: Count, rule: PassRule) -> str:
    seen = f"{count.end}: {count.found} of {count.n} within {count.within_mmhg} mmHg"
    if count.n >= rule.set_size:
        return f"{seen}, {count.needed} asked"
    full = next(c.needed(rule.set_size) for c in rule.criteria if c.within_mmhg == count.within_mmhg)
    return f"{seen} so far, {full} of {rule.set_size} asked"


def _coverage(answers: Sequence[Answers]) -> Coverage:
    upper = answers[0].references_mmhg
    lower = answers[1].references_mmhg if len(answers) > 1 else None
    return Coverage(
        (min(upper), max(upper)),
        None if lower is None else (min(lower), max(lower)),
        sum(value >= 140 for value in upper),
        sum(value >= 160 for value in upper),
    )


def _sizes_missing(rule: PassRule, answers: Sequence[Answers]) -> tuple[str, ...]:
    """What is short of the set. Pooled: half of the set of each end where both are written."""
    asked = rule.set_size // 2 if rule.ends == "pooled" and len(answers) > 1 else rule.set_size
    return tuple(
        f"{counted(asked - len(end.errors_mmhg), f'more {end.end} answer')}: {len(end.errors_mmhg)} of {asked}"
        for end in answers
        if len(end.errors_mmhg) < asked
    )


def variety_missing(variety: Variety, coverage: Coverage, kinds: Mapping[str, int]) -> tuple[str, ...]:
    """Return in words what the readings lack of the variety asked."""
    asked = (
        (variety.at_or_above_140, coverage.at_or_above_140, "at or above 140"),
        (variety.at_or_above_160, coverage.at_or_above_160, "at or above 160"),
        (variety.gap, kinds.get("gap", 0), "with a silent gap"),
        (variety.irregular, kinds.get("irregular", 0), "with an irregular pulse"),
        (variety.faint, kinds.get("faint", 0), "on a faint arm"),
    )
    return tuple(
        f"{counted(least - have, 'reading')} {what} {'is' if least - have == 1 else 'are'} missing"
        for least, have, what in asked
        if have < least
    )


def _groups(rule: PassRule, answers: Sequence[Answers]) -> tuple[tuple[Answers, ...], ...]:
    return (tuple(answers),) if rule.ends == "pooled" else tuple((end,) for end in answers)


def _found(group: Sequence[Answers], criterion: Criterion) -> tuple[int, int]:
    return (
        sum(end.within(criterion.within_mmhg) for end in group),
        sum(len(end.errors_mmhg) for end in group),
    )


def _can_still_be_met(rule: PassRule, answers: Sequence[Answers]) -> bool:
    """Whether clean answers up to the full set would still meet the rule."""
    for group in _groups(rule, answers):
        for criterion in rule.criteria:
            found, n = _found(group, criterion)
            full = max(n, rule.set_size)
            if found + full - n < criterion.needed(full):
                return False
    return True


def _would_show(rule: PassRule, answers: Sequence[Answers], unmet: Sequence[Count]) -> tuple[str, ...]:
    short = tuple(
        f"{count.end}: {counted(count.needed - count.found, 'more answer')} within {count.within_mmhg} mmHg "
        f"of {count.n}"
        for count in unmet
    )
    if rule.fixed_set:
        return (*short, f"a new set of {rule.set_size} answers, on other measurements")
    more = clean_needed(rule, answers)
    if more is None:
        return (*short, f"new pairs, at least {rule.set_size}, all within {rule.criteria[-1].within_mmhg} mmHg")
    return (*short, f"{counted(more, 'more clean reading')} would show it")


def clean_needed(rule: PassRule, answers: Sequence[Answers]) -> int | None:
    """Return how many further answers of each end, all right, would meet the rule; None where none would."""
    most = 0
    for group in _groups(rule, answers):
        for criterion in rule.criteria:
            found, n = _found(group, criterion)
            if criterion.share == 1:
                if found < n:
                    return None
                needed = 0
            else:
                # found + k >= share (n + k), solved for k without rounding.
                short = criterion.share * n - found
                needed = max(0, -(-short // (1 - criterion.share)))
            most = max(most, -(-int(needed) // len(group)), -(-(rule.set_size - n) // len(group)))
    return most


def constant_that_passes(rule: PassRule, answers: Sequence[Answers]) -> tuple[float, ...] | None:
    """Return values that meet the rule when written every time, one for each end, or None.

    Only then could someone who writes the class mean be taken for someone who hears: the readings are too alike.
    Exact: what a constant hits changes only where a reference stands at a distance of the rule, so those are tried.
    """
    choices: list[_Choice] = [((0,) * len(rule.criteria), ())]
    n = 0
    for end in answers:
        own = _best_constants(rule, end)
        size = len(end.references_mmhg)
        if rule.ends == "each":
            own = [choice for choice in own if _meets(rule, choice[0], size)][:1]
        choices = [
            (tuple(a + b for a, b in zip(total, hits, strict=True)), values + value)
            for total, values in choices
            for hits, value in own
        ]
        n += size
    if rule.ends == "pooled":
        choices = [choice for choice in choices if _meets(rule, choice[0], n)]
    return choices[0][1] if choices else None


def _meets(rule: PassRule, hits: Sequence[int], n: int) -> bool:
    return all(hit >= criterion.needed(n) for hit, criterion in zip(hits, rule.criteria, strict=True))


def _best_constants(rule: PassRule, end: Answers) -> list[_Choice]:
    """Constants no other beats at every distance, with how many references each hits at each distance."""
    ordered = sorted(end.references_mmhg)
    distances = [criterion.within_mmhg for criterion in rule.criteria]
    tried: dict[tuple[int, ...], float] = {}
    for value in sorted({reference + sign * d for reference in ordered for d in distances for sign in (-1, 0, 1)}):
        hits = tuple(bisect_right(ordered, value + d) - bisect_left(ordered, value - d) for d in distances)
        if hits not in tried or abs(value - ordered[len(ordered) // 2]) < abs(tried[hits] - ordered[len(ordered) // 2]):
            tried[hits] = value
    best: list[_Choice] = []
    for hits in sorted(tried, reverse=True):
        # Nearest distance first, so an earlier one beats this one unless it hits more at the last distance.
        if not best or hits[-1] > best[-1][0][-1]:
            best.append((hits, (tried[hits],)))
    return best
