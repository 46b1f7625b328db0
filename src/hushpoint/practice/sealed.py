"""A sealed measurement: one arm and one release, made again from its seed, whose answer key stays on the server.

How far the cuff is pumped above the first sound and how far it is let down below the last is drawn: neither tells where
the sounds begin or end.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np

from hushpoint.arm import Person, Truth
from hushpoint.arm.playback import Playback, play_measurement
from hushpoint.measure import Heard
from hushpoint.practice.cases import Kind, draw_case
from hushpoint.practice.judge import answer_key, end_point
from hushpoint.practice.profiles import PROFILES, Profile, profile_sounds

PEAK_ABOVE_MMHG = (22.0, 55.0)
"""The cuff is pumped so far above systolic (design choice: what a palpated value plus 20 to 30 comes to, and more)."""
OPEN_BELOW_MMHG = (12.0, 34.0)
"""The release is slow so far below diastolic: at least the 10 mmHg asked for (facts 2.4), and then by chance."""
HIGHEST_PEAK_MMHG = 290.0
LOWEST_OPEN_MMHG = 20.0
RELEASE_MMHG_PER_S = (2.1, 2.9)
"""Within the 2 to 3 mmHg/s that guidelines ask for."""
MOST_DRAWS = 40
KINDS: tuple[Kind, ...] = (
    "normal",
    "high",
    "very_high",
    "low",
    "faint",
    "gap",
    "irregular",
    "ectopic",
    "long_muffled",
    "wide_pulse",
    "narrow_pulse",
)
"""Kinds of arm that can be told by ear alone: both ends can be heard and nothing depends on a set-up."""


@dataclass(frozen=True, slots=True)
class Sealed:
    """An arm and how its cuff is handled; `seed` makes beats, hand and sounds."""

    person: Person
    peak_mmhg: float
    open_at_mmhg: float
    release_mmhg_per_s: float
    seed: int

    def played(self, profile: Profile = PROFILES["headphones"]) -> Playback:
        """Return sound, pointer and truth; the profile changes the sound alone."""
        return play_measurement(
            self.person,
            peak_mmhg=self.peak_mmhg,
            open_at_mmhg=self.open_at_mmhg,
            release_mmhg_per_s=self.release_mmhg_per_s,
            seed=self.seed,
            voice=partial(profile_sounds, profile),
        )


@dataclass(frozen=True, slots=True)
class Key:
    """What counts as right [mmHg]: the truth, and the truth to the nearest 2."""

    systolic: Heard
    diastolic: Heard
    systolic_mmhg: int
    diastolic_mmhg: int


def sealed_on(person: Person, seed: int, release_mmhg_per_s: float | None = None) -> Sealed:
    """Return a sealed measurement on this arm whose both ends can be heard; the same seed gives the same one.

    `release_mmhg_per_s` is drawn where None.
    """
    for draw in range(MOST_DRAWS):
        rng = np.random.default_rng([seed, draw])
        above, below, rate = (rng.uniform(*one) for one in (PEAK_ABOVE_MMHG, OPEN_BELOW_MMHG, RELEASE_MMHG_PER_S))
        made = Sealed(
            person,
            peak_mmhg=round(min(person.systolic_mmhg + above, HIGHEST_PEAK_MMHG), 1),
            open_at_mmhg=round(max(person.diastolic_mmhg - below, LOWEST_OPEN_MMHG), 1),
            release_mmhg_per_s=round(rate, 2) if release_mmhg_per_s is None else release_mmhg_per_s,
            seed=int(rng.integers(2**48)),
        )
        if _key(made, "first_silence") is not None:  # then the last sound can be heard too
            return made
    raise ValueError(f"no release of {MOST_DRAWS} lets both ends of this arm be heard")


def sealed_case(seed: int, kind: Kind) -> Sealed:
    """Return a sealed measurement on an invented arm of one kind."""
    return sealed_on(draw_case(np.random.default_rng([seed, 1]), 1, kind).person, seed)


@lru_cache(maxsize=4096)
def key_of(sealed: Sealed, asked: str) -> Key:
    """Return the answer key of a sealed measurement by an end point (`last_sound` or `first_silence`)."""
    key = _key(sealed, asked)
    if key is None:
        raise ValueError("both ends of a sealed measurement can be heard")
    return key


@lru_cache(maxsize=512)
def _truth(sealed: Sealed) -> Truth:
    return sealed.played().truth


def _key(sealed: Sealed, asked: str) -> Key | None:
    truth = _truth(sealed)
    systolic, diastolic = truth.systolic, end_point(truth, asked)
    upper, lower = answer_key(systolic), answer_key(diastolic)
    if not isinstance(systolic, Heard) or not isinstance(diastolic, Heard) or upper is None or lower is None:
        return None
    return Key(systolic, diastolic, upper, lower)
