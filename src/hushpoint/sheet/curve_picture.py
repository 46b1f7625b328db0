"""The picture of a learning curve: the score after each reading, and the limit at which the skill has been shown."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from hushpoint.sheet.drawing import DARK, LIGHT, ONE_AT_A_TIME, Say, spoken


def curve_picture(scores: Sequence[float], limit: float, *, dark: bool = False, say: Say = str) -> bytes:
    """Return the chart as SVG, at least one score; the same scores give the same bytes.

    A step down is a wrong reading, a step up a right one; above the dashed line the skill has been shown.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure
    from matplotlib.ticker import MaxNLocator

    ink = DARK if dark else LIGHT
    settings: dict[Any, Any] = {
        "font.family": ["DejaVu Sans"],
        "font.size": 11,
        "svg.hashsalt": "curve",
        "svg.fonttype": "none",
    }
    with ONE_AT_A_TIME, mpl.rc_context(settings):
        figure = Figure(figsize=(6.4, 2.6), facecolor=ink.page, layout="constrained")
        axes = figure.subplots()
        axes.set_facecolor(ink.page)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        for side in ("bottom", "left"):
            axes.spines[side].set_color(ink.soft)
        axes.tick_params(colors=ink.soft, labelcolor=ink.ink)
        axes.axhline(limit, color=ink.ink, linewidth=1.2, linestyle=(0, (5, 3)))
        axes.text(0, limit, " " + say("shown from here on"), va="bottom", color=ink.ink)
        axes.plot(range(len(scores) + 1), [0.0, *scores], color=ink.accent, linewidth=2, marker="o", markersize=4)
        axes.set_ylim(-0.15, limit * 1.25)
        axes.set_xlim(-0.3, max(len(scores), 10) + 0.5)
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_yticks([])
        axes.set_xlabel("readings, in order", color=ink.ink)
        axes.set_ylabel("evidence", color=ink.ink)
        spoken(figure, say)
        out = io.BytesIO()
        figure.savefig(out, format="svg", facecolor=ink.page, metadata={"Date": None, "Creator": None})
    return out.getvalue()
