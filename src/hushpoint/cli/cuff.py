"""`hushpoint cuff CM`: the bladder for an arm, what each size would cover of it, and what the wrong one does."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from hushpoint.desk.cuff_fit import CAUTION, ArmFits, centimetres, effect_words, fits_of, verdict_of
from hushpoint.errors import BadInputError
from hushpoint.guideline import BladderFit, bladder_fit, fit_shares
from hushpoint.measure.verdict import Withheld

if TYPE_CHECKING:
    from rich.console import Console

_SHOWN = {"another": "table differs"}


def cuff_for_arm(typed_cm: str, *, bladder: str | None, as_json: bool) -> None:
    """Print which bladder an arm needs and how each size, or the one in hand, covers it. Raises BadInputError."""
    arm = fits_of(typed_cm)
    in_hand = None if bladder is None else bladder_fit(arm.arm_cm, *_bladder(bladder))
    if as_json:
        print(json.dumps(_as_json(arm, in_hand)))  # noqa: T201
    else:
        _print(arm, in_hand)


def _bladder(typed: str) -> tuple[float, float]:
    width, times, length = typed.lower().replace("×", "x").partition("x")
    if not times:
        raise BadInputError("--bladder: must be WIDTHxLENGTH in centimetres, such as 13x23")
    return centimetres(width, "--bladder width"), centimetres(length, "--bladder length")


def _as_json(arm: ArmFits, in_hand: BladderFit | None) -> dict[str, object]:
    found, named = dict[str, object](arm_cm=arm.arm_cm), arm.named
    if isinstance(named, Withheld):
        found |= {"verdict": "refer", "reason": named.reason, "cuff": None}
    else:
        found |= {"verdict": "cuff", "reason": f"{named.source} ({named.provenance})", "cuff": named.id}
    sizes = [{"cuff": size.id, "label": size.label, **_fit(fit)} for size, fit in arm.sizes]
    return found | {
        "sizes": sizes,
        "in_hand": None if in_hand is None else _fit(in_hand),
        "notes": [arm.note] if arm.note else [],
        "caution": CAUTION,
    }


def _fit(fit: BladderFit) -> dict[str, object]:
    return {
        "width_cm": fit.width_cm,
        "length_cm": fit.length_cm,
        "width_percent": round(fit.width_percent, 1),
        "length_percent": round(fit.length_percent, 1),
        "verdict": verdict_of(fit),
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


def _print(arm: ArmFits, in_hand: BladderFit | None) -> None:
    from hushpoint.cli.tables import result_console, result_table

    out, asked, named = result_console(), fit_shares(), arm.named
    if isinstance(named, Withheld):
        out.print(f"Arm {arm.arm_cm:g} cm: {named.reason}.", markup=False)
    else:
        out.print(
            f"Arm {arm.arm_cm:g} cm: {named.label}, "
            f"bladder {named.bladder_width_cm:g} × {named.bladder_length_cm:g} cm "
            f"({named.source}, for {named.arm_from_cm} to {named.arm_to_cm} cm).",
            markup=False,
        )
    if arm.note:
        out.print(f"Note: {arm.note}.", markup=False)
    sheet = result_table("cuff", "verdict", "bladder", "width", "length", title="What each bladder covers of this arm")
    for size, fit in arm.sizes:
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
    for fit in [fit for _, fit in arm.sizes] if in_hand is None else [in_hand]:
        _print_effects(out, fit)
    out.print(CAUTION, markup=False)


def _size(fit: BladderFit) -> str:
    return f"{fit.width_cm:g} × {fit.length_cm:g} cm"


def _cells(fit: BladderFit) -> tuple[str, str, str, str]:
    verdict = verdict_of(fit)
    return _SHOWN.get(verdict, verdict), _size(fit), f"{fit.width_percent:.0f} %", f"{fit.length_percent:.0f} %"


def _print_effects(out: Console, fit: BladderFit) -> None:
    for effect in fit.effects:
        out.print(f"{_size(fit)} here: {effect_words(effect)}.", markup=False)
