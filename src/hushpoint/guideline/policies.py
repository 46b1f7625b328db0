"""Teaching policies: named, dated sets of choices a course measures by."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal, cast

from hushpoint.errors import BadInputError
from hushpoint.guideline.tables import PROVENANCES, package_text, table_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

Inflation = Literal["fixed", "palpated", "first_sound"]
EndPoint = Literal["last_sound", "first_silence"]

default_policy_id = "PALPATED_30"
"""The policy in force where a course has chosen none."""

_COLUMNS = (
    "id", "name", "dated", "inflation", "inflation_mmhg", "release_low_mmhg_per_s",
    "release_high_mmhg_per_s", "end_point", "arm", "rounding_mmhg", "palpation_asked",
    "wait_after_palpation_s", "wait_between_s", "source", "provenance",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class TeachingPolicy:
    """What a course asks of a measurement.

    `inflation_mmhg` is the target itself where `inflation` is fixed, else how far above the palpated value or
    the first sound to go. `wait_after_palpation_s` is the shortest wait with the cuff empty before pumping
    again; `wait_between_s` the shortest wait between two measurements on one arm.
    """

    id: str
    name: str
    dated: str
    inflation: Inflation
    inflation_mmhg: float
    release_mmhg_per_s: tuple[float, float]
    end_point: EndPoint
    arm: str
    rounding_mmhg: int
    palpation_asked: bool
    wait_after_palpation_s: float
    wait_between_s: float
    source: str
    provenance: str

    def to_json(self) -> dict[str, Any]:
        """Return every field by name, ready for JSON."""
        return {**asdict(self), "release_mmhg_per_s": list(self.release_mmhg_per_s)}


def read_teaching_policies(text: str, table: str) -> Mapping[str, TeachingPolicy]:
    """Return policies by id from CSV text; raises TableError, one line, outside the legal ranges."""
    policies = {}
    for row in table_rows(text, table, _COLUMNS):
        inflation = cast("Inflation", row.one_of("inflation", ("fixed", "palpated", "first_sound")))
        asked = row.yes("palpation_asked")
        if inflation == "palpated" and not asked:
            raise row.refuse("palpation_asked", "yes where the target is the palpated value")
        policy = TeachingPolicy(
            id=row.text("id"),
            name=row.text("name"),
            dated=row.text("dated"),
            inflation=inflation,
            inflation_mmhg=row.number("inflation_mmhg", *((100, 280) if inflation == "fixed" else (0, 60))),
            release_mmhg_per_s=row.pair("release_low_mmhg_per_s", "release_high_mmhg_per_s", 0.5, 10),
            end_point=cast("EndPoint", row.one_of("end_point", ("last_sound", "first_silence"))),
            arm=row.one_of("arm", ("either", "left", "right")),
            rounding_mmhg=int(row.number("rounding_mmhg", 1, 10)),
            palpation_asked=asked,
            wait_after_palpation_s=row.number("wait_after_palpation_s", 0, 300),
            wait_between_s=row.number("wait_between_s", 0, 600),
            source=row.text("source"),
            provenance=row.one_of("provenance", PROVENANCES),
        )
        policies[policy.id] = policy
    return MappingProxyType(policies)


@cache
def teaching_policies() -> Mapping[str, TeachingPolicy]:
    """Return the shipped teaching policies by id."""
    return read_teaching_policies(package_text("teaching_policies.csv"), "teaching_policies.csv")


def teaching_policy(policy_id: str) -> TeachingPolicy:
    """Return one policy; raises BadInputError with the list where the id is unknown."""
    policies = teaching_policies()
    if policy_id not in policies:
        raise BadInputError(f"policy {policy_id[:40]!r}: must be one of {', '.join(policies)}")
    return policies[policy_id]
