"""Which cuff fits which arm."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from hushpoint.errors import BadInputError
from hushpoint.guideline.tables import PROVENANCES, package_text, table_rows

_COLUMNS = (
    "id", "label", "arm_from_cm", "arm_to_cm", "bladder_width_cm", "bladder_length_cm", "source",
    "provenance",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class CuffSize:
    """A bladder and the mid-arm circumferences it is for; whole centimetres, both ends belong to it."""

    id: str
    label: str
    arm_from_cm: int
    arm_to_cm: int
    bladder_width_cm: float
    bladder_length_cm: float
    source: str
    provenance: str


def read_cuff_sizes(text: str, table: str) -> tuple[CuffSize, ...]:
    """Return cuff sizes, small to large; raises TableError where sizes overlap or leave a hole."""
    sizes: list[CuffSize] = []
    for row in table_rows(text, table, _COLUMNS):
        low, high = row.pair("arm_from_cm", "arm_to_cm", 5, 80)
        if sizes and low != sizes[-1].arm_to_cm + 1:
            raise row.refuse("arm_from_cm", f"{sizes[-1].arm_to_cm + 1}, where the size before leaves off")
        if not low.is_integer() or not high.is_integer():
            raise row.refuse("arm_from_cm", "whole centimetres")
        size = CuffSize(
            id=row.text("id"),
            label=row.text("label"),
            arm_from_cm=int(low),
            arm_to_cm=int(high),
            bladder_width_cm=row.number("bladder_width_cm", 2, 30),
            bladder_length_cm=row.number("bladder_length_cm", 4, 60),
            source=row.text("source"),
            provenance=row.one_of("provenance", PROVENANCES),
        )
        sizes.append(size)
    return tuple(sizes)


@cache
def cuff_sizes() -> tuple[CuffSize, ...]:
    """Return the shipped cuff sizes, small to large (AHA 2005)."""
    return read_cuff_sizes(package_text("cuff_sizes.csv"), "cuff_sizes.csv")


def cuff_for(arm_cm: float) -> CuffSize:
    """Return the size for a mid-arm circumference [cm], rounded half up to the whole centimetre.

    Raises BadInputError outside the table: such an arm has no adult cuff here: ask a trained clinician.
    """
    sizes = cuff_sizes()
    low, high = sizes[0].arm_from_cm, sizes[-1].arm_to_cm
    if math.isfinite(arm_cm):
        whole = math.floor(arm_cm + 0.5)
        for size in sizes:
            if size.arm_from_cm <= whole <= size.arm_to_cm:
                return size
    raise BadInputError(f"arm {arm_cm} cm: must be {low} to {high} cm; ask a trained clinician about other arms")
