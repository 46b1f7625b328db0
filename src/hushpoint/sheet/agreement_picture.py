"""Differences against the mean (Bland & Altman 1999, section 2) as PNG or SVG: same input, same bytes."""

from __future__ import annotations

import io
from collections import Counter
from typing import TYPE_CHECKING, Literal

from hushpoint.agreement import Agreement, Differences
from hushpoint.sheet.drawing import ONE_AT_A_TIME, Say, spoken

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_PAIRS = 12
"""More pairs than this are not drawn on one sheet; the title says so."""

CAUTION = "Agreement of observers, not a judgement of a person's health. Local rules decide on sign-off."
INK, ACCENT, PALE = "#1c1c1c", "#0b5c6b", "#d5e3e6"


def agreement_picture(agreement: Agreement, form: Literal["png", "svg"], *, say: Say = str) -> bytes:
    """One row a pair, systolic left, diastolic right: differences, bias and limits with their intervals."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    drawn = agreement.pairs[:MOST_PAIRS]
    columns = 2 if any(pair.diastolic for pair in drawn) else 1
    height_in = 3.4 * len(drawn) + 0.7
    with ONE_AT_A_TIME, rc_context({"font.family": "DejaVu Sans", "font.size": 9, "svg.hashsalt": "hushpoint"}):
        figure = Figure(figsize=(7.2 if columns == 1 else 12.0, height_in), dpi=120, layout="constrained")
        grid = figure.subplots(len(drawn), columns, squeeze=False)
        for row, pair in enumerate(drawn):
            ends = dict(pair.ends())
            for column, end in enumerate(("systolic", "diastolic")[:columns]):
                axes = grid[row, column]
                if end in ends:
                    _panel(axes, ends[end], f"{_plain(pair.observer)} minus {_plain(pair.reference)}, {end}", say)
                else:
                    axes.set_axis_off()
        left_out = len(agreement.pairs) - len(drawn)
        more = f"  The first {len(drawn)} of {len(agreement.pairs)} pairs are drawn." if left_out else ""
        figure.supxlabel(say(CAUTION) + say(more), fontsize=8, color=INK)
        spoken(figure, say)
        page = io.BytesIO()
        # No date and no program version in the file: the bytes depend on the readings alone.
        metadata = {"Date": None, "Creator": "Hushpoint"} if form == "svg" else {"Software": None}
        figure.savefig(page, format=form, metadata=metadata)
    return page.getvalue()


def _plain(name: str) -> str:
    """A name with the dollar signs that would start a formula kept as signs, and cut to fit."""
    return (name if len(name) <= 24 else name[:23] + "…").replace("$", r"\$")


def _panel(axes: Axes, found: Differences, title: str, say: Say) -> None:
    heaps = Counter(zip(found.means_mmhg, found.differences_mmhg, strict=True))
    x, y = zip(*heaps, strict=True)
    # Area by count: readings are whole even numbers, so many points fall on one place.
    axes.scatter(x, y, s=[14 * count for count in heaps.values()], color=INK, alpha=0.55, linewidths=0, zorder=3)
    axes.axhline(0, color=INK, linewidth=0.6, linestyle=":")
    lines = [(found.bias_mmhg, found.bias_ci_mmhg, "-", "bias")]
    if found.sd_mmhg and found.limits_mmhg and found.limits_ci_mmhg:
        lines += [
            (limit, interval, "--", "limit")
            for limit, interval in zip(found.limits_mmhg, found.limits_ci_mmhg, strict=True)
        ]
    for value, interval, style, name in lines:
        if interval:
            axes.axhspan(*interval, color=PALE, linewidth=0, zorder=0)
        axes.axhline(value, color=ACCENT, linewidth=1.3, linestyle=style, zorder=2)
        axes.annotate(
            f"{say(name)} {value:.1f}".replace("-", "−"), (1.0, value), xycoords=("axes fraction", "data"),
            xytext=(4, 0), textcoords="offset points", va="center", color=ACCENT, annotation_clip=False,
        )  # fmt: skip
    axes.margins(0.06, 0.12)
    axes.set_title(f"{title} (n = {found.n})", loc="left", color=INK)
    axes.set_xlabel("mean of the two (mmHg)")
    axes.set_ylabel("difference (mmHg)")
    axes.spines[["top", "right"]].set_visible(False)
