"""The beats of an arm over ten minutes: when each comes, its own pressures and its own loudness.

Numbers are rounded here to what travels to the page, so that both sides judge the very same beats.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm.person import NARROWEST_MMHG, ArmEffects, Person, Swings

Floats = NDArray[np.float64]

TABLE_S = 600.0
UPSTROKE_S = 0.12
"""Foot to peak of the brachial pulse (100-150 ms; FROM MEMORY)."""
DELAY_S = 0.008
"""From the opening of the artery to the sound at the ear (acoustics 1; DERIVED)."""
FLOOR_DB = 0.0
QUIET_DB = -99.0
SILENT_DB = -120.0
"""Taken off every beat when the head is turned to its dead side: far below any floor."""
RR_SD_S = ((25.0, 0.055), (70.0, 0.025))
"""Age [years] and SD of the beat interval [s] of a regular rhythm (SDNN, facts 7.4; FROM MEMORY)."""
IRREGULAR_RR_CV = 0.22
"""Coefficient of variation of the beat interval in atrial fibrillation, 20-25 % (FROM MEMORY)."""
IRREGULAR_SYSTOLIC_SD_MMHG = 10.0
"""SD of systolic from beat to beat in atrial fibrillation, 8-12 (FROM MEMORY)."""
FILLING_SHARES = (0.8, 0.6)
"""How much the wait before a beat, and how much chance, fills the heart in atrial fibrillation (design choice)."""
RUN_OFF_SHARE = 0.3
"""Of the swing of systolic, so much goes to diastolic, the other way round, by the wait alone (design choice)."""
FILLING_DB = 2.0
"""Loudness that one SD of filling adds [dB] (design choice)."""
EARLY_MMHG, AFTER_EARLY_MMHG = (-22.0, 3.0), (8.0, -4.0)
"""What an early beat and the one after it add to systolic and diastolic (design choice)."""
EARLY_DB, AFTER_EARLY_DB = -10.0, 2.0
"""What they add to loudness [dB] (design choice)."""
EARLY_WAIT, AFTER_EARLY_WAIT = 0.65, 1.35
"""The waits before and after an early beat as parts of the mean, together two beats (design choice)."""
LOWEST_DIASTOLIC_MMHG = 5.0
ECTOPIC_SHARE = 0.08
"""Share of beats that come early (design choice)."""


@dataclass(frozen=True)
class BeatTable:
    """The beats of one arm, in order of time.

    Arrays of one length n: `foot_s`, `rr_s` (to the next foot) [s], `systolic_mmhg`, `diastolic_mmhg` [mmHg],
    `level_db` (sensation of phase III in that beat over the hearing floor). `profile_db` over `profile_place` is the
    sensation by place in the range re phase III, `gain_db` over `gain_place` the energy re phase III for playback;
    places are (pressure - diastolic) / (systolic - diastolic). `phase_edges`: upper places of phases IV, III, II.
    `base_*`: the arm without natural swings, after the set-up's steady shifts; `settling_*` what fades on top of it.
    """

    foot_s: Floats
    rr_s: Floats
    systolic_mmhg: Floats
    diastolic_mmhg: Floats
    level_db: Floats
    profile_place: Floats
    profile_db: Floats
    gain_place: Floats
    gain_db: Floats
    phase_edges: tuple[float, float, float]
    gap_place: tuple[float, float] | None
    to_zero: bool
    floor_db: float
    noise_db: float
    loudness_db: float
    base_systolic_mmhg: float
    base_diastolic_mmhg: float
    base_level_db: float
    settling_systolic_mmhg: float = 0.0
    settling_diastolic_mmhg: float = 0.0
    settling_tau_s: float = 120.0
    upstroke_s: float = UPSTROKE_S
    delay_s: float = DELAY_S
    table_s: float = TABLE_S

    @property
    def hear_db(self) -> float:
        """Level that a beat must stand above to be heard [dB]."""
        return max(self.floor_db, self.noise_db)


def beat_table(
    person: Person,
    effects: ArmEffects,
    rng: np.random.Generator,
    *,
    seconds: float = TABLE_S,
    noise_db: float = QUIET_DB,
) -> BeatTable:
    """Return the beats of `person` under `effects` for `seconds`; the same generator state gives the same bytes.

    `noise_db`: sensation level of the background in the band of the sounds. Rhythm and swings: facts 7.4.
    """
    rr, relative_rr, early = _intervals(person, rng, seconds)
    foot = rng.uniform(0.05, 0.05 + 60.0 / person.pulse_per_min) + np.concatenate(([0.0], np.cumsum(rr)[:-1]))
    keep = foot <= seconds
    foot, rr, relative_rr, early = foot[keep], rr[keep], relative_rr[keep], early[keep]
    swing, level = _swings(person, rng, foot)
    fade = np.exp(-foot / effects.settling_tau_s)
    systolic = person.systolic_mmhg + effects.systolic_mmhg + effects.settling_systolic_mmhg * fade + swing
    diastolic = person.diastolic_mmhg + effects.diastolic_mmhg + effects.settling_diastolic_mmhg * fade + 0.5 * swing
    if person.rhythm == "irregular":
        # a long wait fills the heart (higher systolic) and lets the artery run down (lower diastolic)
        waited, chance = FILLING_SHARES
        filling = waited * relative_rr / IRREGULAR_RR_CV + chance * rng.standard_normal(len(foot))
        systolic = systolic + IRREGULAR_SYSTOLIC_SD_MMHG * filling
        diastolic = diastolic - RUN_OFF_SHARE * IRREGULAR_SYSTOLIC_SD_MMHG * relative_rr / IRREGULAR_RR_CV
        level = level + FILLING_DB * filling
    elif person.rhythm == "ectopic":
        after = np.concatenate(([False], early[:-1]))
        systolic = systolic + EARLY_MMHG[0] * early + AFTER_EARLY_MMHG[0] * after
        diastolic = diastolic + EARLY_MMHG[1] * early + AFTER_EARLY_MMHG[1] * after
        level = level + EARLY_DB * early + AFTER_EARLY_DB * after
    base_level = person.loudness_db + effects.level_db + (SILENT_DB if effects.silent else 0.0)
    diastolic = np.maximum(np.minimum(diastolic, systolic - NARROWEST_MMHG), LOWEST_DIASTOLIC_MMHG)
    systolic = np.maximum(systolic, diastolic + NARROWEST_MMHG)
    profile_place, profile_db, gain_db = _profile(person)
    first, _, third, fourth = person.phase_widths
    return BeatTable(
        foot_s=np.round(foot, 4),
        rr_s=np.round(rr, 4),
        systolic_mmhg=np.round(systolic, 2),
        diastolic_mmhg=np.round(diastolic, 2),
        level_db=np.round(base_level + level, 2),
        profile_place=profile_place,
        profile_db=profile_db,
        gain_place=profile_place,
        gain_db=gain_db,
        phase_edges=(round(fourth, 4), round(fourth + third, 4), round(1 - first, 4)),
        gap_place=_gap_place(person),
        to_zero=person.sounds_to_zero,
        floor_db=FLOOR_DB,
        noise_db=round(noise_db, 2),
        loudness_db=round(person.loudness_db, 2),
        base_systolic_mmhg=person.systolic_mmhg + effects.systolic_mmhg,
        base_diastolic_mmhg=person.diastolic_mmhg + effects.diastolic_mmhg,
        base_level_db=base_level,
        settling_systolic_mmhg=effects.settling_systolic_mmhg,
        settling_diastolic_mmhg=effects.settling_diastolic_mmhg,
        settling_tau_s=effects.settling_tau_s,
        table_s=seconds,
    )


def _intervals(person: Person, rng: np.random.Generator, seconds: float) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return beat intervals [s], the interval before each beat relative to the mean (-1 up), and which come early."""
    mean = 60.0 / person.pulse_per_min
    count = int(seconds / mean * 1.4) + 20
    none = np.zeros(count, dtype=bool)
    if person.rhythm == "irregular":
        shape = 1 / IRREGULAR_RR_CV**2
        rr = np.maximum(rng.gamma(shape, mean / shape, count), 0.3)
        return rr, np.concatenate(([0.0], rr[:-1] / mean - 1)), none
    ages, sds = zip(*RR_SD_S, strict=True)
    sd = 0.0 if person.swings == Swings.off() else float(np.interp(person.age_years, ages, sds))
    sd = min(sd, 0.06 * mean)
    breath = np.sin(2 * np.pi * 0.25 * mean * np.arange(count) + rng.uniform(0, 2 * np.pi))
    rr = mean + sd * (breath + np.sqrt(0.5) * np.clip(rng.standard_normal(count), -3, 3))
    if person.rhythm == "regular":
        return rr, np.zeros(count), none
    early = rng.random(count) < ECTOPIC_SHARE
    early[0] = False
    early[1:] &= ~early[:-1]  # two early beats never follow each other
    rr[:-1][early[1:]] *= EARLY_WAIT
    rr[early] = AFTER_EARLY_WAIT * mean
    return rr, np.zeros(count), early


