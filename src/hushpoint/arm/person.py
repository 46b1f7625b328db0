"""A practice person's arm as a set of named traits, and what a set-up does to it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from hushpoint.errors import BadInputError

Rhythm = Literal["regular", "irregular", "ectopic"]
RHYTHMS: tuple[Rhythm, ...] = ("regular", "irregular", "ectopic")
PHASE_WIDTHS = (0.25, 0.25, 0.35, 0.15)
"""Width of phases I, II, III, IV as fractions of pulse pressure (design choice; phase III's loudest place is then at
DBP + PP/3, as Pan measured in 30 subjects)."""
LOUDNESS_DB = 45.0
"""Sensation of phase III over the hearing floor (facts: 40 dB at 72 dB SPL, DERIVED; 45 keeps both ends audible)."""


@dataclass(frozen=True, slots=True)
class Swings:
    """Natural swings of an arm at rest.

    `breathing_mmhg` and `slow_wave_mmhg` are peak to trough of systolic at 0.2-0.3 Hz and 0.1 Hz, `beat_sd_mmhg` the
    random part from beat to beat, `loudness_share` the share by which breathing moves loudness up and down (half of it
    again comes at random). Sizes: facts 7.4 and acoustics 1 (FROM MEMORY).
    """

    breathing_mmhg: float
    slow_wave_mmhg: float
    beat_sd_mmhg: float
    loudness_share: float

    def __post_init__(self) -> None:
        _within("breathing swing", self.breathing_mmhg, 0, 30, "mmHg")
        _within("slow wave", self.slow_wave_mmhg, 0, 30, "mmHg")
        _within("beat-to-beat SD", self.beat_sd_mmhg, 0, 20, "mmHg")
        _within("loudness share", self.loudness_share, 0, 0.6, "")

    @classmethod
    def off(cls) -> Swings:
        """Return an arm that does not swing: every beat like the last, evenly spaced."""
        return cls(0.0, 0.0, 0.0, 0.0)

    @classmethod
    def resting(cls) -> Swings:
        """Return the swings of a person at rest."""
        return cls(breathing_mmhg=4.0, slow_wave_mmhg=3.0, beat_sd_mmhg=1.0, loudness_share=0.2)


@dataclass(frozen=True, slots=True)
class Person:
    """One practice arm.

    `systolic_mmhg` and `diastolic_mmhg` are what the ear would find, not arterial pressures (facts 7.2): an arm of
    45 dB without swings is audible over the whole range between them. `loudness_db` is the sensation of phase III over
    the hearing floor, `tone` a factor on the frequencies of the sounds, `phase_widths` the parts of pulse pressure that
    phases I, II, III and IV take (sum 1), `gap_mmhg` a silent gap (low, high), `sounds_to_zero` muffled sounds down to
    an empty cuff. Raises BadInputError with the legal range.
    """

    age_years: int = 40
    sex: str = "woman"
    arm_cm: float = 30.0
    systolic_mmhg: float = 128.0
    diastolic_mmhg: float = 82.0
    pulse_per_min: float = 72.0
    rhythm: Rhythm = "regular"
    loudness_db: float = LOUDNESS_DB
    tone: float = 1.0
    phase_widths: tuple[float, float, float, float] = PHASE_WIDTHS
    gap_mmhg: tuple[float, float] | None = None
    sounds_to_zero: bool = False
    swings: Swings = field(default_factory=Swings.resting)

    def __post_init__(self) -> None:
        _within("age", self.age_years, 0, 120, "years")
        _within("arm", self.arm_cm, 10, 80, "cm")
        _within("systolic", self.systolic_mmhg, 50, 260, "mmHg")
        _within("diastolic", self.diastolic_mmhg, 20, 180, "mmHg")
        if self.systolic_mmhg - self.diastolic_mmhg < NARROWEST_MMHG:
            raise BadInputError(
                f"diastolic {self.diastolic_mmhg:g} must be at least {NARROWEST_MMHG:g} mmHg below systolic "
                f"{self.systolic_mmhg:g}"
            )
        _within("pulse", self.pulse_per_min, 30, 200, "per minute")
        if self.rhythm not in RHYTHMS:
            raise BadInputError(f"rhythm {self.rhythm!r} must be one of: {', '.join(RHYTHMS)}")
        _within("loudness", self.loudness_db, -60, 55, "dB over the hearing floor")
        _within("tone", self.tone, 0.5, 2, "")
        widths = self.phase_widths
        if len(widths) != 4 or min(widths) < 0.05 or abs(sum(widths) - 1) > 1e-6:
            raise BadInputError(f"phase widths {widths} must be four parts of at least 0.05 that sum to 1")
        if self.gap_mmhg is not None:
            low, high = self.gap_mmhg
            if not self.diastolic_mmhg < low < high < self.systolic_mmhg:
                raise BadInputError(
                    f"gap {low:g} to {high:g} must rise and lie between diastolic {self.diastolic_mmhg:g} and "
                    f"systolic {self.systolic_mmhg:g} mmHg"
                )


NARROWEST_MMHG = 8.0
"""Narrowest pulse pressure of an arm (design choice)."""


@dataclass(frozen=True, slots=True)
class ArmEffects:
    """What a set-up did to the arm [mmHg, dB]: steady shifts, shifts that settle with `settling_tau_s`, loudness.

    `silent`: the head of the stethoscope is turned to its dead side.
    """

    systolic_mmhg: float = 0.0
    diastolic_mmhg: float = 0.0
    settling_systolic_mmhg: float = 0.0
    settling_diastolic_mmhg: float = 0.0
    settling_tau_s: float = 120.0
    level_db: float = 0.0
    silent: bool = False


def _within(what: str, value: float, low: float, high: float, unit: str) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise BadInputError(f"{what} {value:g} must be {low:g} to {high:g} {unit}".rstrip())
