"""Reading protocols: how many readings, how far apart, when one more, and how they make one value."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import combinations
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, cast

from hushpoint.guideline.bands import CLINICAL_IDS
from hushpoint.guideline.tables import MARKS, TableError, TableRow, package_text, table_rows

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

ValueRule = Literal["all", "last_two", "lower_of_last_two", "drop_first"]
Compare = Literal["none", "first_two", "any", "last_two"]
Pair = tuple[float, float]
"""Systolic and diastolic of one reading [mmHg]."""

_COLUMNS = ("id", "policy", "what", "value", "source", "provenance")
_NUMBERS = {
    "rest_s": (0, 3600), "readings": (1, 6), "interval_s": (0, 600), "extra_rest_s": (0, 3600), "extra_most": (0, 3),
    "cap_per_arm": (1, 10), "irregular_least": (1, 6), "arms_apart_mmhg": (1, 60),
}  # fmt: skip
_MAYBE = {
    "step_systolic_mmhg": (60, 250), "step_diastolic_mmhg": (30, 150), "apart_systolic_mmhg": (1, 60),
    "apart_diastolic_mmhg": (1, 60), "standing_fall_systolic_mmhg": (5, 60), "standing_fall_diastolic_mmhg": (5, 60),
}  # fmt: skip
_WORDS = {
    "value": ("all", "last_two", "lower_of_last_two", "drop_first"),
    "compare": ("none", "first_two", "any", "last_two"),
    "apart": ("none", "more", "at_least"),
    "first_visit_arms": ("both", "one"),
    "standing_after_s": ("none", "60", "180", "60 180"),
}
FIGURE_WORDS = {
    "name": "name", "dated": "date", "rest_s": "rest", "readings": "number of readings", "interval_s": "gap",
    "extra_rest_s": "rest before an extra reading", "extra_most": "number of extra readings",
    "cap_per_arm": "cap on each arm", "irregular_least": "readings where the pulse is irregular",
    "arms_apart_mmhg": "difference between arms", "step_systolic_mmhg": "when one is enough",
    "step_diastolic_mmhg": "when one is enough", "apart_systolic_mmhg": "differing readings",
    "apart_diastolic_mmhg": "differing readings", "value": "averaging", "compare": "differing readings",
    "apart": "differing readings", "first_visit_arms": "arms at the first visit",
    "standing_after_s": "standing readings", "standing_fall_systolic_mmhg": "standing readings",
    "standing_fall_diastolic_mmhg": "standing readings",
}  # fmt: skip
"""What each figure is called in what a person reads."""
PROTOCOL_FIGURES = ("name", "dated", *_NUMBERS, *_MAYBE, *_WORDS)


@dataclass(frozen=True, slots=True)
class Protocol:
    """How one guideline takes readings and makes one value of them.

    One reading is enough where it, and every other, is under `step_mmhg` (systolic, diastolic); None: never. Where
    the readings that `compare` names differ by `apart_mmhg` (or, with `apart_strict`, by more), one more follows
    after `extra_rest_s`, at most `extra_most` times. No arm is pumped up more than `cap_per_arm` times in a sitting.
    Where `standing_after_s` names moments, readings follow so long after standing up; a fall of `standing_fall_mmhg`
    (systolic, diastolic; None: that end has no limit) or more matters.
    """

    id: str
    name: str
    dated: str
    rest_s: float
    readings: int
    step_mmhg: Pair | None
    interval_s: float
    value: ValueRule
    compare: Compare
    apart_mmhg: Pair | None
    apart_strict: bool
    extra_rest_s: float
    extra_most: int
    cap_per_arm: int
    irregular_least: int
    both_arms_at_first: bool
    arms_apart_mmhg: float
    standing_after_s: tuple[int, ...]
    standing_fall_mmhg: tuple[float | None, float | None]
    sources: Mapping[str, tuple[str, str]]

    def written(self, what: str) -> str:
        """Return a figure as its row in the table writes it."""
        apart, step = self.apart_mmhg or (None, None), self.step_mmhg or (None, None)
        found = {
            "step_systolic_mmhg": step[0],
            "step_diastolic_mmhg": step[1],
            "apart_systolic_mmhg": apart[0],
            "apart_diastolic_mmhg": apart[1],
            "apart": None if self.apart_mmhg is None else "more" if self.apart_strict else "at_least",
            "first_visit_arms": "both" if self.both_arms_at_first else "one",
            "standing_after_s": " ".join(map(str, self.standing_after_s)) or None,
            "standing_fall_systolic_mmhg": self.standing_fall_mmhg[0],
            "standing_fall_diastolic_mmhg": self.standing_fall_mmhg[1],
        }
        value = found[what] if what in found else getattr(self, what)
        return "none" if value is None else f"{value:g}" if isinstance(value, int | float) else str(value)

    def asked(self, readings: Sequence[Pair], *, irregular: bool) -> int:
        """Return how many readings the protocol asks for before any extra one, given those there are."""
        stepped = self.step_mmhg is not None and not any(
            systolic >= self.step_mmhg[0] or diastolic >= self.step_mmhg[1] for systolic, diastolic in readings
        )
        base = 1 if stepped and readings else self.readings
        return max(base, self.irregular_least) if irregular else base

    def differing(self, readings: Sequence[Pair]) -> Pair | None:
        """Return how far the compared readings lie apart where that asks for one more, else None."""
        if self.apart_mmhg is None or len(readings) < 2:
            return None
        pairs = {
            "first_two": [(readings[0], readings[1])],
            "last_two": [(readings[-2], readings[-1])],
            "any": list(combinations(readings[: self.readings], 2)),
        }[self.compare]
        for ours, theirs in pairs:
            apart = (abs(ours[0] - theirs[0]), abs(ours[1] - theirs[1]))
            if any(
                by > limit or (by == limit and not self.apart_strict)
                for by, limit in zip(apart, self.apart_mmhg, strict=True)
            ):
                return apart
        return None

    def value_of(self, readings: Sequence[Pair], *, irregular: bool, first_missing: bool = False) -> tuple[Pair, str]:
        """Return the value [mmHg, unrounded] of at least one reading, and in words how it was made.

        `first_missing`: the first measurement gave no reading, so that leaving the first out leaves out none of these
        (the rule that reproduces the averages of NHANES 2009-2012).
        """
        used = self.used(readings, irregular=irregular, first_missing=first_missing)
        if len(readings) == 1:
            return readings[0], "the one reading there is"
        if irregular:
            return _mean(used), f"mean of all {len(readings)} readings, because the pulse is irregular"
        if len(used) == len(readings) and self.value in ("all", "drop_first"):
            return _mean(used), f"mean of all {len(readings)} readings"
        if self.value == "drop_first":
            return _mean(used), f"the first left out, mean of the other {len(used)}"
        if self.value == "last_two":
            return _mean(used), f"mean of the last two of {len(readings)} readings"
        lower = (min(pair[0] for pair in used), min(pair[1] for pair in used))
        return lower, f"the lower of the last two of {len(readings)} readings, each end by itself, not a mean"

    def used(self, readings: Sequence[Pair], *, irregular: bool, first_missing: bool = False) -> tuple[Pair, ...]:
        """Return those of `readings` (at least one) that go into the value."""
        if len(readings) == 1 or irregular or self.value == "all" or (self.value == "drop_first" and first_missing):
            return tuple(readings)
        return tuple(readings[1:] if self.value == "drop_first" else readings[-2:])

    def lower_taken(self, used: Sequence[Pair], *, irregular: bool) -> bool:
        """Say whether the value is the lower of the readings used, not their mean."""
        return self.value == "lower_of_last_two" and len(used) > 1 and not irregular


def _mean(readings: Sequence[Pair]) -> Pair:
    many = len(readings)
    return sum(pair[0] for pair in readings) / many, sum(pair[1] for pair in readings) / many


def read_protocols(text: str, table: str) -> Mapping[str, Protocol]:
    """Return protocols by guideline from CSV text of one figure a row; raises TableError, one line."""
    return protocols_of(table_rows(text, table, _COLUMNS), table)


def protocols_of(rows: Sequence[TableRow], table: str, known: tuple[str, ...] = CLINICAL_IDS) -> Mapping[str, Protocol]:
    """Return protocols by policy from rows of one figure each; `known` are the ids allowed. Raises TableError."""
    found: dict[str, dict[str, TableRow]] = {}
    for row in rows:
        policy, what = row.one_of("policy", known), row.one_of("what", PROTOCOL_FIGURES)
        if row.text("id") != f"{policy}.{what}":
            raise row.refuse("id", f"{policy}.{what}")
        found.setdefault(policy, {})[what] = row
    return MappingProxyType({policy: _protocol(policy, mine, table) for policy, mine in found.items()})


def _protocol(policy: str, rows: dict[str, TableRow], table: str) -> Protocol:
    for what in PROTOCOL_FIGURES:
        if what not in rows:
            raise TableError(
                f"{table}: no row {policy}.{what}, every guideline must hold {', '.join(PROTOCOL_FIGURES)}"
            )
    numbers = {what: rows[what].number("value", *limits) for what, limits in _NUMBERS.items()}
    words = {what: rows[what].one_of("value", allowed) for what, allowed in _WORDS.items()}
    apart = _pair(rows, "apart_systolic_mmhg", "apart_diastolic_mmhg")
    if (apart is None) != (words["compare"] == "none") or (apart is None) != (words["apart"] == "none"):
        raise rows["compare"].refuse("value", "none exactly where apart and its two limits are none")
    return Protocol(
        id=policy,
        name=rows["name"].text("value"),
        dated=rows["dated"].text("value"),
        rest_s=numbers["rest_s"],
        readings=int(numbers["readings"]),
        step_mmhg=_pair(rows, "step_systolic_mmhg", "step_diastolic_mmhg"),
        interval_s=numbers["interval_s"],
        value=cast("ValueRule", words["value"]),
        compare=cast("Compare", words["compare"]),
        apart_mmhg=apart,
        apart_strict=words["apart"] == "more",
        extra_rest_s=numbers["extra_rest_s"],
        extra_most=int(numbers["extra_most"]),
        cap_per_arm=int(numbers["cap_per_arm"]),
        irregular_least=int(numbers["irregular_least"]),
        both_arms_at_first=words["first_visit_arms"] == "both",
        arms_apart_mmhg=numbers["arms_apart_mmhg"],
        standing_after_s=() if words["standing_after_s"] == "none" else _seconds(words["standing_after_s"]),
        standing_fall_mmhg=(_maybe(rows, "standing_fall_systolic_mmhg"), _maybe(rows, "standing_fall_diastolic_mmhg")),
        sources=MappingProxyType(
            {what: (row.text("source"), row.one_of("provenance", MARKS)) for what, row in rows.items()}
        ),
    )


def _seconds(typed: str) -> tuple[int, ...]:
    return tuple(int(each) for each in typed.split())


def _maybe(rows: dict[str, TableRow], what: str) -> float | None:
    return None if rows[what].text("value") == "none" else rows[what].number("value", *_MAYBE[what])


def _pair(rows: dict[str, TableRow], systolic: str, diastolic: str) -> Pair | None:
    ends = (_maybe(rows, systolic), _maybe(rows, diastolic))
    if ends[0] is None or ends[1] is None:
        if ends != (None, None):
            raise rows[systolic].refuse("value", f"none exactly where {diastolic} is none")
        return None
    return ends[0], ends[1]


@cache
def protocols() -> Mapping[str, Protocol]:
    """Return the shipped protocols by guideline."""
    return read_protocols(package_text("clinical_protocols.csv"), "clinical_protocols.csv")