def _swings(person: Person, rng: np.random.Generator, foot: Floats) -> tuple[Floats, Floats]:
    """Return the swing of systolic [mmHg] and of loudness [dB] at each foot."""
    swings = person.swings
    breath_hz, slow_hz = rng.uniform(0.2, 0.3), rng.uniform(0.09, 0.11)
    breath = np.sin(2 * np.pi * breath_hz * foot + rng.uniform(0, 2 * np.pi))
    slow = np.sin(2 * np.pi * slow_hz * foot + rng.uniform(0, 2 * np.pi))
    noise, loud_noise = np.clip(rng.standard_normal((2, len(foot))), -3, 3)
    mmhg = 0.5 * swings.breathing_mmhg * breath + 0.5 * swings.slow_wave_mmhg * slow + swings.beat_sd_mmhg * noise
    share = swings.loudness_share
    return mmhg, 20 * np.log10(np.maximum(1 + share * breath + 0.5 * share * loud_noise, 0.1))


def _profile(person: Person) -> tuple[Floats, Floats, Floats]:
    """Return places and, over them, sensation and energy re phase III [dB].

    Sensation: phase III to I 14 dB, III to IV 29 dB (facts 3, headphones; DERIVED); the first beat another 12 dB down,
    as its energy; the last muffled beats 12 dB below IV. Energy: the recipe's table (facts 1; FROM MEMORY). Muffling
    is abrupt: 1 % of pulse pressure wide.
    """
    first, second, third, fourth = person.phase_widths
    iv_iii, iii_ii, ii_i = fourth, fourth + third, 1 - first
    end = (-34.0, -20.0) if person.sounds_to_zero else (-41.0, -25.0)
    nodes = [
        (0.0, *end),
        (iv_iii - 0.005, -29.0, -12.0),
        (iv_iii + 0.005, -5.0, -2.5),
        (iv_iii + 0.5 * third, 0.0, 0.0),
        (iii_ii - 0.25 * third, -1.0, -0.5),
        (iii_ii + 0.2 * second, -7.0, -5.0),
        (ii_i - 0.2 * second, -8.0, -5.0),
        (1 - min(0.12, 0.5 * first), -14.0, -8.0),
        (1.0, -26.0, -20.0),
    ]
    places, sensation, energy = (np.array(column) for column in zip(*nodes, strict=True))
    return np.round(places, 4), np.round(sensation, 2), np.round(energy, 2)


def _gap_place(person: Person) -> tuple[float, float] | None:
    if person.gap_mmhg is None:
        return None
    low, high = (
        (one - person.diastolic_mmhg) / (person.systolic_mmhg - person.diastolic_mmhg) for one in person.gap_mmhg
    )
    return round(low, 4), round(high, 4)
