"""The bladder for an arm as typed: what each covers of it and what the wrong one does, for command and page alike."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from hushpoint.desk.kit import Item
from hushpoint.errors import BadInputError
from hushpoint.guideline import (
    AnotherCuff,
    BladderFit,
    CuffFits,
    CuffRefused,
    CuffSize,
    WrongCuffEffect,
    bladder_fit,
    cuff_sizes,
    edge_note,
    size_for,
)
from hushpoint.measure.verdict import Withheld

CAUTION = (
    "Trust a tape over a label. A teaching aid: local policy comes first; an arm that no cuff fits is referred, "
    "not measured."
)
_NUMBER = re.compile(r"[0-9]{1,3}([.,][0-9]{1,3})?", re.ASCII)
_VERDICTS = {CuffFits: "fits", AnotherCuff: "another", CuffRefused: "refused", Withheld: "refer"}


@dataclass(frozen=True, slots=True)
class ArmFits:
    """An arm [cm], the size named for it or why none is, what to know at an edge, and every size of the table on it."""

    arm_cm: float
    named: CuffSize | Withheld
    note: str | None
    sizes: tuple[tuple[CuffSize, BladderFit], ...]


def fits_of(typed_cm: str) -> ArmFits:
    """Return what the table says of an arm as typed; raises BadInputError."""
    arm_cm = centimetres(typed_cm, "arm")
    named = size_for(arm_cm)
    fits = tuple((size, bladder_fit(arm_cm, size.bladder_width_cm, size.bladder_length_cm)) for size in cuff_sizes())
    return ArmFits(arm_cm, named, edge_note(arm_cm), fits)


def cuffs_on(arm_cm: float, items: Iterable[Item]) -> list[tuple[Item, BladderFit]]:
    """Return the cuffs among the items with what their bladders cover of an arm, those that fit first."""
    order = list(_VERDICTS.values())
    found = [
        (one, bladder_fit(arm_cm, one.bladder_width_cm, one.bladder_length_cm))
        for one in items
        if one.bladder_width_cm is not None and one.bladder_length_cm is not None
    ]
    return sorted(found, key=lambda pair: order.index(verdict_of(pair[1])))


def verdict_of(fit: BladderFit) -> str:
    """Return the verdict's word: fits, another, refused or refer."""
    return _VERDICTS[type(fit.verdict)]


def effect_words(effect: WrongCuffEffect) -> str:
    """Return what a wrong cuff does, with its source."""
    systolic, diastolic = (_range(ends) for ends in (effect.systolic_mmhg, effect.diastolic_mmhg))
    return f"{effect.what}: {systolic} systolic, {diastolic} diastolic mmHg ({effect.source})"


def centimetres(typed: str, what: str) -> float:
    """Return centimetres as typed; raises BadInputError."""
    text = typed.strip().removesuffix("cm").strip()
    value = float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else math.nan
    if not math.isfinite(value):
        cut = typed[:20].encode("unicode_escape").decode()
        raise BadInputError(f'{what} "{cut}": must be a number of centimetres, 10 to 80, such as 36 or 26.5')
    return value


def _range(ends: tuple[float, float]) -> str:
    low, high = (f"{end:+g}".replace("-", "−") for end in ends)
    return low if low == high else f"{low} to {high}"
