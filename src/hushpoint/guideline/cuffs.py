"""Which cuff fits which arm, how much of it a bladder covers, and what the wrong one does."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING

from hushpoint.errors import BadInputError
from hushpoint.guideline.tables import PROVENANCES, TableError, package_text, table_rows
from hushpoint.guideline.technique import (
    DIASTOLIC_EXTREMES_MMHG,
    SYSTOLIC_EXTREMES_MMHG,
    technique_effects,
)
from hushpoint.measure import Withheld, Worked, figure_words

if TYPE_CHECKING:
    from collections.abc import Mapping

TAPE_CM = (10.0, 80.0)
"""A mid-arm circumference outside this is taken for a slip of the tape (CHOICE)."""
BLADDER_WIDTH_CM = (2.0, 30.0)
BLADDER_LENGTH_CM = (4.0, 60.0)

_FIT_COLUMNS = ("id", "percent", "source", "provenance")
_SHARES = ("width_least", "width_ideal", "length_least", "length_most")
_SWAP_COLUMNS = ("id", "used", "needed", "systolic_mmhg", "diastolic_mmhg", "source", "provenance")
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
            bladder_width_cm=row.number("bladder_width_cm", *BLADDER_WIDTH_CM),
            bladder_length_cm=row.number("bladder_length_cm", *BLADDER_LENGTH_CM),
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


@dataclass(frozen=True, slots=True)
class FitShares:
    """Shares of the arm's circumference that a bladder is asked to cover [per cent].

    `length_most` is of the tolerant form alone: the table's own bladders overlap on the thinnest arms of their size.
    """

    width_least: float
    width_ideal: float
    length_least: float
    length_most: float


def read_fit_shares(text: str, table: str) -> FitShares:
    """Return the asked shares; raises TableError where one is wrong, unknown or missing."""
    found = {
        row.one_of("id", _SHARES): row.number("percent", 1, 100)
        for row in table_rows(text, table, _FIT_COLUMNS)
        if row.text("source") and row.one_of("provenance", PROVENANCES)
    }
    for share in _SHARES:
        if share not in found:
            raise TableError(f"{table}: no row {share}, must hold {', '.join(_SHARES)}")
    return FitShares(**found)


@cache
def fit_shares() -> FitShares:
    """Return the shipped shares (AHA 2005; the longest from the tolerant form)."""
    return read_fit_shares(package_text("cuff_fit.csv"), "cuff_fit.csv")


@dataclass(frozen=True, slots=True)
class WrongCuffEffect:
    """What a wrong cuff adds to a reading: ranges [mmHg] as published; one value stands as both ends."""

    what: str
    systolic_mmhg: tuple[float, float]
    diastolic_mmhg: tuple[float, float]
    source: str
    provenance: str


def read_cuff_swaps(text: str, table: str) -> Mapping[tuple[str, str], WrongCuffEffect]:
    """Return the measured effect by (used, needed) size; raises TableError."""
    labels = {size.id: size.label for size in cuff_sizes()}
    swaps = {}
    for row in table_rows(text, table, _SWAP_COLUMNS):
        used, needed = row.one_of("used", tuple(labels)), row.one_of("needed", tuple(labels))
        systolic, diastolic = (
            row.number("systolic_mmhg", *SYSTOLIC_EXTREMES_MMHG),
            row.number("diastolic_mmhg", *DIASTOLIC_EXTREMES_MMHG),
        )
        swaps[used, needed] = WrongCuffEffect(
            what=f"{labels[used]} cuff where {labels[needed]} is needed",
            systolic_mmhg=(systolic, systolic),
            diastolic_mmhg=(diastolic, diastolic),
            source=row.text("source"),
            provenance=row.one_of("provenance", PROVENANCES),
        )
    return MappingProxyType(swaps)


@cache
def cuff_swaps() -> Mapping[tuple[str, str], WrongCuffEffect]:
    """Return the shipped effects of one size where another is needed (trial of 2023)."""
    return read_cuff_swaps(package_text("cuff_swaps.csv"), "cuff_swaps.csv")


@dataclass(frozen=True, slots=True)
class CuffFits:
    """This bladder is the table's for this arm."""

    reason: str


@dataclass(frozen=True, slots=True)
class AnotherCuff:
    """This bladder passes the percentages, yet the table names another: take that one."""

    reason: str


@dataclass(frozen=True, slots=True)
class CuffRefused:
    """This bladder covers too little of this arm: do not measure with it."""

    reason: str


