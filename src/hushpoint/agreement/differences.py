"""How far observers agree on the same measurements: bias, limits of agreement and shares within.

Sources: Bland JM, Altman DG 1999, Stat Methods Med Res 8:135-160, section 2 (limits and their intervals).
Everything here speaks of observers; nothing here judges a person's pressure.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from hushpoint.errors import BadInputError

WITHIN_MMHG = (2, 4, 5, 10, 15)
"""Shares are told within these distances, ends included [mmHg]."""

Z_LIMITS = 1.96
"""Limits of agreement lie this many standard deviations from the bias (Bland & Altman 1999, section 2)."""

DECIMALS = 6
"""Differences and results are rounded here, so that 120.3 - 118.3 counts as 2 and JSON is stable."""


class AgreementError(BadInputError):
    """These readings cannot be compared; the line says which and why."""


@dataclass(frozen=True, slots=True)
class PairedReading:
    """What one observer wrote for one measurement [mmHg]; `diastolic_mmhg` is None where it was not heard.

    `gauge` is what it was read from, "" where nobody said; `at` is when, ISO 8601, or "".
    """

    measurement: str
    observer: str
    systolic_mmhg: float
    diastolic_mmhg: float | None = None
    client: str = ""
    gauge: str = ""
    at: str = ""


@dataclass(frozen=True, slots=True)
class Differences:
    """Observer minus reference at one end, over `n` shared measurements [mmHg].

    `means_mmhg` and `differences_mmhg` are in the order of the reference's readings. With n = 1 there is no spread,
    so `sd_mmhg`, `limits_mmhg`, `limits_ci_mmhg` and `bias_ci_mmhg` are None.
    """

    n: int
    bias_mmhg: float
    bias_ci_mmhg: tuple[float, float] | None
    sd_mmhg: float | None
    limits_mmhg: tuple[float, float] | None
    limits_ci_mmhg: tuple[tuple[float, float], tuple[float, float]] | None
    within_percent: tuple[float, ...]
    identical_percent: float
    largest_mmhg: float
    means_mmhg: tuple[float, ...]
    differences_mmhg: tuple[float, ...]

    def as_json(self) -> dict[str, Any]:
        """The object of docs/agreement.md, without the single points."""
        return {
            "n": self.n,
            "bias_mmhg": self.bias_mmhg,
            "bias_ci_mmhg": self.bias_ci_mmhg and list(self.bias_ci_mmhg),
            "sd_mmhg": self.sd_mmhg,
            "limits_mmhg": self.limits_mmhg and list(self.limits_mmhg),
            "limits_ci_mmhg": self.limits_ci_mmhg and [list(limit) for limit in self.limits_ci_mmhg],
            "within": {str(limit): share for limit, share in zip(WITHIN_MMHG, self.within_percent, strict=True)},
            "identical": self.identical_percent,
            "largest_mmhg": self.largest_mmhg,
        }


@dataclass(frozen=True, slots=True)
class PairAgreement:
    """One observer against one reference; `diastolic` is None where no measurement has both values."""

    observer: str
    reference: str
    systolic: Differences
    diastolic: Differences | None

    def ends(self) -> tuple[tuple[str, Differences], ...]:
        """The ends that can be told, systolic first, with their names."""
        both = (("systolic", self.systolic), ("diastolic", self.diastolic))
        return tuple((name, found) for name, found in both if found is not None)


@dataclass(frozen=True, slots=True)
class Agreement:
    """Every pair that shares a measurement, and which rows were left out and why."""

    pairs: tuple[PairAgreement, ...]
    notes: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The object that `hushpoint agree --json` prints, described in docs/agreement.md."""
        return {
            "pairs": [
                {
                    "observer": pair.observer,
                    "reference": pair.reference,
                    "systolic": pair.systolic.as_json(),
                    "diastolic": pair.diastolic and pair.diastolic.as_json(),
                }
                for pair in self.pairs
            ],
            "notes": list(self.notes),
        }


def pairs(
    readings: Sequence[PairedReading], observer: str, reference: str
) -> tuple[tuple[PairedReading, PairedReading], ...]:
    """(observer's, reference's) readings of the same measurements, in the order of the reference's rows."""
    mine = {row.measurement: row for row in readings if row.observer == observer}
    return tuple(
        (mine[row.measurement], row) for row in readings if row.observer == reference and row.measurement in mine
    )


def agree(readings: Iterable[PairedReading], reference: str | None = None) -> Agreement:
    """Compare every observer with `reference`, or every later-named observer with every earlier-named one.

    Observers stand in the order of their first row. A difference is observer minus reference. Raises AgreementError
    for a repeated (measurement, observer), fewer than two observers, an unknown reference, or nothing shared.
    """
    rows = tuple(readings)
    _refuse_repeats(rows)
    by_observer: dict[str, list[PairedReading]] = {}
    for row in rows:
        by_observer.setdefault(row.observer, []).append(row)
    observers = list(by_observer)
    if len(observers) < 2:
        raise AgreementError(f"readings of {len(observers)} observer: at least 2 observers are needed to compare")
    if reference is not None and reference not in by_observer:
        raise AgreementError(f"the reference {shown(reference)} has no readings; observers are {_listed(observers)}")
    if reference is None:
        wanted = [(later, earlier) for i, earlier in enumerate(observers) for later in observers[i + 1 :]]
    else:
        wanted = [(name, reference) for name in observers if name != reference]
    found: list[PairAgreement] = []
    notes = _rows_left_out(rows, reference)
    places: dict[str, dict[str, int]] = {}
    for observer, other in wanted:
        theirs = by_observer[other]
        if other not in places:
            places[other] = {row.measurement: place for place, row in enumerate(theirs)}
        shared = ((places[other].get(row.measurement), row) for row in by_observer[observer])
        both = tuple(
            (row, theirs[place])
            for place, row in sorted(
                ((place, row) for place, row in shared if place is not None), key=lambda each: each[0]
            )
        )
        if not both:
            notes.append(f"{observer} and {other} share no measurement, so they are not compared")
            continue
        pair = _compare(observer, other, both)
        found.append(pair)
        notes += [
            f"{observer} and {other}, {end}: one pair has no spread: SD, limits and intervals are not given"
            for end, differences in pair.ends()
            if differences.n == 1
        ]
    if not found:
        raise AgreementError("no measurement was read by both: at least 1 shared measurement is needed")
    return Agreement(tuple(found), tuple(notes))


