"""One whole measurement as a recording: sound at the ear, cuff pressure with its bounce, and the truth."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from hushpoint.arm.audibility import GAP_DB, BeatHeard, Truth, audible_beats, truth_of
from hushpoint.arm.beats import QUIET_DB, BeatTable, beat_table
from hushpoint.arm.cuff import HIGHEST_MMHG, STANDARD_CUFF
from hushpoint.arm.hand import held_release
from hushpoint.arm.needle import STANDARD_NEEDLE, bounce_mmhg, lifted_mmhg
from hushpoint.arm.person import LOUDNESS_DB, ArmEffects, Person
from hushpoint.arm.sounds import phase_sounds
from hushpoint.measure import Heard, Withheld

Floats = NDArray[np.float64]
Samples = NDArray[np.float32]
Noise = Literal["quiet", "ward", "class"]
Voice = Callable[[Person, np.random.Generator, int], Mapping[str, Sequence[Floats]]]
NOISES: dict[Noise, float] = {"quiet": QUIET_DB, "ward": 10.0, "class": 20.0}
"""Sensation level of the background in the band of the sounds [dB]: a quiet room hides nothing, a ward the
last muffled beats, a class phase IV (design choice; ward 42 dB SPL: Newman 2009)."""
QUIET_SENSOR_DB = -10.0
"""What a quiet room still leaves on the recording, far below what hides a sound (design choice)."""

ABOVE_SYSTOLIC_MMHG = 25.0
ABOVE_IRREGULAR_MMHG = 40.0
BELOW_DIASTOLIC_MMHG = 15.0
"""The slow release goes on this far below diastolic, more than the 10 asked for (facts 2.4; FROM MEMORY)."""
TO_ZERO_MMHG = 1.5
HIGHEST_PEAK_MMHG = HIGHEST_MMHG - 5
PHASE_III_PEAK = 0.2
"""Peak of a standard arm's phase III in the file (1 is full scale)."""
THUMP_DB = -20.0
NOISE_HZ = (30.0, 500.0)
"""First-order slopes below and above (design choice)."""
FFT_BLOCK = 4096


@dataclass(frozen=True)
class Rendered:
    """One rendered measurement.

    `samples`: float32 in -1..1, n at `rate_hz` [Hz]. `time_s`, `pressure_mmhg`: m each, every 0.025 s, with
    the pulse's bounce. `line_mmhg`: the same without bounce, which the truth is told by. `made`: how it was
    made, ready for JSON.
    """

    samples: Samples
    rate_hz: int
    time_s: Floats
    pressure_mmhg: Floats
    line_mmhg: Floats
    truth: Truth
    made: dict[str, Any]


def render_measurement(
    person: Person,
    *,
    release_mmhg_per_s: float,
    seed: int,
    rate_hz: int = 4000,
    noise: Noise | None = None,
    voice: Voice = phase_sounds,
) -> Rendered:
    """Return a whole measurement on `person`: pumped 25 above systolic, released at a near-constant rate.

    `voice` gives the sounds by phase: another than the ear's own where a small speaker plays them. The same seed gives
    the same bytes. Raises BadInputError where the release would take longer than 600 s.
    """
    beats_rng, hand_rng, sounds_rng, noise_rng = (
        np.random.default_rng(one) for one in np.random.SeedSequence(seed).spawn(4)
    )
    noise_db = QUIET_DB if noise is None else NOISES[noise]
    table = beat_table(person, ArmEffects(), beats_rng, noise_db=noise_db)
    above = ABOVE_IRREGULAR_MMHG if person.rhythm == "irregular" else ABOVE_SYSTOLIC_MMHG
    peak = min(person.systolic_mmhg + above, HIGHEST_PEAK_MMHG)
    to_zero = TO_ZERO_MMHG
    open_at = to_zero if person.sounds_to_zero else max(person.diastolic_mmhg - BELOW_DIASTOLIC_MMHG, to_zero)
    time, line, _ = held_release(STANDARD_CUFF, peak, release_mmhg_per_s, hand_rng, open_at_mmhg=open_at)
    beats = audible_beats(table, time, line)
    samples = _sound(table, beats, voice(person, sounds_rng, rate_hz), rate_hz, float(time[-1]))
    if noise is not None:
        samples += _room(len(samples), rate_hz, max(noise_db, QUIET_SENSOR_DB), noise_rng)
    truth = truth_of(table, time, line)
    return Rendered(
        samples=np.clip(samples, -1, 1),
        rate_hz=rate_hz,
        time_s=time,
        pressure_mmhg=np.round(lifted_mmhg(table, time, line), 2),
        line_mmhg=line,
        truth=truth,
        made={
            **_truth_json(truth),
            "arm": asdict(person),
            "seed": seed,
            "release_mmhg_per_s": release_mmhg_per_s,
            "peak_mmhg": float(line.max()),
            "noise": noise,
            "rate_hz": rate_hz,
            "invented": True,
        },
    )