@dataclass(frozen=True, slots=True)
class BladderFit:
    """A bladder on an arm: shares of the circumference [per cent], the verdict, and what it would add to a reading.

    `effects` is empty where the bladder fits, and where no cuff is named for the arm.
    """

    arm_cm: float
    width_cm: float
    length_cm: float
    width_percent: float
    length_percent: float
    verdict: CuffFits | AnotherCuff | CuffRefused | Withheld
    effects: tuple[WrongCuffEffect, ...]


@dataclass(frozen=True, slots=True)
class ArmRange:
    """Mid-arm circumferences a bladder is for [whole cm, both ends belong to it], and by what."""

    from_cm: int
    to_cm: int
    how: str
    by_table: bool


def arm_range(width_cm: float, length_cm: float) -> ArmRange | Withheld:
    """Return the arms a bladder [cm] is for, from its tape alone: its label is not asked.

    The table's own bladder has the table's range (AHA 2005). Any other has the arms of which it covers at least 40 %
    in width and 80 to 100 % in length (DERIVED from the shares), Withheld where there is none. Raises BadInputError
    outside what tapes give.
    """
    _refuse_bladder(width_cm, length_cm)
    for size in cuff_sizes():
        if (width_cm, length_cm) == (size.bladder_width_cm, size.bladder_length_cm):
            return ArmRange(size.arm_from_cm, size.arm_to_cm, f"{size.label} by the table ({size.source})", True)
    asked = fit_shares()
    # Six decimals: 24 / 0.8 is 30, not a hair less.
    low = math.ceil(round(100 * length_cm / asked.length_most, 6))
    high = math.floor(round(min(100 * width_cm / asked.width_least, 100 * length_cm / asked.length_least), 6))
    shares = (
        f"at least {asked.width_least:g} % of the arm in width, {asked.length_least:g} to {asked.length_most:g} % "
        "in length"
    )
    if low > high:
        return Withheld(f"{width_cm:g} × {length_cm:g} cm covers no arm by the percentages ({shares})")
    return ArmRange(low, high, f"by the percentages ({shares}); the table names no size for it", False)


def size_for(arm_cm: float) -> CuffSize | Withheld:
    """Return the size for a mid-arm circumference [cm], or why none is named: 10 to 80 cm, halves rounded up.

    Raises BadInputError for a circumference that no tape gives.
    """
    low, high = TAPE_CM
    if not low <= arm_cm <= high:
        raise BadInputError(f"arm {arm_cm:g} cm: must be {low:g} to {high:g} cm, around the middle of the upper arm")
    try:
        return cuff_for(arm_cm)
    except BadInputError:
        sizes = cuff_sizes()
        return Withheld(
            f"no adult cuff is named for an arm of {arm_cm:g} cm; the table runs from {sizes[0].arm_from_cm} to "
            f"{sizes[-1].arm_to_cm} cm: do not measure here, refer to a trained clinician"
        )


def edge_note(arm_cm: float) -> str | None:
    """Return what to know of an arm at or between two sizes of the table, whose edges are whole centimetres."""
    sizes = cuff_sizes()
    for below, above in pairwise(sizes):
        if below.arm_to_cm < arm_cm < above.arm_from_cm:
            named = size_for(arm_cm)
            label = named.label if isinstance(named, CuffSize) else ""
            return (
                f"the table leaves {below.arm_to_cm} to {above.arm_from_cm} cm open; rounded to the nearest whole "
                f"centimetre, halves up, this is {label}: measure again, in doubt take {above.label}"
            )
        if arm_cm in (below.arm_to_cm, above.arm_from_cm):
            return f"{below.label} ends at {below.arm_to_cm} cm: measure again, in doubt take {above.label}"
    return None


def bladder_fit(arm_cm: float, width_cm: float, length_cm: float) -> BladderFit:
    """Judge a bladder [cm] on an arm [cm] by the AHA 2005 table first, then by the shares it covers.

    A bladder shorter than 80 % or narrower than 40 % of the arm is refused unless it is the table's own (which is
    narrower than 40 % from 41 cm on). Raises BadInputError outside what tapes give.
    """
    _refuse_bladder(width_cm, length_cm)
    named = size_for(arm_cm)
    width_percent, length_percent = 100 * width_cm / arm_cm, 100 * length_cm / arm_cm
    verdict, effects = _judged(named, width_cm, length_cm, width_percent, length_percent)
    return BladderFit(arm_cm, width_cm, length_cm, width_percent, length_percent, verdict, effects)


