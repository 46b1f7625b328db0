"""A gauge check drawn: errors rising and falling with the limits, and the correction with its interval."""

from __future__ import annotations

import io
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from hushpoint.instrument import USE, Corrected, CorrectionCurve, Direction, GaugeCheck
from hushpoint.measure.verdict import Withheld
from hushpoint.sheet.drawing import ONE_AT_A_TIME, Say, spoken

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK, ACCENT, PALE, STOP = "#1C1B18", "#1A5276", "#D5E1EA", "#9B1C1C"


def gauge_picture(
    check: GaugeCheck, curve: CorrectionCurve | Withheld, form: Literal["png", "svg"], *, say: Say = str
) -> bytes:
    """Return errors against the reference (left) and what to add to a reading (right); same check, same bytes."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with ONE_AT_A_TIME, rc_context({"font.family": "DejaVu Sans", "font.size": 9, "svg.hashsalt": "hushpoint"}):
        figure = Figure(figsize=(9.6, 3.2), dpi=120, layout="constrained")
        left, right = figure.subplots(1, 2)
        _errors(left, check)
        _correction(right, curve)
        figure.supxlabel(f"Correction {USE}.", fontsize=7.5, color=INK)
        spoken(figure, say)
        page = io.BytesIO()
        metadata = {"Date": None, "Creator": "Hushpoint"} if form == "svg" else {"Software": None}
        figure.savefig(page, format=form, metadata=metadata)
    return page.getvalue()


def _errors(axes: Axes, check: GaugeCheck) -> None:
    allowed = check.rule.error.value - check.reference_error_mmhg
    axes.axhline(0, color=INK, linewidth=0.6, linestyle=":")
    for sign in (-1, 1):
        axes.axhline(sign * allowed, color=STOP, linewidth=1.2, linestyle="--")
    axes.annotate(
        f"limit ±{allowed:g}", (1.0, allowed), xycoords=("axes fraction", "data"), xytext=(-2, 3),
        textcoords="offset points", ha="right", color=STOP,
    )  # fmt: skip
    for direction, mark, style, name in ((Direction.UP, "^", "-", "rising"), (Direction.DOWN, "v", "--", "falling")):
        run = [error for error in check.errors if error.point.direction is direction]
        if run:
            axes.errorbar(
                [error.point.reference_mmhg for error in run],
                [error.error_mmhg for error in run],
                yerr=[error.high_mmhg - error.error_mmhg for error in run],
                color=INK if direction is Direction.UP else ACCENT,
                marker=mark, linestyle=style, linewidth=1.2, markersize=5, capsize=2, elinewidth=0.7, label=name,
            )  # fmt: skip
    axes.legend(frameon=False, loc="best")
    axes.margins(y=0.2)
    _dress(axes, "Error: gauge minus reference", "reference (mmHg)", "error (mmHg)")


def _correction(axes: Axes, curve: CorrectionCurve | Withheld) -> None:
    _dress(axes, "Correction: add to what the gauge shows", "gauge shows (mmHg)", "add (mmHg)")
    if isinstance(curve, Withheld):
        axes.text(0.5, 0.5, "withheld", transform=axes.transAxes, ha="center")
        return
    shown = [float(reading) for reading in curve.reading_mmhg]
    between = [low + part / 8 * (high - low) for low, high in pairwise(shown) for part in range(8)]
    places = [*between, shown[-1]]
    found = [(reading, to) for reading in places if isinstance(to := curve.correct(reading), Corrected)]
    axes.fill_between(
        [reading for reading, _ in found],
        [to.low_mmhg - reading for reading, to in found],
        [to.high_mmhg - reading for reading, to in found],
        color=PALE, linewidth=0, label="interval",
    )  # fmt: skip
    axes.plot([reading for reading, _ in found], [to.mmhg - reading for reading, to in found], color=INK, linewidth=1.5)
    knots = [(reading, to.mmhg - reading) for reading in shown if isinstance(to := curve.correct(reading), Corrected)]
    axes.plot([reading for reading, _ in knots], [add for _, add in knots], "o", color=INK, markersize=4)
    axes.axhline(0, color=INK, linewidth=0.6, linestyle=":")
    axes.legend(frameon=False, loc="best")
    axes.margins(y=0.2)


def _dress(axes: Axes, title: str, across: str, up: str) -> None:
    axes.set_title(title, loc="left", color=INK, fontsize=9.5)
    axes.set_xlabel(across)
    axes.set_ylabel(up)
    axes.spines[["top", "right"]].set_visible(False)
