"""Bands of office blood pressure, scheme by scheme: which one a pressure falls in, and how far the next edge is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING

from hushpoint.guideline.tables import MARKS, TableError, TableRow, package_text, table_rows

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

CLINICAL_IDS = (
    "ACC_AHA_2017", "AHA_ACC_2025", "ESC_2024", "ESH_2023", "ISH_2020", "NICE_NG136", "NHFA_2016", "AAP_2017",
)  # fmt: skip
"""The guidelines that bands, protocols and ladders are shipped for."""

ISOLATED_SYSTOLIC_MMHG = 140
ISOLATED_DIASTOLIC_MMHG = 90
"""Isolated forms: systolic from 140 with diastolic under 90, or the other way (ESC/ESH 2018; Brazilian chart 2020)."""

_COLUMNS = (
    "id", "scheme", "rank", "category", "systolic_from_mmhg", "diastolic_from_mmhg", "source", "provenance",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Band:
    """One category: reached from a systolic or a diastolic edge [mmHg], the edge itself belonging to it.

    `diastolic_from_mmhg` is None where the diastolic alone never leads here (elevated in the American schemes).
    """

    name: str
    systolic_from_mmhg: float
    diastolic_from_mmhg: float | None

    def reached(self, systolic_mmhg: float, diastolic_mmhg: float) -> bool:
        """Say whether either end is at or above its edge."""
        by_diastolic = self.diastolic_from_mmhg is not None and diastolic_mmhg >= self.diastolic_from_mmhg
        return systolic_mmhg >= self.systolic_from_mmhg or by_diastolic


@dataclass(frozen=True, slots=True)
class Edge:
    """The nearest edge [mmHg] at which the category changes; `distance_mmhg` is edge minus value, 0 at the edge."""

    end: str
    at_mmhg: float
    distance_mmhg: float


@dataclass(frozen=True, slots=True)
class Scheme:
    """The bands of one guideline, from the lowest up; where two are reached the higher one holds."""

    id: str
    bands: tuple[Band, ...]
    source: str
    provenance: str

    def rank(self, systolic_mmhg: float, diastolic_mmhg: float) -> int:
        """Return the place of the highest band reached; the pressure is not rounded first."""
        place = len(self.bands) - 1
        while place and not self.bands[place].reached(systolic_mmhg, diastolic_mmhg):
            place -= 1  # the lowest band begins at 0/0
        return place

    def category(self, systolic_mmhg: float, diastolic_mmhg: float) -> str:
        """Return the scheme's own name for the band, such as "stage 1"."""
        return self.bands[self.rank(systolic_mmhg, diastolic_mmhg)].name

    def nearest_edge(self, systolic_mmhg: float, diastolic_mmhg: float) -> Edge | None:
        """Return the nearest edge at which the category changes, or None where there is none.

        One end alone crosses it; where both ends hold the band, both must fall, and the one with further to go counts.
        """
        here = self.rank(systolic_mmhg, diastolic_mmhg)
        found = []
        for end, value in (("systolic", systolic_mmhg), ("diastolic", diastolic_mmhg)):
            for band in self.bands[1:]:
                edge = band.systolic_from_mmhg if end == "systolic" else band.diastolic_from_mmhg
                if edge is None:
                    continue
                # Below an edge, reaching it counts; on or above it, falling just under it.
                beyond = edge if value < edge else math.nextafter(edge, -math.inf)
                there = (beyond, diastolic_mmhg) if end == "systolic" else (systolic_mmhg, beyond)
                if self.rank(*there) != here:
                    found.append(Edge(end, edge, edge - value))
        band = self.bands[here]
        floor = band.diastolic_from_mmhg
        if here and floor is not None and systolic_mmhg >= band.systolic_from_mmhg and diastolic_mmhg >= floor:
            falls = (
                Edge("systolic", band.systolic_from_mmhg, band.systolic_from_mmhg - systolic_mmhg),
                Edge("diastolic", floor, floor - diastolic_mmhg),
            )
            found.append(min(falls, key=lambda edge: edge.distance_mmhg))
        return min(found, key=lambda edge: abs(edge.distance_mmhg), default=None)


def isolated_form(systolic_mmhg: float, diastolic_mmhg: float) -> str | None:
    """Return "isolated systolic", "isolated diastolic" or None."""
    high = (systolic_mmhg >= ISOLATED_SYSTOLIC_MMHG, diastolic_mmhg >= ISOLATED_DIASTOLIC_MMHG)
    return {(True, False): "isolated systolic", (False, True): "isolated diastolic"}.get(high)


def read_schemes(text: str, table: str) -> Mapping[str, Scheme]:
    """Return schemes by id from CSV text; raises TableError where an edge is wrong or does not rise with its rank."""
    return schemes_of(table_rows(text, table, _COLUMNS), table)


def schemes_of(rows: Sequence[TableRow], table: str, known: tuple[str, ...] = CLINICAL_IDS) -> Mapping[str, Scheme]:
    """Return schemes by id from rows, a band each; `known` are the ids allowed. Raises TableError."""
    bands: dict[str, list[Band]] = {}
    marks: dict[str, tuple[str, str]] = {}
    for row in rows:
        scheme = row.one_of("scheme", known)
        so_far = bands.setdefault(scheme, [])
        if row.number("rank", 0, 20) != len(so_far):
            raise row.refuse("rank", f"{len(so_far)}: bands stand from the lowest up")
        diastolic = row.optional_number("diastolic_from_mmhg", 0, 300)
        band = Band(row.text("category"), row.number("systolic_from_mmhg", 0, 300), diastolic)
        if not so_far and (band.systolic_from_mmhg, diastolic) != (0, 0):
            raise row.refuse("systolic_from_mmhg", "0, with diastolic 0, in the lowest band")
        if so_far and band.systolic_from_mmhg <= so_far[-1].systolic_from_mmhg:
            raise row.refuse("systolic_from_mmhg", "above the band before")
        so_far.append(band)
        marks[scheme] = (row.text("source"), row.one_of("provenance", MARKS))
    for scheme, held in bands.items():
        edges = [band.diastolic_from_mmhg for band in held if band.diastolic_from_mmhg is not None]
        if len(held) < 2 or any(below >= above for below, above in pairwise(edges)):
            raise TableError(f"{table}: {scheme} must hold at least 2 bands whose diastolic edges rise")
    return MappingProxyType({scheme: Scheme(scheme, tuple(held), *marks[scheme]) for scheme, held in bands.items()})


@cache
def schemes() -> Mapping[str, Scheme]:
    """Return the shipped schemes by id."""
    return read_schemes(package_text("clinical_bands.csv"), "clinical_bands.csv")