def shown(text: str, longest: int = 40) -> str:
    """Text in quotation marks, at most `longest` characters of it, control characters made visible."""
    cut = text[:longest] + ("…" if len(text) > longest else "")
    return '"' + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut) + '"'


def _listed(names: Sequence[str], most: int = 8) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(shown(name) for name in names[:most]) + more


def _refuse_repeats(rows: Sequence[PairedReading]) -> None:
    first: dict[tuple[str, str], int] = {}
    for position, row in enumerate(rows, start=1):
        earlier = first.setdefault((row.measurement, row.observer), position)
        if earlier != position:
            raise AgreementError(
                f"reading {position} repeats reading {earlier}: one reading an observer for each measurement"
            )


def _rows_left_out(rows: Sequence[PairedReading], reference: str | None) -> list[str]:
    notes = []
    if reference is None:
        seen = Counter(row.measurement for row in rows)
        alone = [row.measurement for row in rows if seen[row.measurement] == 1]
        if alone:
            notes.append(f"left out, read by one observer only: {_counted(alone)}")
    else:
        with_reference = {row.measurement for row in rows if row.observer == reference}
        alone = list(dict.fromkeys(r.measurement for r in rows if r.measurement not in with_reference))
        if alone:
            notes.append(f"left out, not read by {reference}: {_counted(alone)}")
    silent = sum(row.diastolic_mmhg is None for row in rows)
    if 0 < silent < len(rows):
        notes.append(f"rows without a diastolic, compared on systolic only: {silent}")
    clients: dict[str, set[str]] = {}
    for row in rows:
        if row.client:
            clients.setdefault(row.client, set()).add(row.measurement)
    if any(len(measurements) > 1 for measurements in clients.values()):
        notes.append("some clients were measured more than once; each measurement counts as a pair of its own")
    return notes


def _counted(measurements: Sequence[str], most: int = 5) -> str:
    names = ", ".join(measurements[:most]) + (", …" if len(measurements) > most else "")
    return f"{len(measurements)} measurement{'s' if len(measurements) > 1 else ''} ({names})"


def _compare(observer: str, reference: str, both: Sequence[tuple[PairedReading, PairedReading]]) -> PairAgreement:
    systolic = _differences([(mine.systolic_mmhg, theirs.systolic_mmhg) for mine, theirs in both])
    lower = [
        (mine.diastolic_mmhg, theirs.diastolic_mmhg)
        for mine, theirs in both
        if mine.diastolic_mmhg is not None and theirs.diastolic_mmhg is not None
    ]
    return PairAgreement(observer, reference, systolic, _differences(lower) if lower else None)


def _differences(values: Sequence[tuple[float, float]]) -> Differences:
    """Bias, SD with n - 1, limits bias +- 1.96 SD and their 95 % intervals (Bland & Altman 1999, section 2).

    Variance of a limit: s^2 (1/n + 1.96^2 / (2 (n - 1))); both intervals use Student's t, n - 1 degrees.
    """
    n = len(values)
    differences = tuple(round(mine - theirs, DECIMALS) for mine, theirs in values)
    bias = math.fsum(differences) / n
    bias_ci = limits = limits_ci = sd = None
    if n > 1:
        sd = math.sqrt(math.fsum((d - bias) ** 2 for d in differences) / (n - 1))
        t = student_t_975(n - 1)
        bias_ci = _around(bias, t * sd / math.sqrt(n))
        low, high = bias - Z_LIMITS * sd, bias + Z_LIMITS * sd
        half = t * sd * math.sqrt(1 / n + Z_LIMITS**2 / (2 * (n - 1)))
        limits = (_settled(low), _settled(high))
        limits_ci = (_around(low, half), _around(high, half))
        sd = _settled(sd)
    return Differences(
        n=n,
        bias_mmhg=_settled(bias),
        bias_ci_mmhg=bias_ci,
        sd_mmhg=sd,
        limits_mmhg=limits,
        limits_ci_mmhg=limits_ci,
        within_percent=tuple(_settled(100 * sum(abs(d) <= limit for d in differences) / n) for limit in WITHIN_MMHG),
        identical_percent=_settled(100 * sum(d == 0 for d in differences) / n),
        largest_mmhg=max(abs(d) for d in differences),
        means_mmhg=tuple(round((mine + theirs) / 2, DECIMALS) for mine, theirs in values),
        differences_mmhg=differences,
    )


def student_t_975(degrees: int) -> float:
    """Return Student's t of 97.5 %: both ends of a 95 % interval."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.975))


def _settled(value: float) -> float:
    return round(value, DECIMALS) + 0.0  # + 0.0 turns -0.0 into 0.0


def _around(middle: float, half: float) -> tuple[float, float]:
    return _settled(middle - half), _settled(middle + half)
