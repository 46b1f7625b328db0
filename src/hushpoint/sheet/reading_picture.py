"""The picture of a recording as the ear read it: cuff pressure with marked beats, sound, energy by band, levels.

Nothing is told by colour alone: sounding beats are filled marks, silent ones dots, ends are lines with their numbers
in words, ranges are hatched bands, a human's reading is a dashed line with an open triangle and its name.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from hushpoint.ear.bands import BANDS_HZ, THUMP_HZ, bands_of
from hushpoint.measure import Heard, Withheld
from hushpoint.sheet.drawing import ONE_AT_A_TIME, Say, spoken

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.floating[Any]]
MOST_POINTS = 4000
COLUMNS = 900
"""Steps in time of the energy by band: about a pixel each."""
DEEPEST_DB = 50.0
"""Energy is shown down to this far below the strongest of its picture [dB]."""
SOUNDING = 0.5
CAUTION = "A teaching aid, not a judgement of a person's health; local rules and licensed practice decide."


@dataclass(frozen=True)
class _Look:
    """Colours of a light page or a dark one."""

    page: str
    ink: str
    soft: str
    hair: str
    accent: str
    ramp: str


LIGHT = _Look("#FBFAF6", "#1C1B18", "#57544C", "#D8D4C8", "#1A5276", "Greys")
DARK = _Look("#171614", "#EFECE4", "#B3AEA2", "#3A3733", "#8CC0E6", "gray")


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
    def beats(self) -> Sequence[_Beat]: ...


def reading_picture(
    samples: Floats,
    rate_hz: float,
    time_s: Floats,
    pressure_mmhg: Floats,
    read: Read,
    *,
    title: str = "",
    form: Literal["png", "svg", "pdf"] = "png",
    marks: Sequence[tuple[str, int | None, int | None]] = (),
    dark: bool = False,
    say: Say = str,
) -> bytes:
    """Return the picture; the same recording and answer give the same bytes.

    `marks`: name, systolic and diastolic [mmHg] of humans' readings; None where not heard.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure

    look = DARK if dark else LIGHT
    settings: dict[Any, Any] = {"font.family": ["DejaVu Sans"], "font.size": 10, "svg.hashsalt": "reading"}
    with ONE_AT_A_TIME, mpl.rc_context(settings):
        figure = Figure(figsize=(9.0, 7.6), facecolor=look.page)
        cuff, sound, bands, level = figure.subplots(4, 1, sharex=True, height_ratios=(3, 0.9, 1.5, 1.3))
        figure.subplots_adjust(left=0.1, right=0.98, top=0.89, bottom=0.1, hspace=0.12)
        for axes in (cuff, sound, bands, level):
            _calm(axes, look)
        _cuff(cuff, time_s, pressure_mmhg, read, marks, look, say)
        _sound(sound, samples, rate_hz, look)
        _bands(bands, samples, rate_hz, look)
        _levels(level, read, look)
        level.set_xlabel("time, s", color=look.ink)
        level.set_xlim(min(0.0, float(time_s[0])), max(len(samples) / rate_hz, float(time_s[-1])))
        figure.suptitle("\n".join([title, _words(read, say)]).strip(), x=0.1, ha="left", color=look.ink, fontsize=11)
        figure.text(0.1, 0.015, CAUTION, color=look.soft, fontsize=8)
        spoken(figure, say)
        out = io.BytesIO()
        figure.savefig(out, format=form, dpi=110, metadata={"png": {}, "svg": {"Date": None},
                                                            "pdf": {"CreationDate": None}}[form])  # fmt: skip
        return out.getvalue()


def _words(read: Read, say: Say) -> str:
    said = []
    for name, end in (("systolic", read.systolic), ("diastolic", read.diastolic)):
        match end:
            case Heard(mmhg, low, high):
                said.append(say(f"{name} {mmhg:.0f} mmHg ({low:.0f} to {high:.0f})"))
            case Withheld(reason):
                said.append(say(f"{name} withheld: {reason}"))
    return "\n".join(said)


def _calm(axes: Axes, look: _Look) -> None:
    axes.set_facecolor(look.page)
    axes.tick_params(colors=look.soft)
    for side, spine in axes.spines.items():
        spine.set_visible(side in {"left", "bottom"})
        spine.set_color(look.hair)