def fit_by_hand(fit: BladderFit, what: str) -> Worked:
    """Return the calculation behind a bladder's fit; `what` names the cuff."""
    asked, arm = fit_shares(), figure_words(fit.arm_cm)
    steps = [
        f"{end} covers: 100 × {figure_words(cm)} / {arm} = {percent:.1f} % of the arm, at least {least:g} asked: "
        f"{'enough' if percent >= least else 'too little'}"
        for end, cm, percent, least in (
            ("width", fit.width_cm, fit.width_percent, asked.width_least),
            ("length", fit.length_cm, fit.length_percent, asked.length_least),
        )
    ]
    named = size_for(fit.arm_cm)
    if isinstance(named, CuffSize):
        steps.append(
            f"arm of {arm} cm: the table names {named.label}, {figure_words(named.bladder_width_cm)} × "
            f"{figure_words(named.bladder_length_cm)} cm, for {named.arm_from_cm} to {named.arm_to_cm} cm"
        )
    steps.append(fit.verdict.reason)
    return Worked(
        what, tuple(steps), "AHA 2005, table of cuff sizes and shares of the arm; the table before the shares"
    )


def _refuse_bladder(width_cm: float, length_cm: float) -> None:
    for what, value, (low, high) in (
        ("width", width_cm, BLADDER_WIDTH_CM),
        ("length", length_cm, BLADDER_LENGTH_CM),
    ):
        if not low <= value <= high:
            raise BadInputError(f"bladder {what} {value:g} cm: must be {low:g} to {high:g} cm")


def _judged(
    named: CuffSize | Withheld, width_cm: float, length_cm: float, width_percent: float, length_percent: float
) -> tuple[CuffFits | AnotherCuff | CuffRefused | Withheld, tuple[WrongCuffEffect, ...]]:
    if isinstance(named, Withheld):
        return named, ()
    asked = fit_shares()
    narrow = width_percent < asked.width_least
    take = f"take {named.label}, {named.bladder_width_cm:g} × {named.bladder_length_cm:g} cm"
    if (width_cm, length_cm) == (named.bladder_width_cm, named.bladder_length_cm):
        under = f"; its width is under {asked.width_least:g} % of this arm, as the table has it" if narrow else ""
        return CuffFits(f"the table names it for this arm{under}"), ()
    effects = wrong_cuff_effects(named, width_cm, length_cm)
    short = length_percent < asked.length_least
    if short or narrow:
        covers = f"{length_percent:.0f} % of the way round the arm" if short else f"{width_percent:.0f} % in width"
        least = asked.length_least if short else asked.width_least
        return CuffRefused(f"covers {covers}, at least {least:g} % is asked: {take}"), effects
    return AnotherCuff(
        f"covers {length_percent:.0f} % and passes the percentages, yet the table differs: {take}"
    ), effects


def wrong_cuff_effects(needed: CuffSize, width_cm: float, length_cm: float) -> tuple[WrongCuffEffect, ...]:
    """Return published effects of a bladder [cm] where `needed` is named: the trial's pair first, then the review.

    The trial measured the adult cuff alone: a bladder off the needed size by more than that cuff has its effect "and
    more". Empty where it is the needed bladder.
    """
    mine, asked = (length_cm, width_cm), (needed.bladder_length_cm, needed.bladder_width_cm)
    if mine == asked:
        return ()
    smaller = mine < asked
    review = technique_effects()["cuff_one_too_small" if smaller else "cuff_too_large"]
    reviewed = WrongCuffEffect(
        what="too small a cuff" if smaller else "too large a cuff",
        systolic_mmhg=review.systolic_mmhg,
        diastolic_mmhg=review.diastolic_mmhg,
        source=review.source,
        provenance=review.provenance,
    )
    measured = []
    for (used, for_size), effect in cuff_swaps().items():
        size = next(size for size in cuff_sizes() if size.id == used)
        theirs = (size.bladder_length_cm, size.bladder_width_cm)
        if for_size != needed.id or (theirs < asked) is not smaller:
            continue
        if mine == theirs:
            measured.append(effect)
        elif (mine < theirs) is smaller:
            measured.append(
                replace(effect, what=f"{effect.what}; this one is {'smaller' if smaller else 'larger'} still")
            )
    return (*measured, reviewed)
