"""The steps of a measurement that an assessor marks, each with why it matters and its source.

Which steps are critical is DERIVED (from what leaving one out does to the client or the reading); a course may choose
otherwise in its own file of the same form.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from hushpoint.guideline.tables import PROVENANCES, package_text, table_rows

_COLUMNS = ("id", "number", "step", "critical", "why", "source", "provenance", "moment", "short")
MOMENTS = ("before", "place", "feel", "listen", "after")
"""The five screens of a sheet on a phone, in the order of a measurement."""


@dataclass(frozen=True, slots=True)
class TechniqueStep:
    """One step, in the order of a measurement; `why` tells what leaving it out does (pressures in mmHg).

    `moment` is one of MOMENTS, `short` the step in the few words that fit a phone's row.
    """

    id: str
    number: int
    step: str
    critical: bool
    why: str
    source: str
    provenance: str
    moment: str
    short: str


def read_technique_steps(text: str, table: str) -> tuple[TechniqueStep, ...]:
    """Return steps in order from CSV text; raises TableError, one line, for a wrong cell or a gap in the numbers."""
    steps = []
    for expected, row in enumerate(table_rows(text, table, _COLUMNS), start=1):
        if row.number("number", 1, 200) != expected:
            raise row.refuse("number", f"{expected}, the next in order")
        steps.append(
            TechniqueStep(
                id=row.text("id"),
                number=expected,
                step=row.text("step"),
                critical=row.yes("critical"),
                why=row.text("why"),
                source=row.text("source"),
                provenance=row.one_of("provenance", PROVENANCES),
                moment=row.one_of("moment", MOMENTS),
                short=row.text("short"),
            )
        )
    return tuple(steps)


@cache
def technique_steps() -> tuple[TechniqueStep, ...]:
    """Return the shipped steps in order."""
    return read_technique_steps(package_text("technique_steps.csv"), "technique_steps.csv")
