"""`hushpoint cuff CM`: the bladder for an arm, what each size would cover of it, and what the wrong one does."""

from __future__ import annotations

import json
import math
import re
from typing import TYPE_CHECKING

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
    fit_shares,
    size_for,
)
from hushpoint.measure.verdict import Withheld

if TYPE_CHECKING:
    from rich.console import Console

CAUTION = (
    "Trust a tape over a label. A teaching aid: local policy comes first; an arm that no cuff fits is referred, "
    "not measured."
)
_NUMBER = re.compile(r"[0-9]{1,3}(\.[0-9]{1,3})?", re.ASCII)
_VERDICTS = {CuffFits: "fits", AnotherCuff: "another", CuffRefused: "refused", Withheld: "refer"}
_SHOWN = {"another": "table differs"}


def cuff_for_arm(typed_cm: str, *, bladder: str | None, as_json: bool) -> None:
    """Print which bladder an arm needs and how each size, or the one in hand, covers it. Raises BadInputError."""
    arm_cm = _centimetres(typed_cm, "arm")
    named = size_for(arm_cm)
    fits = [bladder_fit(arm_cm, size.bladder_width_cm, size.bladder_length_cm) for size in cuff_sizes()]
    in_hand = None if bladder is None else bladder_fit(arm_cm, *_bladder(bladder))
    if as_json:
        print(json.dumps(_as_json(arm_cm, named, fits, in_hand)))  # noqa: T201
    else:
        _print(arm_cm, named, fits, in_hand)


def _centimetres(typed: str, what: str) -> float:
    text = typed.strip().removesuffix("cm").strip()
    value = float(text) if _NUMBER.fullmatch(text) else math.nan
    if not math.isfinite(value):
        cut = typed[:20].encode("unicode_escape").decode()
        raise BadInputError(f'{what} "{cut}": must be a number of centimetres, 10 to 80, such as 36 or 26.5')
    return value


def _bladder(typed: str) -> tuple[float, float]:
    width, times, length = typed.lower().replace("×", "x").partition("x")
    if not times:
        raise BadInputError("--bladder: must be WIDTHxLENGTH in centimetres, such as 13x23")
    return _centimetres(width, "--bladder width"), _centimetres(length, "--bladder length")


def _as_json(
    arm_cm: float, named: CuffSize | Withheld, fits: list[BladderFit], in_hand: BladderFit | None
) -> dict[str, object]:
    found: dict[str, object] = {"arm_cm": arm_cm}
    if isinstance(named, Withheld):
        found |= {"verdict": "refer", "reason": named.reason, "cuff": None}
    else:
        found |= {"verdict": "cuff", "reason": f"{named.source} ({named.provenance})", "cuff": named.id}
    note = edge_note(arm_cm)
    sizes = [{"cuff": size.id, "label": size.label, **_fit(fit)} for size, fit in zip(cuff_sizes(), fits, strict=True)]
    return found | {
        "sizes": sizes,
        "in_hand": None if in_hand is None else _fit(in_hand),
        "notes": [note] if note else [],
        "caution": CAUTION,
    }


def _fit(fit: BladderFit) -> dict[str, object]:
    return {
        "width_cm": fit.width_cm,
        "length_cm": fit.length_cm,
        "width_percent": round(fit.width_percent, 1),
        "length_percent": round(fit.length_percent, 1),
        "verdict": _VERDICTS[type(fit.verdict)],
        "reason": fit.verdict.reason,
        "effects": [
            {
                "what": effect.what,
                "systolic_mmhg": list(effect.systolic_mmhg),
                "diastolic_mmhg": list(effect.diastolic_mmhg),
                "source": effect.source,
                "mark": effect.provenance,
            }
            for effect in fit.effects
        ],
    }


def _print(arm_cm: float, named: CuffSize | Withheld, fits: list[BladderFit], in_hand: BladderFit | None) -> None:
    from hushpoint.cli.tables import result_console, result_table

    out, asked = result_console(), fit_shares()
    if isinstance(named, Withheld):
        out.print(f"Arm {arm_cm:g} cm: {named.reason}.", markup=False)
    else:
        out.print(
            f"Arm {arm_cm:g} cm: {named.label}, bladder {named.bladder_width_cm:g} × {named.bladder_length_cm:g} cm "
            f"({named.source}, for {named.arm_from_cm} to {named.arm_to_cm} cm).",
            markup=False,
        )
    note = edge_note(arm_cm)
    if note:
        out.print(f"Note: {note}.", markup=False)
    sheet = result_table("cuff", "verdict", "bladder", "width", "length", title="What each bladder covers of this arm")
    for size, fit in zip(cuff_sizes(), fits, strict=True):
        sheet.add_row(size.label, *_cells(fit))
    if in_hand is not None:
        sheet.add_row("in hand", *_cells(in_hand))
    out.print(sheet)
    out.print(
        f"Asked: width at least {asked.width_least:g} % of the arm ({asked.width_ideal:g} % ideal), length at least "
        f"{asked.length_least:g} % (AHA 2005); where table and percentages differ, the table holds.",
        markup=False,
    )
    if in_hand is not None:
        out.print(f"In hand, {_size(in_hand)}: {in_hand.verdict.reason}.", markup=False)
    for fit in fits if in_hand is None else [in_hand]:
        _print_effects(out, fit)
    out.print(CAUTION, markup=False)


def _size(fit: BladderFit) -> str:
    return f"{fit.width_cm:g} × {fit.length_cm:g} cm"


def _cells(fit: BladderFit) -> tuple[str, str, str, str]:
    verdict = _VERDICTS[type(fit.verdict)]
    return _SHOWN.get(verdict, verdict), _size(fit), f"{fit.width_percent:.0f} %", f"{fit.length_percent:.0f} %"


def _print_effects(out: Console, fit: BladderFit) -> None:
    for effect in fit.effects:
        out.print(f"{_size(fit)} here: {_effect(effect)}.", markup=False)


def _effect(effect: WrongCuffEffect) -> str:
    systolic, diastolic = (_range(ends) for ends in (effect.systolic_mmhg, effect.diastolic_mmhg))
    return f"{effect.what}: {systolic} systolic, {diastolic} diastolic mmHg ({effect.source})"


def _range(ends: tuple[float, float]) -> str:
    low, high = (f"{end:+g}".replace("-", "−") for end in ends)
    return low if low == high else f"{low} to {high}"
