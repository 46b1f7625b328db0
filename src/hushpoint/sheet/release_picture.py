"""The picture of a release: every sound on the falling cuff, the truth, the learner's marks and the rate.

Drawn from the judgement as docs/bench-format.md has it. Nothing is told by colour alone: the truth is a
solid line with a filled mark, the learner's marks are dashed with open triangles, unheard beats are dots, a
gap is hatched, and all of them carry words. `release_table` tells the same as rows of text.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from hushpoint.measure import truth_words
from hushpoint.sheet.drawing import DARK, LIGHT, ONE_AT_A_TIME, Ink, Say, spoken

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LOUDEST_DB = 60.0
"""Top of the loudness axis [dB over the hearing floor]: the loudest arm is 55."""
FASTEST_MMHG_PER_S = 8.0
"""Top of the rate strip; faster is drawn at the top and named in the judgement's lines."""
RATE_WINDOW_S = 1.0
MARGIN_MMHG = 14.0
DOT_DB = -2.0


def release_picture(
    judgement: Mapping[str, Any], *, form: Literal["svg", "png"] = "svg", dark: bool = False, say: Say = str
) -> bytes:
    """Return the picture of a judged release as SVG or PNG; the same judgement gives the same bytes."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    ink = DARK if dark else LIGHT
    settings: dict[Any, Any] = {
        "font.family": ["DejaVu Sans"],
        "font.size": 10,
        "svg.hashsalt": "release",
        "svg.fonttype": "none",
        "hatch.linewidth": 0.8,
        "hatch.color": ink.soft,
    }
    with ONE_AT_A_TIME, mpl.rc_context(settings):
        figure = Figure(figsize=(8.0, 4.6), facecolor=ink.page)
        sounds, rate = figure.subplots(2, 1, sharex=True, height_ratios=(3.4, 1.0))
        figure.subplots_adjust(left=0.1, right=0.98, top=0.84, bottom=0.13, hspace=0.16)
        for axes in (sounds, rate):
            _calm(axes, ink)
        _limits(sounds, judgement)
        _sounds(sounds, judgement, ink)
        _marks(sounds, judgement, ink, say)
        _rate(rate, judgement, ink)
        spoken(figure, say)
        return _bytes(figure, form)


def release_table(judgement: Mapping[str, Any]) -> list[tuple[str, ...]]:
    """Return the same as rows of text: a heading, then what was true and written, rates, and every beat."""
    rows: list[tuple[str, ...]] = [("cuff, mmHg", "what", "detail")]
    for end in ("systolic", "diastolic"):
        verdict, written = judgement["truth"][end], judgement["reading"][end]
        if verdict["verdict"] == "heard":
            rows.append((truth_words(verdict["mmhg"]), f"truth, {end}", "heard"))
        else:
            rows.append(("", f"truth, {end}", f"withheld: {verdict['reason']}"))
        rows.append(
            (
                "" if written is None else str(written),
                f"you, {end}",
                "not heard" if written is None else "written",
            )
        )
    picture = judgement["picture"]
    if picture["gap_mmhg"]:
        low, high = picture["gap_mmhg"]
        rows.append((f"{high:.0f} to {low:.0f}", "silent gap", "no sound"))
    low, high = picture["asked_rate"]
    for one in judgement["hand"]["segments"]:
        asked = f"{low:g} to {high:g} is asked"
        rows.append(
            (
                f"{one['from_mmhg']:.0f} to {one['to_mmhg']:.0f}",
                "release",
                f"{one['rate_mmhg_per_s']:.1f} mmHg/s; {asked}",
            )
        )
    for beat in picture["beats"]:
        detail = f"phase {beat['phase']}, {beat['level_db']:.0f} dB" if beat["audible"] else "not audible"
        rows.append((f"{beat['mmhg']:.0f}", "beat", detail))
    return rows


def _calm(axes: Axes, ink: Ink) -> None:
    axes.set_facecolor(ink.page)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(ink.soft)
    axes.tick_params(colors=ink.soft, labelcolor=ink.ink)
    axes.xaxis.label.set_color(ink.ink)
    axes.yaxis.label.set_color(ink.ink)


def _limits(axes: Axes, judgement: Mapping[str, Any]) -> None:
    """Show the cuff falling to the right, from above the first beat to below the last mark."""
    beats = [beat["mmhg"] for beat in judgement["picture"]["beats"]]
    shown = [*beats, *(mmhg for _, mmhg in _points(judgement))] or [40.0, 160.0]
    audible = [beat["mmhg"] for beat in judgement["picture"]["beats"] if beat["audible"]]
    lowest = min([*audible, *(mmhg for _, mmhg in _points(judgement))] or shown)
    # a long tail of silence below the last sound would squeeze what matters
    axes.set_xlim(max(shown) + 4, max(lowest - 2 * MARGIN_MMHG, min(shown) - 4, 0))


def _points(judgement: Mapping[str, Any]) -> list[tuple[str, float]]:
    """Return (whose, pressure) of every mark there is."""
    points = []
    for end in ("systolic", "diastolic"):
        if judgement["truth"][end]["verdict"] == "heard":
            points.append(("truth", float(judgement["truth"][end]["mmhg"])))
        if judgement["reading"][end] is not None:
            points.append(("you", float(judgement["reading"][end])))
    return points


def _sounds(axes: Axes, judgement: Mapping[str, Any], ink: Ink) -> None:
    picture = judgement["picture"]
    heard = [beat for beat in picture["beats"] if beat["audible"]]
    unheard = [beat for beat in picture["beats"] if not beat["audible"]]
    axes.vlines(
        [beat["mmhg"] for beat in heard],
        0,
        [min(max(beat["level_db"], 1.0), LOUDEST_DB) for beat in heard],
        color=ink.ink,
        linewidth=2.2,
    )
    axes.plot(
        [beat["mmhg"] for beat in unheard],
        [DOT_DB] * len(unheard),
        linestyle="none",
        marker=".",
        markersize=4,
        color=ink.soft,
    )
    if picture["gap_mmhg"]:
        low, high = picture["gap_mmhg"]
        axes.axvspan(low, high, ymin=0.06, ymax=0.62, facecolor="none", edgecolor=ink.soft, hatch="///", linewidth=0)
        axes.text((low + high) / 2, LOUDEST_DB * 0.5, "silent gap", ha="center", va="bottom", color=ink.ink,
                  bbox={"facecolor": ink.page, "edgecolor": "none", "pad": 2})  # fmt: skip
    if not heard:
        axes.text(0.5, 0.45, "no sound could be heard", transform=axes.transAxes, ha="center", color=ink.ink)
    axes.set_ylim(-6, LOUDEST_DB)
    axes.set_yticks([0, 20, 40])
    axes.set_ylabel("sound, dB")


def _marks(axes: Axes, judgement: Mapping[str, Any], ink: Ink, say: Say) -> None:
    """Draw truth and learner above the sounds, each on its own line of labels."""
    for whose, mmhg in _points(judgement):
        truth = whose == "truth"
        height = 1.14 if truth else 1.03
        axes.axvline(
            mmhg,
            ymax=height - 0.02,
            clip_on=False,
            color=ink.ink if truth else ink.accent,
            linewidth=1.6,
            linestyle="-" if truth else (0, (4, 3)),
        )
        axes.plot(
            [mmhg],
            [height],
            transform=axes.get_xaxis_transform(),
            clip_on=False,
            marker="v",
            markersize=8,
            markerfacecolor=ink.ink if truth else ink.page,
            markeredgecolor=ink.ink if truth else ink.accent,
            markeredgewidth=1.6,
        )
        axes.annotate(
            f"{say(whose)} {truth_words(mmhg)}",
            (mmhg, height),
            xycoords=axes.get_xaxis_transform(),
            xytext=(8, 0),
            textcoords="offset points",
            va="center",
            color=ink.ink if truth else ink.accent,
            annotation_clip=False,
        )
    missing = [
        f"{say(whose)}, {say(end)}: {say('withheld' if whose == 'truth' else 'not heard')}"
        for end in ("systolic", "diastolic")
        for whose, absent in (
            ("truth", judgement["truth"][end]["verdict"] != "heard"),
            ("you", judgement["reading"][end] is None),
        )
        if absent
    ]
    if missing:
        axes.text(0.995, 0.97, "\n".join(missing), transform=axes.transAxes, ha="right", va="top", color=ink.ink,
                  bbox={"facecolor": ink.page, "edgecolor": ink.soft, "pad": 4})  # fmt: skip


def _rate(axes: Axes, judgement: Mapping[str, Any], ink: Ink) -> None:
    picture = judgement["picture"]
    time, mmhg = np.asarray(picture["pressure"]["time_s"]), np.asarray(picture["pressure"]["mmhg"])
    low, high = picture["asked_rate"]
    left, right = axes.get_xlim()
    axes.fill_between([left, right], low, high, facecolor=ink.hair, edgecolor=ink.soft, linewidth=1)
    axes.annotate(
        f"{low:g} to {high:g} asked",
        (right, low),
        xytext=(-4, -3),
        textcoords="offset points",
        ha="right",
        va="top",
        color=ink.soft,
        fontsize=9,
    )
    if len(time) > 1 and time[-1] - time[0] > RATE_WINDOW_S:
        grid = np.arange(time[0] + RATE_WINDOW_S / 2, time[-1] - RATE_WINDOW_S / 2, 0.1)
        before = np.interp(grid - RATE_WINDOW_S / 2, time, mmhg)
        after = np.interp(grid + RATE_WINDOW_S / 2, time, mmhg)
        rate = np.clip((before - after) / RATE_WINDOW_S, 0, FASTEST_MMHG_PER_S)
        axes.plot(np.interp(grid, time, mmhg), rate, color=ink.ink, linewidth=1.6)
    axes.set_ylim(0, FASTEST_MMHG_PER_S)
    axes.set_yticks([0, 2, 4, 6, 8])
    axes.set_ylabel("mmHg/s")
    axes.set_xlabel("cuff pressure, mmHg, falling. Bars are sounds, dots are beats without one")


def _bytes(figure: Any, form: str) -> bytes:
    out = io.BytesIO()
    if form == "svg":
        figure.savefig(out, format="svg", facecolor=figure.get_facecolor(), metadata={"Date": None, "Creator": None})
    else:
        figure.savefig(out, format="png", dpi=150, facecolor=figure.get_facecolor(), metadata={"Software": None})
    return out.getvalue()
