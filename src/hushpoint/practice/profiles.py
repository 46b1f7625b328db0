"""What a device's speaker leaves of the sounds, and what is done about it.

Small speakers give nothing below a few hundred hertz, and take far more of the muffled sounds than of the loud ones:
the silence would come early and every diastolic would read high. So for a small speaker all sounds are raised in pitch,
their envelopes kept, and the faint phases are lifted until phases III, I and IV stand as far apart at the ear as
through headphones (29 dB from III to IV, 14 from III to I). Headphones play unaltered and are the only profile for
sign-off.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np

from hushpoint.arm import phase_sounds
from hushpoint.errors import BadInputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from hushpoint.arm import Person

    Floats = NDArray[np.float64]

ProfileId = Literal["headphones", "laptop", "phone"]
PROFILE_IDS: tuple[ProfileId, ...] = get_args(ProfileId)

THRESHOLD_DB_SPL = (
    (20, 78.5), (31.5, 59.5), (40, 51.1), (50, 44.0), (63, 37.5), (80, 31.5), (100, 26.5), (125, 22.1), (160, 17.9),
    (200, 14.4), (250, 11.4), (315, 8.6), (400, 6.2), (500, 4.4), (630, 3.0), (800, 2.2), (1000, 2.4), (1250, 3.5),
    (1600, 1.7), (2000, -1.3),
)  # fmt: skip
"""Hearing threshold by frequency [Hz, dB SPL] (ISO 226:2003, up to 315 Hz SEEN, above FROM MEMORY)."""
ENERGY_DB = MappingProxyType({"I": -8.0, "II": -5.0, "III": 0.0, "IV": -12.0})
"""Energy of each phase re phase III as the ear gets it unaltered (acoustics 1; FROM MEMORY)."""
PHASE_III_DB_SPL = 72.0
"""Level of phase III at the ear (acoustics 2; FROM MEMORY)."""


@dataclass(frozen=True, slots=True)
class Profile:
    """One way to hear.

    `pitch` raises every frequency, `boost_db` lifts phases. `corner_hz`, `order`: the speaker taken for granted, a
    high-pass of that order (0: none). `sign_off`: whether what is heard this way may count. `says`: what the page says.
    """

    id: ProfileId
    label: str
    pitch: float
    boost_db: Mapping[str, float]
    corner_hz: float
    order: int
    sign_off: bool
    says: str


PROFILES: Mapping[ProfileId, Profile] = MappingProxyType(
    {
        "headphones": Profile("headphones", "headphones or earphones", 1.0, MappingProxyType({}), 30.0, 2, True, ""),
        "laptop": Profile(
            "laptop",
            "laptop speaker",
            4.0,
            MappingProxyType({"I": 1.0, "IV": 12.0}),
            400.0,
            4,
            False,
            "Laptop speaker: pitch raised 4 times. Practice only, no sign-off.",
        ),
        "phone": Profile(
            "phone",
            "phone speaker",
            6.0,
            MappingProxyType({"IV": 10.0}),
            600.0,
            4,
            False,
            "Phone speaker: pitch raised 6 times. Practice only, no sign-off.",
        ),
    }
)
"""Pitch and lift as derived in acoustics 3 (DERIVED) for one typical speaker each: a laptop's that falls off below
400 Hz, a phone's below 600 Hz. A device that differs shows in the device check, not here."""


def profile_of(profile_id: str) -> Profile:
    """Return a profile; raises BadInputError with the list where it is unknown."""
    for known, profile in PROFILES.items():
        if known == profile_id:
            return profile
    raise BadInputError(f"profile: must be one of {', '.join(PROFILE_IDS)}")


def profile_sounds(
    profile: Profile, person: Person, rng: np.random.Generator, rate_hz: int = 8000
) -> dict[str, list[Floats]]:
    """Return a person's sounds by phase as `arm.phase_sounds`, raised and lifted for a device.

    Energies are 1 times the lift, so that the arm table's gains stay as they are. The thump is left alone.
    """
    sounds = phase_sounds(person, rng, rate_hz, pitch=profile.pitch)
    for phase, lift_db in profile.boost_db.items():
        sounds[phase] = [take * 10 ** (lift_db / 20) for take in sounds[phase]]
    return sounds


def sensation_db(sound: Floats, rate_hz: int, profile: Profile, level_db_spl: float = PHASE_III_DB_SPL) -> float:
    """Return how far a sound stands above hearing on a profile's speaker [dB].

    The speaker's high-pass is put on the spectrum, then every frequency is weighed by the hearing threshold there and
    the energies are summed. A sound of energy 1 has `level_db_spl` before the speaker. Only differences between phases
    are meant: bursts so short need a few decibels more, all phases alike.
    """
    hz = np.fft.rfftfreq(8 * len(sound), 1 / rate_hz)[1:]
    power = np.abs(np.fft.rfft(sound, 8 * len(sound)))[1:] ** 2
    power *= 2 / (8 * len(sound) * rate_hz)
    if profile.order:
        ratio = (hz / profile.corner_hz) ** (2 * profile.order)
        power *= ratio / (1 + ratio)
    known_hz, known_db = (np.array(column, float) for column in zip(*THRESHOLD_DB_SPL, strict=True))
    threshold = np.interp(np.log(hz), np.log(known_hz), known_db)
    return level_db_spl + 10 * math.log10(float((power * 10 ** (-threshold / 10)).sum()))


def differences_db(profile: Profile, sounds: Mapping[str, list[Floats]], rate_hz: int) -> tuple[float, float]:
    """Return how far phases I and IV stand below phase III at the ear [dB], for sounds of `profile_sounds`."""
    level = {phase: sensation_db(sounds[phase][0], rate_hz, profile) + ENERGY_DB[phase] for phase in ("I", "III", "IV")}
    return level["III"] - level["I"], level["III"] - level["IV"]
