"""One measurement as it is played to somebody: the sounds that the rule calls audible, and the pointer's path.

The truth stays behind: what travels is sound and pointer alone. Peak and end of the release are the caller's, drawn so
that neither tells where the sounds begin or end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm.audibility import BeatHeard, Truth, audible_beats, truth_of
from hushpoint.arm.beats import BeatTable, beat_table
from hushpoint.arm.cuff import STANDARD_CUFF
from hushpoint.arm.hand import held_release
from hushpoint.arm.needle import needle_mmhg
from hushpoint.arm.person import ArmEffects, Person
from hushpoint.arm.render import Voice
from hushpoint.arm.sounds import phase_sounds

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]

PLAYED_HZ = 8000
"""Every browser plays this rate; the highest partial, raised for a phone's speaker, lies below 2 kHz."""
LOUDEST_ARM_DB = 50.0
ARMS_DB, PLAYED_DB = 28.0, 15.0
"""Arms differ by up to 28 dB and are played within 15 (acoustics 3; as the bench)."""
LOUDEST_PEAK = 0.2
"""Peak of phase III of the loudest arm: leaves room for swings of 5 dB and a device level of 9 more."""


@dataclass(frozen=True)
class Playback:
    """What is played: `samples` float32 in -1..1 at `rate_hz`; the pointer's `needle_mmhg` every `step_s` from the
    first sample on, and the falling line without bounce beside it. `truth` is never sent along."""

    samples: Samples
    rate_hz: int
    step_s: float
    needle_mmhg: Floats
    line_mmhg: Floats
    truth: Truth

    @property
    def seconds(self) -> float:
        """How long it lasts [s]."""
        return len(self.samples) / self.rate_hz


def played_arm_db(loudness_db: float) -> float:
    """Return how loud an arm is played beside the loudest [dB]: one gain per arm, 28 dB squeezed to 15."""
    return -min(ARMS_DB, max(0.0, LOUDEST_ARM_DB - loudness_db)) * PLAYED_DB / ARMS_DB


def play_measurement(
    person: Person,
    *,
    peak_mmhg: float,
    open_at_mmhg: float,
    release_mmhg_per_s: float,
    seed: int,
    voice: Voice = phase_sounds,
    rate_hz: int = PLAYED_HZ,
) -> Playback:
    """Return a measurement on `person`, pumped to `peak_mmhg`, released, opened fully at `open_at_mmhg`.

    The same arguments give the same bytes; `voice` makes the sounds of the phases
    and changes nothing but the sound. Raises BadInputError
    where the release would take longer than 600 s.
    """
    beats_rng, hand_rng, sounds_rng = (np.random.default_rng(one) for one in np.random.SeedSequence(seed).spawn(3))
    table = beat_table(person, ArmEffects(), beats_rng)
    time, line, _ = held_release(STANDARD_CUFF, peak_mmhg, release_mmhg_per_s, hand_rng, open_at_mmhg=open_at_mmhg)
    truth = truth_of(table, time, line)
    sounds = voice(person, sounds_rng, rate_hz)
    return Playback(
        samples=_audible_sound(table, audible_beats(table, time, line), sounds, rate_hz, float(time[-1])),
        rate_hz=rate_hz,
        step_s=STANDARD_CUFF.step_s,
        needle_mmhg=needle_mmhg(table, time, line),
        line_mmhg=line,
        truth=truth,
    )


def _audible_sound(
    table: BeatTable,
    beats: Sequence[BeatHeard],
    sounds: Mapping[str, Sequence[Floats]],
    rate_hz: int,
    seconds: float,
) -> Samples:
    """Return the taps of audible beats alone: what the rule calls silent is silent, as on the bench."""
    full = full_scale(sounds)
    longest = len(sounds["III"][0])
    out = np.zeros(round(seconds * rate_hz) + longest, dtype=np.float32)
    arm_db = played_arm_db(table.loudness_db) - table.loudness_db
    for beat in beats:
        if not beat.audible:
            continue
        level_db = float(table.level_db[beat.index]) + arm_db
        level_db += float(np.interp(beat.place, table.gain_place, table.gain_db))
        variants = sounds[beat.phase]
        start = round(beat.at_s * rate_hz)
        take = full * 10 ** (level_db / 20) * variants[beat.index % len(variants)]
        out[start : start + longest] += take.astype(np.float32)
    return np.clip(out[: round(seconds * rate_hz)], -1, 1)


def full_scale(sounds: Mapping[str, Sequence[Floats]]) -> float:
    """Return the factor that puts the loudest arm's phase III at LOUDEST_PEAK: 0 dB of everything played."""
    return LOUDEST_PEAK / float(np.abs(sounds["III"][0]).max())