def _sound(
    table: BeatTable,
    beats: Sequence[BeatHeard],
    sounds: Mapping[str, Sequence[Floats]],
    rate_hz: int,
    seconds: float,
) -> Samples:
    """Return the sound at the ear: each beat's tap where it falls, and the thump of every beat under the
    cuff."""
    scale = PHASE_III_PEAK / float(np.abs(sounds["III"][0]).max())
    takes = {phase: [np.float32(scale) * take.astype(np.float32) for take in sounds[phase]] for phase in sounds}
    longest = len(takes["III"][0])
    out = np.zeros(round((seconds + 1) * rate_hz) + longest, dtype=np.float32)
    index = [beat.index for beat in beats]
    mmhg = np.array([beat.mmhg for beat in beats])
    systolic, diastolic = table.systolic_mmhg[index], table.diastolic_mmhg[index]
    level = table.level_db[index] - LOUDNESS_DB
    place = (mmhg - diastolic) / (systolic - diastolic)
    tap_db = level + np.interp(place, table.gain_place, table.gain_db)
    if table.gap_place is not None:
        tap_db -= GAP_DB * ((place >= table.gap_place[0]) & (place <= table.gap_place[1]))
    bounce = bounce_mmhg(mmhg, systolic, diastolic, STANDARD_NEEDLE)
    thump = 10 ** ((level + THUMP_DB) / 20) * bounce / np.maximum(bounce.max(initial=0.0), 1e-9)
    sounding = (place <= 1) & ((place >= 0) | (table.to_zero & (mmhg > 0)))
    for number, beat in enumerate(beats):
        if beat.mmhg <= 0:
            continue
        start = round(beat.at_s * rate_hz)
        out[start : start + longest] += np.float32(thump[number]) * takes["thump"][0]
        if sounding[number]:
            variants = takes[beat.phase]
            take = variants[beat.index % len(variants)]
            out[start : start + longest] += np.float32(10 ** (tap_db[number] / 20)) * take
    return out[: round(seconds * rate_hz)]


def _room(count: int, rate_hz: int, noise_db: float, rng: np.random.Generator) -> Samples:
    """Return room noise as strong against a standard phase III as its sensation level says."""
    length = FFT_BLOCK * -(-count // FFT_BLOCK)
    white = np.fft.rfft(rng.standard_normal(length, dtype=np.float32))
    hz = np.fft.rfftfreq(length, 1 / rate_hz)
    low, high = NOISE_HZ
    shape = (hz / low) / np.sqrt(1 + (hz / low) ** 2) / np.sqrt(1 + (hz / high) ** 2)
    room = np.fft.irfft(white * shape.astype(np.float32), length)[:count]
    burst_rms = PHASE_III_PEAK / 3  # a damped ringing's rms over its main part is about a third of its peak
    wanted = burst_rms * 10 ** ((noise_db - LOUDNESS_DB) / 20)
    scaled: Samples = (room * (wanted / np.sqrt(np.mean(room**2)))).astype(np.float32)
    return scaled


def _truth_json(truth: Truth) -> dict[str, Any]:
    """Return the truth as NAME.json holds it: null and a reason where nothing can be given."""
    given: dict[str, Any] = {}
    for end, found in (("systolic", truth.systolic), ("diastolic", truth.diastolic)):
        match found:
            case Heard(mmhg, low, high):
                given[f"{end}_mmhg"] = round(mmhg, 2)
                given[f"{end}_range_mmhg"] = [round(low, 2), round(high, 2)]
            case Withheld(reason):
                given[f"{end}_mmhg"] = None
                given[f"{end}_withheld"] = reason
    given["muffling_mmhg"] = None if truth.muffling_mmhg is None else round(truth.muffling_mmhg, 2)
    given["gap_mmhg"] = None if truth.gap_mmhg is None else [round(one, 2) for one in truth.gap_mmhg]
    given["sounds"] = [
        {"at_s": round(beat.at_s, 4), "mmhg": round(beat.mmhg, 2), "phase": beat.phase}
        for beat in truth.beats
        if beat.audible
    ]
    return given
