"""The picture of a recording as the ear read it: cuff pressure with marked beats, sound, and energy by band.

Nothing is told by colour alone: sounding beats are filled marks, silent ones dots, ends are lines with their numbers
in words, ranges are hatched bands.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from hushpoint.measure import Heard, Withheld
from hushpoint.sheet.drawing import ONE_AT_A_TIME

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.floating[Any]]
PAGE, INK, SOFT, HAIR, ACCENT = "#FBFAF6", "#1C1B18", "#57544C", "#D8D4C8", "#1A5276"
MOST_POINTS = 4000
SOUNDING = 0.5
CAUTION = "A teaching aid, not a judgement of a person's health; local rules and licensed practice decide."


class _Beat(Protocol):
    @property
    def at_s(self) -> float: ...
    @property
    def mmhg(self) -> float: ...
    @property
    def excess_db(self) -> float: ...
    @property
    def sounding(self) -> float: ...


class Read(Protocol):
    """What the ear said of a recording."""

    @property
    def systolic(self) -> Heard | Withheld: ...
    @property
    def diastolic(self) -> Heard | Withheld: ...
    @property
    def beats(self) -> tuple[_Beat, ...]: ...


def reading_picture(
    samples: Floats,
    rate_hz: float,
    time_s: Floats,
    pressure_mmhg: Floats,
    read: Read,
    *,
    title: str = "",
    form: Literal["png", "svg", "pdf"] = "png",
) -> bytes:
    """Return the picture; the same recording and answer give the same bytes."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    settings: dict[Any, Any] = {"font.family": ["DejaVu Sans"], "font.size": 10, "svg.hashsalt": "reading"}
    with ONE_AT_A_TIME, mpl.rc_context(settings):
        figure = Figure(figsize=(9.0, 6.2), facecolor=PAGE)
        cuff, sound, level = figure.subplots(3, 1, sharex=True, height_ratios=(3, 1.2, 1.6))
        figure.subplots_adjust(left=0.09, right=0.98, top=0.86, bottom=0.12, hspace=0.12)
        for axes in (cuff, sound, level):
            _calm(axes)
        _cuff(cuff, time_s, pressure_mmhg, read)
        _sound(sound, samples, rate_hz)
        _levels(level, read)
        level.set_xlabel("time, s", color=INK)
        figure.suptitle("\n".join([title, _words(read)]).strip(), x=0.09, ha="left", color=INK, fontsize=11)
        figure.text(0.09, 0.015, CAUTION, color=SOFT, fontsize=8)
        out = io.BytesIO()
        figure.savefig(out, format=form, dpi=110, metadata={"png": {}, "svg": {"Date": None},
                                                            "pdf": {"CreationDate": None}}[form])  # fmt: skip
        return out.getvalue()


def _words(read: Read) -> str:
    said = []
    for name, end in (("systolic", read.systolic), ("diastolic", read.diastolic)):
        match end:
            case Heard(mmhg, low, high):
                said.append(f"{name} {mmhg:.0f} mmHg ({low:.0f} to {high:.0f})")
            case Withheld(reason):
                said.append(f"{name} withheld: {reason}")
    return "\n".join(said)


def _calm(axes: Axes) -> None:
    axes.set_facecolor(PAGE)
    axes.tick_params(colors=SOFT)
    for side, spine in axes.spines.items():
        spine.set_visible(side in {"left", "bottom"})
        spine.set_color(HAIR)


def _cuff(axes: Axes, time_s: Floats, pressure_mmhg: Floats, read: Read) -> None:
    axes.plot(time_s, pressure_mmhg, color=SOFT, linewidth=0.9)
    loud = [beat for beat in read.beats if beat.sounding > SOUNDING]
    quiet = [beat for beat in read.beats if beat.sounding <= SOUNDING]
    axes.plot([b.at_s for b in quiet], [b.mmhg for b in quiet], ".", color=SOFT, label="beat, silent")
    axes.plot([b.at_s for b in loud], [b.mmhg for b in loud], "D", color=ACCENT, markersize=4, label="beat, sounding")
    for name, end in (("systolic", read.systolic), ("diastolic", read.diastolic)):
        if isinstance(end, Heard):
            axes.axhspan(end.low_mmhg, end.high_mmhg, facecolor="none", edgecolor=HAIR, hatch="///", linewidth=0)
            axes.axhline(end.mmhg, color=INK, linewidth=0.8)
            axes.annotate(f"{name} {end.mmhg:.0f}", (float(time_s[0]), end.mmhg), va="bottom", color=INK, fontsize=9)
    axes.set_ylabel("cuff, mmHg", color=INK)
    if read.beats:
        axes.legend(frameon=False, fontsize=9, labelcolor=INK, loc="upper right")


def _sound(axes: Axes, samples: Floats, rate_hz: float) -> None:
    """Draw the lowest and highest sample of each of at most 2 000 stretches."""
    block = max(1, len(samples) * 2 // MOST_POINTS)
    whole = samples[: len(samples) // block * block].reshape(-1, block)
    at = (np.arange(len(whole)) + 0.5) * block / rate_hz
    axes.fill_between(at, whole.min(axis=1), whole.max(axis=1), color=INK, linewidth=0)
    axes.set_ylabel("sound", color=INK)


def _levels(axes: Axes, read: Read) -> None:
    axes.axhline(0, color=HAIR, linewidth=0.8)
    for beat in read.beats:
        axes.plot([beat.at_s] * 2, [0, beat.excess_db], color=ACCENT if beat.sounding > SOUNDING else SOFT,
                  linewidth=2.4 if beat.sounding > SOUNDING else 0.9)  # fmt: skip
    axes.set_ylabel("over silence, dB", color=INK)
