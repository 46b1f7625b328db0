"""The device check: can this phone, with these earphones, here and now, carry the faintest sounds of the work?

A two-interval staircase on the muffled sound, which devices carry worst. Nothing of it enters the journal: how well
somebody hears is nobody's business but theirs. What is kept is on the device itself, signed: how it is listened with,
the level that was set, and when.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from hushpoint.arm import Person
from hushpoint.arm.playback import PLAYED_HZ, full_scale
from hushpoint.errors import BadInputError
from hushpoint.practice.profiles import profile_of, profile_sounds
from hushpoint.practice.staircase import MOST_TAPS, Staircase
from hushpoint.recording import wav_bytes

LOWEST_DB, HIGHEST_DB = -60.0, 0.0
"""Levels of the muffled sound that are tried, by energy re phase III of the loudest arm [dB]."""
FAINTEST_DB = -31.0
"""The faintest muffled sound that rounds and papers play (tests/desk/test_device_check.py looks for fainter ones)."""
MARGIN_DB, LEAST_MARGIN_DB = 6.0, 3.0
"""The level is set so that the faintest sound stands MARGIN_DB above the threshold; below the least one it is not
carried (design choice: the threshold is known within 3)."""
LEVEL_DB = (-12.0, 9.0)
"""How far a device's own level may go; more would clip the loudest arm."""
PHASES = ("III", "IV")


@dataclass(frozen=True, slots=True)
class NextTap:
    """The next level to play [dB], and how many taps were made."""

    level_db: float
    taps: int


@dataclass(frozen=True, slots=True)
class Checked:
    """The end of a run: whether the faintest sounds are carried, the device's own level [dB], and what to do next."""

    carries: bool
    level_db: float
    words: str
    sign_off: bool


def step(profile_id: str, answers: object) -> NextTap | Checked:
    """Return the next tap of a run after these answers [[level_db, right], …], or its end; nothing is kept.

    Raises BadInputError, one line, for an unknown profile or answers that are none.
    """
    profile = profile_of(profile_id)
    run = Staircase.after(_checked(answers), LOWEST_DB, HIGHEST_DB)
    if not run.finished:
        return NextTap(run.next_level_db(), run.taps)
    found = run.result()
    if found is None:
        return Checked(
            carries=False,
            level_db=0.0,
            sign_off=False,
            words="The taps do not fit together well enough to tell. Find a quieter place and do it again.",
        )
    level_db = float(np.clip(found.threshold_db + MARGIN_DB - FAINTEST_DB, *LEVEL_DB))
    margin_db = FAINTEST_DB + level_db - found.threshold_db
    if found.beyond == "above" or margin_db < LEAST_MARGIN_DB:
        words = (
            "The faintest sounds do not come through. Turn the volume up, seal the earphones in your ears, find a "
            "quieter place, and do it again; or use other earphones."
        )
        return Checked(carries=False, level_db=0.0, words=words, sign_off=False)
    words = "The faintest sounds come through. The level is set for this device; leave its volume where it is."
    return Checked(carries=True, level_db=round(level_db, 1), words=words, sign_off=profile.sign_off)


@cache
def tap_sound(profile_id: str, phase: str) -> bytes:
    """Return one cuff sound as WAV, at the energy of the loudest arm's phase III for a standard person.

    Raises BadInputError for an unknown profile or phase.
    """
    profile = profile_of(profile_id)
    if phase not in PHASES:
        raise BadInputError(f"phase: must be one of {', '.join(PHASES)}")
    # lifted as the profile lifts the phase, so that a level means the same arm on every device
    sounds = profile_sounds(profile, Person(), np.random.default_rng(1), PLAYED_HZ)
    return wav_bytes((full_scale(sounds) * sounds[phase][0]).astype(np.float32), PLAYED_HZ)


def _checked(answers: object) -> Sequence[tuple[float, bool]]:
    if not isinstance(answers, list) or len(answers) > MOST_TAPS:
        raise BadInputError(f"answers: must be a list of at most {MOST_TAPS}")
    found = []
    for one in answers:
        if not (isinstance(one, list) and len(one) == 2):
            raise BadInputError("answers: each must be a level in dB and true or false")
        level_db, right = one
        known = isinstance(level_db, int | float) and not isinstance(level_db, bool)
        if not known or not LOWEST_DB <= level_db <= HIGHEST_DB or not isinstance(right, bool):
            raise BadInputError(
                f"answers: each must be a level from {LOWEST_DB:g} to {HIGHEST_DB:g} dB, and true or false"
            )
        found.append((float(level_db), right))
    return found
