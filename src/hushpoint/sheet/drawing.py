"""What every picture shares: matplotlib's settings are its own globals, so one picture is drawn at a time."""

from __future__ import annotations

import threading
from dataclasses import dataclass

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
