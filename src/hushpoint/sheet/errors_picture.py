"""The picture of whose error it is: every observer's bias and own spread, every gauge's bias, each with its interval.

A bar is the 95 % interval, a dot the figure; a filled dot where the interval leaves 0 out, an open one where it does
not, so that nothing is told by colour alone. The page's table tells the same in numbers.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hushpoint.sheet.drawing import DARK, LIGHT, ONE_AT_A_TIME, Ink, Say, spoken

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_ROWS = 40
"""More are not drawn: the caller gives those first who matter most."""
LONGEST_LABEL = 22

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class ErrorRow:
    """One observer or gauge: bias and own spread [mmHg] with 95 % intervals, None where they cannot be told."""

    label: str
    bias_mmhg: float | None
    bias_ci_mmhg: Span | None
    spread_mmhg: float | None = None
    spread_ci_mmhg: Span | None = None


def errors_picture(
    observers: Sequence[ErrorRow], gauges: Sequence[ErrorRow], *, dark: bool = False, say: Say = str
) -> bytes:
    """Return the picture of one end as SVG; the same rows give the same bytes."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    ink = DARK if dark else LIGHT
    settings: dict[Any, Any] = {
        "font.family": ["DejaVu Sans"],
        "font.size": 11,
        "svg.hashsalt": "whose",
        "svg.fonttype": "none",
    }
    people, kit = list(observers[:MOST_ROWS]), list(gauges[:MOST_ROWS])
    heights = [len(people) + 1.0, *([len(kit) + 1.0] if kit else [])]
    with ONE_AT_A_TIME, mpl.rc_context(settings):
        figure = Figure(
            figsize=(6.4, 0.32 * sum(heights) + 0.9 * len(heights)), facecolor=ink.page, layout="constrained"
        )
        grid = figure.subplots(len(heights), 2, squeeze=False, height_ratios=heights, width_ratios=(1.5, 1.0))
        _bias(grid[0, 0], people, ink, say, "observers: low (−), high (+), mmHg")
        _spread(grid[0, 1], people, ink)
        if kit:
            _bias(grid[1, 0], kit, ink, say, "gauges: low (−), high (+), mmHg")
            grid[1, 1].set_axis_off()
        spoken(figure, say)
        out = io.BytesIO()
        figure.savefig(out, format="svg", facecolor=ink.page, metadata={"Date": None, "Creator": None})
    return out.getvalue()


def _bias(axes: Axes, rows: Sequence[ErrorRow], ink: Ink, say: Say, label: str) -> None:
    _calm(axes, rows, ink)
    axes.axvline(0, color=ink.ink, linewidth=1.2)
    for place, row in enumerate(rows):
        if row.bias_mmhg is None or row.bias_ci_mmhg is None:
            axes.text(0, place, "  " + say("cannot be told"), va="center", color=ink.soft)
            continue
        low, high = row.bias_ci_mmhg
        axes.hlines(place, low, high, color=ink.accent, linewidth=2)
        clear = low > 0 or high < 0
        axes.plot(
            row.bias_mmhg,
            place,
            marker="o",
            color=ink.accent,
            markersize=6,
            markerfacecolor=ink.accent if clear else ink.page,
        )
    axes.set_yticks(range(len(rows)), [_short(row.label) for row in rows])
    axes.set_xlabel(label)


def _spread(axes: Axes, rows: Sequence[ErrorRow], ink: Ink) -> None:
    _calm(axes, rows, ink)
    for place, row in enumerate(rows):
        if row.spread_mmhg is not None and row.spread_ci_mmhg is not None:
            axes.hlines(place, *row.spread_ci_mmhg, color=ink.accent, linewidth=2)
            axes.plot(row.spread_mmhg, place, marker="s", color=ink.accent, markersize=5)
    axes.set_yticks(range(len(rows)), [""] * len(rows))
    axes.set_xlim(0, max(2.0, axes.get_xlim()[1]))  # a spread of hundredths is not drawn large
    axes.set_xlabel("own spread, mmHg")


def _calm(axes: Axes, rows: Sequence[ErrorRow], ink: Ink) -> None:
    axes.set_facecolor(ink.page)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(ink.soft)
    axes.tick_params(colors=ink.soft, labelcolor=ink.ink)
    axes.tick_params(axis="y", length=0)
    axes.xaxis.label.set_color(ink.ink)
    axes.set_axisbelow(True)
    axes.grid(axis="y", color=ink.hair, linewidth=1)
    axes.set_ylim(len(rows) - 0.4, -0.6)


def _short(name: str) -> str:
    """A name with the dollar signs that would start a formula kept as signs, and cut to fit."""
    return (name if len(name) <= LONGEST_LABEL else name[: LONGEST_LABEL - 1] + "…").replace("$", r"\$")
