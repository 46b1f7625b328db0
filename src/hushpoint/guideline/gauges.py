"""What a gauge, its bulb and its valve are held to: named limits, each with its source and whether it was seen."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from hushpoint.errors import BadInputError
from hushpoint.guideline.tables import PROVENANCES, TableError, package_text, table_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

DEFAULT_RULE = "new"
"""The strictest shipped rule: what the remembered standard and the calibration sheet that was seen agree on."""
LOCAL_LIMITS_MMHG = (1.0, 6.0)
"""A workplace's own limit on the error may be set from 1 to 6 mmHg (CHOICE)."""
RULE_NAMES: Mapping[str, str] = MappingProxyType(
    {"new": "new or repaired", "in_use": "in use", "local": "the workplace's own"}
)

_COLUMNS = ("id", "rule", "what", "limit", "unit", "source", "provenance")
_BY_RULE = ("error", "zero", "hysteresis", "leak")
_FOR_ANY = ("exhaust_from", "exhaust_to", "exhaust", "valve_slowest", "valve_fastest", "scale_interval")
_STEP = re.compile(r"step_[1-9][0-9]*", re.ASCII)
_LOCAL = re.compile(r"local=([0-9]{1,2}(?:\.[0-9]{1,3})?)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit with its unit, where it comes from and how it came here (SEEN, FROM MEMORY, DERIVED or LOCAL)."""

    value: float
    unit: str
    source: str
    provenance: str

    def words(self) -> str:
        """Return the limit with its source, saying so where it was not checked against the printed text."""
        unseen = "; from memory, not checked against the printed text" if self.provenance == "FROM MEMORY" else ""
        return f"{self.value:g} {self.unit} ({self.source}{unseen})"


@dataclass(frozen=True, slots=True)
class GaugeRule:
    """A named set of limits: error at each point, zero, hysteresis [mmHg] and leak [mmHg/min]."""

    id: str
    name: str
    error: Limit
    zero: Limit
    hysteresis: Limit
    leak: Limit


@dataclass(frozen=True, slots=True)
class GaugeTests:
    """What holds under every rule: rapid exhaust, release valve, scale interval and the steps of a check [mmHg]."""

    exhaust_from: Limit
    exhaust_to: Limit
    exhaust: Limit
    valve_slowest: Limit
    valve_fastest: Limit
    scale_interval: Limit
    steps: tuple[Limit, ...]


def read_gauge_limits(text: str, table: str) -> tuple[Mapping[str, GaugeRule], GaugeTests]:
    """Return rules by id, and what holds under all; raises TableError for a wrong, doubled or missing limit."""
    by_rule: dict[str, dict[str, Limit]] = {}
    for row in table_rows(text, table, _COLUMNS):
        rule, what = row.one_of("rule", (*RULE_NAMES, "any")), row.text("what")
        known = what in _FOR_ANY or _STEP.fullmatch(what) if rule == "any" else what in _BY_RULE
        if not known or row.text("id") != f"{rule}.{what}":
            raise row.refuse("what", f"one of {', '.join(_FOR_ANY if rule == 'any' else _BY_RULE)}, with id RULE.WHAT")
        by_rule.setdefault(rule, {})[what] = Limit(
            value=row.number("limit", 0, 300),
            unit=row.text("unit"),
            source=row.text("source"),
            provenance=row.one_of("provenance", PROVENANCES),
        )
    for rule, asked in ((name, _FOR_ANY if name == "any" else _BY_RULE) for name in (*RULE_NAMES, "any")):
        missing = [what for what in asked if what not in by_rule.get(rule, {})]
        if missing:
            raise TableError(f"{table}: no row {rule}.{missing[0]}, every rule must hold {', '.join(asked)}")
    any_rule = by_rule.pop("any")
    steps = tuple(limit for what, limit in any_rule.items() if _STEP.fullmatch(what))
    rules = {rule: GaugeRule(id=rule, name=RULE_NAMES[rule], **limits) for rule, limits in by_rule.items()}
    return MappingProxyType(rules), GaugeTests(**{what: any_rule[what] for what in _FOR_ANY}, steps=steps)


@cache
def _shipped() -> tuple[Mapping[str, GaugeRule], GaugeTests]:
    return read_gauge_limits(package_text("gauge_limits.csv"), "gauge_limits.csv")


def gauge_rules() -> Mapping[str, GaugeRule]:
    """Return the shipped rules by id."""
    return _shipped()[0]


def gauge_tests() -> GaugeTests:
    """Return what holds under every rule."""
    return _shipped()[1]


def gauge_rule(named: str = DEFAULT_RULE) -> GaugeRule:
    """Return a rule by id; `local=2.5` is the workplace's own rule with that limit on the error and zero [mmHg].

    Raises BadInputError with the list where the name is unknown or the limit out of range.
    """
    rules = gauge_rules()
    if named in rules:
        return rules[named]
    low, high = LOCAL_LIMITS_MMHG
    typed = _LOCAL.fullmatch(named)
    own = float(typed[1]) if typed else math.nan
    if not low <= own <= high:
        raise BadInputError(
            f"rule {named[:40]!r}: must be {', '.join(rules)} or local=LIMIT from {low:g} to {high:g} mmHg"
        )
    limit = Limit(own, "mmHg", "set by the workplace", "LOCAL")
    local = rules["local"]
    return GaugeRule(local.id, local.name, error=limit, zero=limit, hysteresis=local.hysteresis, leak=local.leak)
