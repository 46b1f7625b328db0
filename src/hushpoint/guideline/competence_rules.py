"""Pass rules for observers, published ones and an institution's own, each named, dated and with its source."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, cast

from hushpoint.errors import BadInputError
from hushpoint.guideline.tables import PROVENANCES, TableRow, package_text, table_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

Ends = Literal["each", "pooled"]

_COLUMNS = (
    "id", "name", "dated", "compared", "criteria", "set_size", "ends", "clients_least", "renew_months", "source",
    "provenance", "note",
)  # fmt: skip
_ID = re.compile(r"[A-Z][A-Z0-9_]{1,39}", re.ASCII)
_CRITERION = re.compile(r"within (\d{1,2}): (?:(\d{1,3}) of (\d{1,3})|(\d{1,3}) %)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Criterion:
    """At least `share` of the answers lie within `within_mmhg` of the reference, the distance included."""

    within_mmhg: int
    share: Fraction
    text: str

    def needed(self, n: int) -> int:
        """Return how many of `n` answers must lie within, exactly."""
        return -(-self.share.numerator * n // self.share.denominator)


@dataclass(frozen=True, slots=True)
class PassRule:
    """What a learner's answers must show.

    `set_size` is the fewest answers it can be judged on (of each end where `ends` is each, of both together where
    it is pooled); `fixed_set` tells that the source speaks of a set of just that size. `criteria` stand nearest
    distance first. `renew_months` is how long a sign-off stays current.
    """

    id: str
    name: str
    dated: str
    compared: str
    criteria: tuple[Criterion, ...]
    set_size: int
    fixed_set: bool
    ends: Ends
    clients_least: int
    renew_months: int
    source: str
    provenance: str
    note: str

    @property
    def text(self) -> str:
        """The rule in one line."""
        joined = " and ".join(f"{criterion.text} mmHg" for criterion in self.criteria)
        ends = "systolic and diastolic each" if self.ends == "each" else "systolic and diastolic together"
        return f"{joined} ({ends}, at least {self.set_size} answers)"


def read_competence_rules(text: str, table: str) -> Mapping[str, PassRule]:
    """Return rules by id from CSV text; raises TableError, one line, outside the legal ranges."""
    rules = {}
    for row in table_rows(text, table, _COLUMNS):
        set_size = _whole(row, "set_size", 1, 1000)
        if _ID.fullmatch(row.text("id")) is None:
            raise row.refuse("id", "2 to 40 capitals, digits and _, beginning with a capital")
        criteria, fixed = _criteria(row, set_size)
        rule = PassRule(
            id=row.text("id"),
            name=row.text("name"),
            dated=row.text("dated"),
            compared=row.text("compared"),
            criteria=criteria,
            set_size=set_size,
            fixed_set=fixed,
            ends=cast("Ends", row.one_of("ends", ("each", "pooled"))),
            clients_least=_whole(row, "clients_least", 0, 1000),
            renew_months=_whole(row, "renew_months", 1, 60),
            source=row.text("source"),
            provenance=row.one_of("provenance", (*PROVENANCES, "CHOICE")),
            note=row.text("note"),
        )
        rules[rule.id] = rule
    return MappingProxyType(rules)


def _whole(row: TableRow, column: str, low: int, high: int) -> int:
    value = row.number(column, low, high)
    if not value.is_integer():
        raise row.refuse(column, f"a whole number from {low} to {high}")
    return int(value)


def _criteria(row: TableRow, set_size: int) -> tuple[tuple[Criterion, ...], bool]:
    legal = "'within MMHG: COUNT of SET' or 'within MMHG: SHARE %', nearest first, parted by '; '"
    found, fixed = [], False
    for part in row.text("criteria").split("; "):
        match = _CRITERION.fullmatch(part)
        if match is None:
            raise row.refuse("criteria", legal)
        within, count, of, percent = match.groups()
        if count is not None:
            if int(of) != set_size or int(count) > int(of):
                raise row.refuse("criteria", f"counts of the set of {set_size}")
            share, text, fixed = Fraction(int(count), int(of)), f"{count} of {of} within {within}", True
        else:
            share, text = Fraction(int(percent), 100), f"at least {percent} % within {within}"
        if not 0 < share <= 1:
            raise row.refuse("criteria", "shares above 0 and up to 100 %")
        found.append(Criterion(int(within), share, text))
    if any(a.within_mmhg >= b.within_mmhg or a.share > b.share for a, b in itertools.pairwise(found)):
        raise row.refuse("criteria", legal)
    if len(found) > 2:
        raise row.refuse("criteria", "one or two distances")
    return tuple(found), fixed


@cache
def competence_rules() -> Mapping[str, PassRule]:
    """Return the shipped pass rules by id."""
    return read_competence_rules(package_text("competence_rules.csv"), "competence_rules.csv")


def competence_rule(rule_id: str, own: Mapping[str, PassRule] | None = None) -> PassRule:
    """Return one rule, shipped or `own`, capitals or not; raises BadInputError with the list where it is unknown."""
    rules = {**competence_rules(), **(own or {})}
    rule = rules.get(rule_id.strip().upper().replace("-", "_"))
    if rule is None:
        cut = rule_id[:40].encode("unicode_escape").decode()
        raise BadInputError(f'--rule "{cut}": must be one of {", ".join(rules)}')
    return rule
