"""The lesson on the phases, for a big screen: one arm heard and seen, questions to the class, and what a target misses.

Everything is made anew from a few choices; nothing is stored, nobody is named. All persons are invented.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from types import MappingProxyType
from typing import Any

import numpy as np

from hushpoint.arm import BeatHeard, Person
from hushpoint.arm.playback import Playback, play_measurement
from hushpoint.errors import BadInputError
from hushpoint.measure import Heard, whole_mmhg
from hushpoint.practice.cases import LONG_MUFFLED_WIDTHS
from hushpoint.practice.profiles import profile_of, profile_sounds
from hushpoint.recording import wav_bytes

PERSONS: Mapping[str, tuple[str, Person]] = MappingProxyType(
    {
        "usual": ("an ordinary arm", Person(systolic_mmhg=128, diastolic_mmhg=82)),
        "gap": (
            "a silent gap",
            Person(age_years=67, systolic_mmhg=196, diastolic_mmhg=104, gap_mmhg=(150, 178), pulse_per_min=76),
        ),
        "irregular": (
            "an irregular pulse",
            Person(age_years=71, systolic_mmhg=148, diastolic_mmhg=88, rhythm="irregular", pulse_per_min=84),
        ),
        "muffled": (
            "a long muffled end",
            Person(age_years=55, systolic_mmhg=136, diastolic_mmhg=72, phase_widths=LONG_MUFFLED_WIDTHS),
        ),
        "faint": ("faint sounds", Person(systolic_mmhg=118, diastolic_mmhg=74, loudness_db=30)),
    }
)
SPEEDS: Mapping[str, tuple[str, float]] = MappingProxyType(
    {"usual": ("2.5 mmHg/s, as asked", 2.5), "slow": ("1.2 mmHg/s, slowed", 1.2)}
)
PALPATED_PLUS_MMHG = 30.0
TARGETS: Mapping[str, tuple[str, float | None]] = MappingProxyType(
    {
        "palpated": ("pumped 30 above the palpated value", None),
        "fixed_180": ("pumped to a fixed 180", 180.0),
        "fixed_160": ("pumped to a fixed 160", 160.0),
    }
)
QUESTIONS: Mapping[str, str] = MappingProxyType(
    {"phase": "Which phase is this?", "gap": "Gap, or end?", "rhythm": "Regular, or not?"}
)
PHASE_WORDS = MappingProxyType(
    {
        "I": "phase I: clear taps, the first sounds",
        "II": "phase II: softer, swishing",
        "III": "phase III: crisp and loud",
        "IV": "phase IV: muffled, close to the end",
    }
)
BELOW_MMHG = 14.0
"""The release stays slow so far below diastolic."""
CLIP_S, RHYTHM_S, SILENCE_S = 5.0, 9.0, 4.0
WIDTH, HEIGHT = 1000, 220
MARKS_APART = 40
"""Pressures nearer together than this would lie over each other: the cuff is opened fully there."""
QUIETEST_DB, LOUDEST_DB = 0.0, 50.0
MOST_SEED = 2**31 - 1


@dataclass(frozen=True, slots=True)
class Shown:
    """What is on the screen: whose arm, how fast, how high pumped, which chance."""

    person: str = "usual"
    speed: str = "usual"
    target: str = "palpated"
    seed: int = 1

    def __post_init__(self) -> None:
        """Raise BadInputError for an unknown choice."""
        for what, chosen, known in (
            ("person", self.person, PERSONS),
            ("speed", self.speed, SPEEDS),
            ("target", self.target, TARGETS),
        ):
            if chosen not in known:
                raise BadInputError(f"{what}: must be one of {', '.join(known)}")
        if not 0 <= self.seed <= MOST_SEED:
            raise BadInputError(f"seed: must be 0 to {MOST_SEED}")


@lru_cache(maxsize=24)
def played(shown: Shown, profile_id: str = "headphones") -> Playback:
    """Return the release as it is played."""
    person, fixed = PERSONS[shown.person][1], TARGETS[shown.target][1]
    return play_measurement(
        person,
        peak_mmhg=person.systolic_mmhg + PALPATED_PLUS_MMHG if fixed is None else fixed,
        open_at_mmhg=person.diastolic_mmhg - BELOW_MMHG,
        release_mmhg_per_s=SPEEDS[shown.speed][1],
        seed=shown.seed,
        voice=partial(profile_sounds, profile_of(profile_id)),
    )


def sound(shown: Shown, profile_id: str) -> bytes:
    """Return the release from the top as WAV."""
    made = played(shown, profile_id)
    return _cut(made, made.truth.release_from_s, made.seconds)


def picture(shown: Shown) -> dict[str, Any]:
    """Return the release drawn: beats, phases and pressures by place from 0 to WIDTH, and how long it lasts [s]."""
    made = played(shown)
    start, end = made.truth.release_from_s, made.seconds

    def across(at_s: float) -> float:
        return round(WIDTH * (at_s - start) / (end - start), 1)

    beats = [one for one in made.truth.beats if one.at_s <= end]
    bars = [{"x": across(one.at_s), "height": _bar(one), "audible": one.audible, "phase": one.phase} for one in beats]
    spans = [
        {
            "phase": phase,
            "from": across(first),
            "to": across(last),
            "middle": round((across(first) + across(last)) / 2, 1),
        }
        for phase, first, last in _spans(beats)
    ]
    time = made.step_s * np.arange(len(made.line_mmhg))
    after = time >= start
    marks: list[dict[str, float]] = []
    for mmhg in range(300, 0, -20):
        below = np.flatnonzero(after & (made.line_mmhg <= mmhg))
        if not len(below) or made.line_mmhg[after].max() < mmhg:
            continue
        x = across(float(time[below[0]]))
        if x < WIDTH - MARKS_APART and (not marks or x - marks[-1]["x"] >= MARKS_APART):
            marks.append({"x": x, "mmhg": mmhg})
    return {"bars": bars, "spans": spans, "marks": marks, "seconds": round(end - start, 2), "ends": ends(shown)}


def ends(shown: Shown) -> dict[str, str]:
    """Return what the best ear would write, in words."""
    truth = played(shown).truth
    return {
        end: str(whole_mmhg(found.mmhg)) if isinstance(found, Heard) else found.reason
        for end, found in (("systolic", truth.systolic), ("diastolic", truth.diastolic))
    }


def missed(shown: Shown) -> list[dict[str, str]]:
    """Return for every target what would be written on this same person, so that a class sees what is missed."""
    return [
        {"target": target, "words": words, **ends(replace(shown, target=target))}
        for target, (words, _) in TARGETS.items()
    ]


def question(what: str, seed: int, profile_id: str = "headphones") -> tuple[bytes, str]:
    """Return a short sound for the class and its answer in words; the same seed gives the same question."""
    if what not in QUESTIONS:
        raise BadInputError(f"question: must be one of {', '.join(QUESTIONS)}")
    rng = np.random.default_rng([seed, len(what)])
    if what == "phase":
        made = played(Shown("muffled" if rng.random() < 0.5 else "usual", "slow", "palpated", seed), profile_id)
        spans = [one for one in _spans(made.truth.beats) if one[0] in PHASE_WORDS]
        phase, first, last = spans[int(rng.integers(len(spans)))]
        middle = (first + last) / 2
        return _cut(made, max(first - 0.2, middle - CLIP_S / 2), min(last + 0.6, middle + CLIP_S / 2)), PHASE_WORDS[
            phase
        ]
    if what == "gap":
        is_gap = bool(rng.random() < 0.5)
        made = played(Shown("gap" if is_gap else "usual", "usual", "palpated", seed), profile_id)
        silent = next((span for span in _spans(made.truth.beats) if span[0] == "gap"), None)
        if is_gap and silent is not None:
            comes_back = made.truth.gap_mmhg
            back = "" if comes_back is None else f": the sounds come back at {whole_mmhg(comes_back[0])}"
            return _cut(made, silent[1] - SILENCE_S, silent[1] + SILENCE_S), "a gap" + back
        last = max(one.at_s for one in made.truth.beats if one.audible)
        return _cut(made, last - SILENCE_S, last + SILENCE_S), "the end: nothing comes after it"
    uneven = bool(rng.random() < 0.5)
    made = played(Shown("irregular" if uneven else "usual", "slow", "palpated", seed), profile_id)
    audible = [one.at_s for one in made.truth.beats if one.audible]
    middle = audible[len(audible) // 2]
    words = "not regular: no two intervals are alike" if uneven else "regular"
    return _cut(made, middle - RHYTHM_S / 2, middle + RHYTHM_S / 2), words


def _spans(beats: Sequence[BeatHeard]) -> list[tuple[str, float, float]]:
    """Return stretches of one phase among the audible beats, and silent gaps between them: (name, from, to) [s]."""
    audible = [place for place, one in enumerate(beats) if one.audible]
    if not audible:
        return []
    found: list[tuple[str, float, float]] = []
    names = ["gap" if not one.audible else one.phase for one in beats[audible[0] : audible[-1] + 1]]
    inside = list(zip(names, beats[audible[0] : audible[-1] + 1], strict=True))
    for name, run in itertools.groupby(inside, key=lambda one: one[0]):
        stretch = [one.at_s for _, one in run]
        if name == "gap" and len(stretch) < 4:  # a weak beat here and there is no gap
            continue
        found.append((name, stretch[0], stretch[-1]))
    longest: dict[str, tuple[str, float, float]] = {}
    for one in found:
        if one[0] not in longest or one[2] - one[1] > longest[one[0]][2] - longest[one[0]][1]:
            longest[one[0]] = one
    return sorted(longest.values(), key=lambda one: one[1])


def _bar(beat: BeatHeard) -> float:
    """Return how high a beat stands in the picture."""
    share = (beat.level_db - QUIETEST_DB) / (LOUDEST_DB - QUIETEST_DB)
    return round((HEIGHT - 60) * min(max(share, 0.0), 1.0), 1) if beat.audible else 0.0


def _cut(made: Playback, from_s: float, to_s: float) -> bytes:
    first, last = max(0, round(from_s * made.rate_hz)), max(0, round(to_s * made.rate_hz))
    return wav_bytes(made.samples[first:last], made.rate_hz)
