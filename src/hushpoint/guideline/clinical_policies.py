"""Clinical policies: a guideline's bands and protocol with a ladder of stop limits and a referral clock."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, cast

from hushpoint.errors import BadInputError
from hushpoint.guideline.bands import CLINICAL_IDS, Scheme, schemes
from hushpoint.guideline.protocols import FIGURE_WORDS, Protocol, protocols
from hushpoint.guideline.tables import MARKS, TableError, TableRow, package_text, table_rows

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

StepVerdict = Literal["emergency", "emergency_with_symptoms", "refer", "repeat", "proceed"]
_VERDICTS = ("emergency", "emergency_with_symptoms", "refer", "repeat", "proceed")
_COLUMNS = (
    "id", "policy", "step", "systolic_mmhg", "diastolic_mmhg", "reached", "verdict", "within_days", "to", "limits",
    "source", "provenance",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class LadderStep:
    """One limit: reached by either end at the limit [mmHg], or, with `strict`, only above it."""

    step: str
    systolic_mmhg: float
    diastolic_mmhg: float
    strict: bool
    verdict: StepVerdict
    within_days: int
    to: str
    limits: str
    source: str
    provenance: str

    def reached(self, systolic_mmhg: float, diastolic_mmhg: float) -> bool:
        """Say whether either end reaches the limit."""
        if self.strict:
            return systolic_mmhg > self.systolic_mmhg or diastolic_mmhg > self.diastolic_mmhg
        return systolic_mmhg >= self.systolic_mmhg or diastolic_mmhg >= self.diastolic_mmhg

    def words(self) -> str:
        """Return the limit in words, such as "step C, 160 or 100 and more"."""
        ends = f"{self.systolic_mmhg:g} systolic or {self.diastolic_mmhg:g} diastolic"
        return f"step {self.step} (above {ends})" if self.strict else f"step {self.step} ({ends}, or more)"


@dataclass(frozen=True, slots=True)
class ClinicalPolicy:
    """Bands, protocol and ladder of one guideline; the ladder runs from the gravest step to one that always holds."""

    id: str
    name: str
    dated: str
    scheme: Scheme
    protocol: Protocol
    ladder: tuple[LadderStep, ...]

    def from_memory(self) -> tuple[str, ...]:
        """Return, in words, the figures that were not checked against the printed text."""
        marked = ["bands"] if self.scheme.provenance == "FROM MEMORY" else []
        marked += [FIGURE_WORDS[what] for what, (_, mark) in self.protocol.sources.items() if mark == "FROM MEMORY"]
        marked += [f"step {step.step}" for step in self.ladder if step.provenance == "FROM MEMORY"]
        return tuple(dict.fromkeys(marked))


def read_ladders(text: str, table: str) -> Mapping[str, tuple[LadderStep, ...]]:
    """Return ladders by guideline from CSV text.

    Raises TableError where limits do not fall, a graver step has the longer clock or the milder verdict, or the last
    step does not hold for every pressure.
    """
    return ladders_of(table_rows(text, table, _COLUMNS), table)


def ladders_of(
    rows: Sequence[TableRow], table: str, known: tuple[str, ...] = CLINICAL_IDS
) -> Mapping[str, tuple[LadderStep, ...]]:
    """Return ladders by policy from rows, a step each, the gravest first; `known` are the ids allowed."""
    found: dict[str, list[LadderStep]] = {}
    for row in rows:
        verdict = cast("StepVerdict", row.one_of("verdict", _VERDICTS))
        step = LadderStep(
            step=row.text("step"),
            systolic_mmhg=row.number("systolic_mmhg", 0, 300),
            diastolic_mmhg=row.number("diastolic_mmhg", 0, 200),
            strict=row.one_of("reached", ("more", "at_least")) == "more",
            verdict=verdict,
            within_days=int(row.number("within_days", 0, 3650)),
            to=row.text("to") if verdict not in {"repeat", "proceed"} else "",
            limits=row.text("limits"),
            source=row.text("source"),
            provenance=row.one_of("provenance", MARKS),
        )
        found.setdefault(row.one_of("policy", known), []).append(step)
    for policy, ladder in found.items():
        for graver, milder in pairwise(ladder):
            if (
                graver.systolic_mmhg < milder.systolic_mmhg
                or graver.diastolic_mmhg < milder.diastolic_mmhg
                or (graver.verdict == milder.verdict and graver.within_days > milder.within_days)
                or _VERDICTS.index(graver.verdict) > _VERDICTS.index(milder.verdict)
            ):
                raise TableError(
                    f"{table}: {policy} step {milder.step} must be no graver and no sooner than {graver.step} before it"
                )
        last = ladder[-1]
        if (last.systolic_mmhg, last.diastolic_mmhg, last.strict, last.verdict) != (0, 0, False, "proceed"):
            raise TableError(f"{table}: {policy} step {last.step} must hold from 0/0 and say proceed")
    return MappingProxyType({policy: tuple(ladder) for policy, ladder in found.items()})


@cache
def clinical_policies() -> Mapping[str, ClinicalPolicy]:
    """Return the shipped clinical policies by id."""
    bands, readings = schemes(), protocols()
    ladders = read_ladders(package_text("clinical_ladder.csv"), "clinical_ladder.csv")
    return MappingProxyType(
        {
            name: ClinicalPolicy(
                name, readings[name].name, readings[name].dated, bands[name], readings[name], ladders[name]
            )
            for name in CLINICAL_IDS
        }
    )


def clinical_policy(policy_id: str) -> ClinicalPolicy:
    """Return one policy; raises BadInputError with the list where the id is unknown."""
    policies = clinical_policies()
    if policy_id not in policies:
        told = policy_id[:40].encode("unicode_escape").decode()
        raise BadInputError(f'policy "{told}": must be one of {", ".join(policies)}')
    return policies[policy_id]
