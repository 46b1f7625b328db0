"""A form of a paper for a room without a server: sound files with the pressure told by beeps, answer sheet, key.

A sound file has two channels: the sounds on the left, a short beep on the right whenever the falling cuff passes a
multiple of ten, two at fifties. The sheet says which ten the first beep is and has a ruler for each measurement: a
stroke marks where the sounds begin, another where they end. So no dial has to move, and any player will do.
"""

from __future__ import annotations

import io
import textwrap
import zipfile
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm.playback import Playback
from hushpoint.desk.papers import Paper, keys_of, measurement_of
from hushpoint.desk.printed import printed
from hushpoint.guideline import teaching_policy
from hushpoint.practice.sealed import Key, Sealed
from hushpoint.recording import wav_bytes
from hushpoint.words import ENGLISH, Reader, reader

Samples = NDArray[np.float32]

BEEP_HZ, BEEP_S, BEEP_PEAK = 1000.0, 0.06, 0.08
"""Far above the sounds, so that it hides none of them (their partials end at 260 Hz)."""
EVERY_MMHG, TWICE_AT_MMHG = 10, 50
SECOND_AFTER_S = 0.14
RULER_MMHG = (30, 290)
_EARLY = (1980, 1, 1, 0, 0, 0)
"""The same form gives the same bytes: no file of the archive tells when it was made."""


def form_zip(paper: Paper, number: int, *, made_at: datetime, invented: bool, to: Reader | None = None) -> bytes:
    """Return the sound files and the answer sheet of a form as ZIP: no number and no label of the truth in it."""
    packed = io.BytesIO()
    first = []
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for place in range(1, paper.size + 1):
            made, told_mmhg = told_sound(measurement_of(paper, number, place))
            first.append(told_mmhg)
            archive.writestr(zipfile.ZipInfo(f"form-{number}/{place:02}.wav", _EARLY), made, zipfile.ZIP_DEFLATED)
        sheet = answer_sheet(paper, number, first, made_at=made_at, invented=invented, to=to)
        archive.writestr(zipfile.ZipInfo(f"form-{number}/answer-sheet.pdf", _EARLY), sheet)
        archive.writestr(zipfile.ZipInfo(f"form-{number}/read-me.txt", _EARLY), read_me(number, to or reader(ENGLISH)))
    return packed.getvalue()


def told_sound(sealed: Sealed) -> tuple[bytes, int]:
    """Return a measurement as two-channel WAV with its beeps, and the pressure of the first beep [mmHg]."""
    played = sealed.played()
    right = np.zeros_like(played.samples)
    crossings = _crossings(played, sealed.open_at_mmhg)
    beep = _beep(played.rate_hz)
    for mmhg, at_s in crossings:
        for later_s in (0.0, SECOND_AFTER_S) if mmhg % TWICE_AT_MMHG == 0 else (0.0,):
            start = round((at_s + later_s) * played.rate_hz)
            part = right[start : start + len(beep)]
            part += beep[: len(part)]
    return wav_bytes(np.column_stack((played.samples, right)), played.rate_hz), crossings[0][0]


def answer_sheet(
    paper: Paper,
    number: int,
    first_mmhg: list[int],
    *,
    made_at: datetime,
    invented: bool,
    to: Reader | None = None,
) -> bytes:
    """Return the answer sheet as PDF: for each measurement the ten of its first beep, a ruler, two fields."""
    values = {
        **_head(paper, number, made_at, invented, to),
        "low": RULER_MMHG[0],
        "high": RULER_MMHG[1],
        "rows": [{"place": place, "first": told} for place, told in enumerate(first_mmhg, start=1)],
    }
    return printed("paper_answers", values, to=to, made_at=made_at)


def key_sheet(paper: Paper, number: int, *, made_at: datetime, invented: bool, to: Reader | None = None) -> bytes:
    """Return the key of a form as PDF, marked KEY on every line of its head."""
    keys: list[Key] = list(keys_of(paper, number))
    values = {
        **_head(paper, number, made_at, invented, to),
        "rows": [
            [
                str(place),
                str(key.systolic_mmhg),
                str(key.diastolic_mmhg),
                f"{key.systolic.mmhg:.1f}/{key.diastolic.mmhg:.1f}",
            ]
            for place, key in enumerate(keys, start=1)
        ],
    }
    return printed("paper_key", values, to=to, made_at=made_at)


def _head(paper: Paper, number: int, made_at: datetime, invented: bool, to: Reader | None) -> Mapping[str, Any]:
    say = (to or reader(ENGLISH)).ours
    rule, policy = paper.rule, teaching_policy(paper.policy_id)
    return {
        "title": paper.title,
        "form": number,
        "rule": say("practice only, no pass rule") if rule is None else f"{say(rule.name)}: {say(rule.text)}",
        "source": "" if rule is None else f"{rule.source} ({rule.provenance})",
        "policy": say(policy.name),
        "end_point": say("the last sound" if policy.end_point == "last_sound" else "the first silence"),
        "made": made_at.strftime("%d %B %Y"),
        "invented": invented,
    }


def _crossings(played: Playback, open_at_mmhg: float) -> list[tuple[int, float]]:
    """Return each multiple of ten that the slow release passes [mmHg], and when [s]."""
    line = played.line_mmhg
    top = int(np.argmax(line))
    falling, found = line[top:], []
    highest = int(np.ceil(line[top] / EVERY_MMHG) - 1) * EVERY_MMHG
    for mmhg in range(highest, int(open_at_mmhg), -EVERY_MMHG):
        found.append((mmhg, (top + int(np.argmax(falling <= mmhg))) * played.step_s))
    return found


def _beep(rate_hz: int) -> Samples:
    time = np.arange(round(BEEP_S * rate_hz)) / rate_hz
    rounded = np.sin(np.pi * time / BEEP_S) ** 2  # no click at its ends
    return (BEEP_PEAK * rounded * np.sin(2 * np.pi * BEEP_HZ * time)).astype(np.float32)


_READ_ME = (
    "Play the files 01 to 12 in order, each once, over earphones or through good headphones handed round. Loudspeakers "
    "of laptops and phones lose the muffled sounds: not for this.",
    "Left channel: what the stethoscope gives. Right channel: a beep whenever the falling cuff passes a multiple of "
    "ten, two beeps at fifties. The answer sheet says which ten the first beep of each file is.",
    "The key is not in here. It is opened by itself, on the lecturer's page of the paper.",
)


def read_me(number: int, to: Reader) -> str:
    """Return what lies beside the sound files of a form, to be read before they are played."""
    said = (f"Form {number} of a listening paper. Practice people are invented.", *_READ_ME)
    return "".join(f"{textwrap.fill(to.ours(one), 120)}\n\n" for one in said).rstrip("\n") + "\n"
