"""What happened today that moves a pressure, how far by what was published, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from hushpoint.guideline.tables import PROVENANCES, package_text, table_rows
from hushpoint.guideline.technique import DIASTOLIC_EXTREMES_MMHG, SYSTOLIC_EXTREMES_MMHG

if TYPE_CHECKING:
    from collections.abc import Mapping

_COLUMNS = (
    "id", "what", "systolic_low_mmhg", "systolic_high_mmhg", "diastolic_low_mmhg", "diastolic_high_mmhg", "advice",
    "source", "provenance",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class TodayEffect:
    """One habit or state of today, and its published range on each end [mmHg]; None where no figure was found."""

    id: str
    what: str
    systolic_mmhg: tuple[float, float] | None
    diastolic_mmhg: tuple[float, float] | None
    advice: str
    source: str
    provenance: str

    def words(self) -> str:
        """Return what it may add, such as "+3 to +14 systolic, +2.1 to +13 diastolic"."""
        if self.systolic_mmhg is None or self.diastolic_mmhg is None:
            return "no figure found"
        return f"{_range(self.systolic_mmhg)} systolic, {_range(self.diastolic_mmhg)} diastolic"


def _range(ends: tuple[float, float]) -> str:
    return f"{ends[0]:+g}" if ends[0] == ends[1] else f"{ends[0]:+g} to {ends[1]:+g}"


@cache
def today_effects() -> Mapping[str, TodayEffect]:
    """Return the shipped effects by id; raises TableError where the table is wrong."""
    found = {}
    for row in table_rows(package_text("today_effects.csv"), "today_effects.csv", _COLUMNS):
        known = row.optional_number("systolic_low_mmhg", *SYSTOLIC_EXTREMES_MMHG) is not None
        ends = (
            row.pair("systolic_low_mmhg", "systolic_high_mmhg", *SYSTOLIC_EXTREMES_MMHG) if known else None,
            row.pair("diastolic_low_mmhg", "diastolic_high_mmhg", *DIASTOLIC_EXTREMES_MMHG) if known else None,
        )
        told = (row.text("advice"), row.text("source"), row.one_of("provenance", PROVENANCES))
        found[row.text("id")] = TodayEffect(row.text("id"), row.text("what"), *ends, *told)
    return MappingProxyType(found)
