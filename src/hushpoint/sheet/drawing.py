"""What every picture shares: matplotlib's settings are its own globals, so one picture is drawn at a time."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Say = Callable[[str], str]
"""Says a text of ours in the language of whoever looks."""

ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, slots=True)
class Ink:
    """Colours of one scheme: page, ink, soft text, hairline, accent."""

    page: str
    ink: str
    soft: str
    hair: str
    accent: str


LIGHT = Ink("#FBFAF6", "#1C1B18", "#57544C", "#D8D4C8", "#1A5276")
DARK = Ink("#171614", "#EFECE4", "#B3AEA2", "#3A3733", "#8CC0E6")


def spoken(figure: Figure, say: Say) -> None:
    """Say every text of a drawn figure, and the decimals at its axes, in the language of whoever looks."""
    if say is str:
        return
    from matplotlib.text import Text
    from matplotlib.ticker import FuncFormatter, ScalarFormatter

    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            marks, places = axis.get_major_formatter(), [float(place) for place in axis.get_majorticklocs()]
            if isinstance(marks, ScalarFormatter):
                said = dict(zip(places, map(say, marks.format_ticks(places)), strict=True))
                axis.set_major_formatter(FuncFormatter(lambda value, _, said=said: said.get(float(value), "")))
    for text in figure.findobj(Text):
        shown = text.get_text()
        said_lines = "\n".join(say(line) for line in shown.split("\n"))
        if said_lines != shown:
            text.set_text(said_lines)