def _cuff(
    axes: Axes,
    time_s: Floats,
    pressure_mmhg: Floats,
    read: Read,
    marks: Sequence[tuple[str, int | None, int | None]],
    look: _Look,
    say: Say,
) -> None:
    axes.plot(time_s, pressure_mmhg, color=look.soft, linewidth=0.9)
    loud = [beat for beat in read.beats if beat.sounding > SOUNDING]
    quiet = [beat for beat in read.beats if beat.sounding <= SOUNDING]
    axes.plot([b.at_s for b in quiet], [b.mmhg for b in quiet], ".", color=look.soft, label="beat, silent")
    axes.plot([b.at_s for b in loud], [b.mmhg for b in loud], "D", color=look.ink, markersize=4,
              label="beat, sounding")  # fmt: skip
    start_s, end_s = float(time_s[0]), float(time_s[-1])
    for name, end in (("systolic", read.systolic), ("diastolic", read.diastolic)):
        if isinstance(end, Heard):
            axes.axhspan(
                end.low_mmhg,
                end.high_mmhg,
                facecolor="none",
                edgecolor=look.soft,
                hatch="////",
                linewidth=0.6,
                alpha=0.6,
            )
            axes.axhline(end.mmhg, color=look.ink, linewidth=0.8)
            axes.annotate(f"{say(name)} {end.mmhg:.0f}", (start_s, end.mmhg), va="bottom", color=look.ink, fontsize=9)
    for place, (name, *both) in enumerate(marks):
        at_s = start_s + (0.3 + 0.12 * (place % 5)) * (end_s - start_s)
        for mmhg in both:
            if mmhg is not None:
                axes.axhline(mmhg, color=look.accent, linewidth=1.2, linestyle="--")
                axes.plot([at_s], [mmhg], "^", markerfacecolor=look.page, markeredgecolor=look.accent, markersize=7)
                axes.annotate(f"{name} {mmhg}", (at_s, mmhg), xytext=(6, 2), textcoords="offset points",
                              va="bottom", color=look.accent, fontsize=9)  # fmt: skip
    axes.set_ylabel("cuff, mmHg", color=look.ink)
    if read.beats:
        axes.legend(frameon=False, fontsize=9, labelcolor=look.ink, loc="upper right")


def _sound(axes: Axes, samples: Floats, rate_hz: float, look: _Look) -> None:
    """Draw the lowest and highest sample of each of at most 2 000 stretches."""
    block = max(1, len(samples) * 2 // MOST_POINTS)
    whole = samples[: len(samples) // block * block].reshape(-1, block)
    at = (np.arange(len(whole)) + 0.5) * block / rate_hz
    axes.fill_between(at, whole.min(axis=1), whole.max(axis=1), color=look.ink, linewidth=0)
    axes.set_ylabel("sound", color=look.ink)


def _bands(axes: Axes, samples: Floats, rate_hz: float, look: _Look) -> None:
    """Draw energy by band over time, the strongest moment of each step, in dB below the strongest of all."""
    heights = (THUMP_HZ, *BANDS_HZ)
    axes.set_yticks(range(len(heights)), [f"{low:.0f}–{high:.0f}" for low, high in heights], fontsize=8)
    axes.set_ylabel("energy by Hz", color=look.ink)
    samples = np.nan_to_num(np.asarray(samples, float))
    if len(samples) < rate_hz or not np.ptp(samples):
        return  # nothing to draw: silent, or shorter than a second
    found = bands_of(samples - samples.mean(), rate_hz)
    energy = np.vstack([found.thump, found.bands])
    block = -(-energy.shape[1] // COLUMNS)
    short = energy[:, : energy.shape[1] // block * block].reshape(len(heights), -1, block).max(axis=2)
    level_db = 10 * np.log10(np.maximum(short, 1e-30) / short.max())
    end_s = float(found.time_s[0]) + short.shape[1] * block * float(np.diff(found.time_s).mean())
    axes.imshow(level_db, aspect="auto", origin="lower", cmap=look.ramp, vmin=-DEEPEST_DB, vmax=0,
                extent=(float(found.time_s[0]), end_s, -0.5, len(heights) - 0.5), interpolation="nearest")  # fmt: skip


def _levels(axes: Axes, read: Read, look: _Look) -> None:
    axes.axhline(0, color=look.hair, linewidth=0.8)
    for beat in read.beats:
        axes.plot([beat.at_s] * 2, [0, beat.excess_db], color=look.ink if beat.sounding > SOUNDING else look.soft,
                  linewidth=2.4 if beat.sounding > SOUNDING else 0.9)  # fmt: skip
    axes.set_ylabel("over silence, dB", color=look.ink)
