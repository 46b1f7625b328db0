"""What a fault in technique does to a measurement, each with its published range and source."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from hushpoint.guideline.tables import PROVENANCES, package_text, table_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

SYSTOLIC_EXTREMES_MMHG = (-23.6, 33.0)
"""Furthest systolic effects in the whole review (Kallioinen 2017, abstract; SEEN)."""
DIASTOLIC_EXTREMES_MMHG = (-14.0, 23.0)
"""Furthest diastolic effects in the whole review (Kallioinen 2017, abstract; SEEN)."""
HYDROSTATIC_MMHG_PER_CM = 0.776
"""rho g for blood of 1.055 g/mL (DERIVED: 1055 kg/m3 * 9.80665 m/s2 * 0.01 m / 133.322 Pa)."""
SETTLING_TAU_S = 120.0
"""With this time constant the effect of not resting fades (FROM MEMORY; 8 % is left after 5 minutes)."""

_COLUMNS = (
    "id", "what", "systolic_low_mmhg", "systolic_high_mmhg", "diastolic_low_mmhg", "diastolic_high_mmhg",
    "level_low_db", "level_high_db", "silent", "source", "provenance",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class TechniqueEffect:
    """One fault: ranges of what it adds to systolic and diastolic [mmHg] and to loudness [dB], or silence."""

    id: str
    what: str
    systolic_mmhg: tuple[float, float]
    diastolic_mmhg: tuple[float, float]
    level_db: tuple[float, float]
    silent: bool
    source: str
    provenance: str


def read_technique_effects(text: str, table: str) -> Mapping[str, TechniqueEffect]:
    """Return effects by id from CSV text; raises TableError, one line, outside the legal ranges."""
    effects = {}
    for row in table_rows(text, table, _COLUMNS):
        effect = TechniqueEffect(
            id=row.text("id"),
            what=row.text("what"),
            systolic_mmhg=row.pair("systolic_low_mmhg", "systolic_high_mmhg", *SYSTOLIC_EXTREMES_MMHG),
            diastolic_mmhg=row.pair("diastolic_low_mmhg", "diastolic_high_mmhg", *DIASTOLIC_EXTREMES_MMHG),
            level_db=row.pair("level_low_db", "level_high_db", -60, 0),
            silent=row.yes("silent"),
            source=row.text("source"),
            provenance=row.one_of("provenance", PROVENANCES),
        )
        effects[effect.id] = effect
    return MappingProxyType(effects)


@cache
def technique_effects() -> Mapping[str, TechniqueEffect]:
    """Return the shipped technique effects by id."""
    return read_technique_effects(package_text("technique_effects.csv"), "technique_effects.csv")
