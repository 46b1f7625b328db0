"""A varied set of recordings from both makers, half of them with real backgrounds, and recordings nobody could read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile

from ear.second_maker import Floats, Made, backgrounds, make, with_noise
from ear.third_maker import make_third
from hushpoint.arm import Person, render_measurement

KINDS = ("plain", "irregular", "gap", "faint", "muffled", "thump", "coarse")
SNR_DB = (None, None, 20.0, 10.0, 6.0, 0.0)
CYCLE = len(KINDS) * len(SNR_DB)


def varied(count: int, shared_data: Path, first: int = 0) -> Iterator[Made]:
    """Yield `count` recordings: rates 1.5 to 4 mmHg/s, pulse 45 to 120, every kind at every SNR, by turns."""
    rooms = backgrounds(shared_data)
    names = list(rooms)
    for number in range(first, first + count):
        rng = np.random.default_rng([number, 99])
        made = _one(number, rng)
        snr = SNR_DB[(number // len(KINDS)) % len(SNR_DB)]
        if snr is not None and made.taps:
            name = names[rng.integers(2)] if rng.random() < 0.6 else names[2 + rng.integers(12)]
            made = with_noise(made, *rooms[name], snr, number)
            made.background = name
        yield made


def varied_third(count: int, shared_data: Path, first: int = 0) -> Iterator[Made]:
    """Yield `count` recordings of the third maker: the same spans, five kinds, every noise."""
    rooms = backgrounds(shared_data)
    names = list(rooms)
    for number in range(first, first + count):
        rng = np.random.default_rng([number, 31])
        systolic = float(rng.uniform(105, 180))
        diastolic = max(float(systolic - rng.uniform(30, 65)), 50.0)
        pulse = float(rng.uniform(45, 120))
        release = min(float(rng.uniform(1.5, 4)), 3.4 * pulse / 60)
        kind = ("plain", "irregular", "gap", "faint", "thump")[number % 5]
        more: dict[str, float] = {
            "irregular": {"irregular": 0.16}, "faint": {"faint_db": 15.0}, "thump": {"thump": float(rng.uniform(1, 2))},
        }.get(kind, {})  # fmt: skip
        width = rng.uniform(10, min(25, 0.5 * (systolic - diastolic)))
        top = systolic - rng.uniform(6, 0.25 * (systolic - diastolic) + 6)
        made = make_third(
            number, systolic_mmhg=systolic, diastolic_mmhg=diastolic, pulse_per_min=pulse, release_mmhg_per_s=release,
            gap_mmhg=(max(top - width, diastolic + 5), top) if kind == "gap" else None, **more,
        )  # fmt: skip
        made.kind = kind
        snr = (None, 20.0, 10.0, 6.0, 0.0)[(number // 5) % 5]
        if snr is not None and made.taps:
            name = names[rng.integers(2)] if rng.random() < 0.6 else names[2 + rng.integers(12)]
            made = with_noise(made, *rooms[name], snr, number)
            made.background = name
        yield made


def _one(number: int, rng: np.random.Generator) -> Made:
    systolic = float(rng.uniform(105, 180))
    diastolic = max(float(systolic - rng.uniform(30, 65)), 50.0)
    pulse = float(rng.uniform(45, 120))
    release = min(float(rng.uniform(1.5, 4)), 3.6 * pulse / 60)
    kind = KINDS[number % len(KINDS)]
    gap = None
    if kind == "gap":
        width = rng.uniform(10, min(25, 0.5 * (systolic - diastolic)))
        top = systolic - rng.uniform(6, 0.25 * (systolic - diastolic) + 6)
        gap = (max(top - width, diastolic + 5), top)
    if (number // 2) % 2 == 0:
        made = _arm(number, rng, kind, systolic, diastolic, pulse, release, gap)
    else:
        more: dict[str, float] = {
            "irregular": {"irregular": 0.15}, "faint": {"faint": 0.12}, "muffled": {"muffled_mmhg": 15.0},
            "thump": {"thump": float(rng.uniform(1, 2))}, "coarse": {"steps_mmhg": 1.0},
        }.get(kind, {})  # fmt: skip
        made = make(
            number, systolic_mmhg=systolic, diastolic_mmhg=diastolic, pulse_per_min=pulse, release_mmhg_per_s=release,
            gap_mmhg=gap, **more,
        )  # fmt: skip
    made.kind = kind
    return made


def _arm(
    number: int, rng: np.random.Generator, kind: str, systolic: float, diastolic: float, pulse: float, release: float,
    gap: tuple[float, float] | None,
) -> Made:  # fmt: skip
    tone = float(rng.uniform(0.9, 1.2))
    rhythm = ("irregular", "ectopic")[rng.integers(2)] if kind == "irregular" else "regular"
    person = Person(
        systolic_mmhg=systolic, diastolic_mmhg=diastolic, pulse_per_min=pulse, gap_mmhg=gap, tone=tone,
        rhythm=rhythm, loudness_db=33.0 if kind == "faint" else 45.0,
        phase_widths=(0.22, 0.2, 0.28, 0.30) if kind == "muffled" else (0.25, 0.25, 0.35, 0.15),
    )  # fmt: skip
    one = render_measurement(person, release_mmhg_per_s=release, seed=number)
    return Made(
        sound=one.samples.astype(float),
        rate_hz=one.rate_hz,
        time_s=one.time_s,
        pressure_mmhg=one.pressure_mmhg,
        systolic_mmhg=one.made["systolic_mmhg"],
        diastolic_mmhg=one.made["diastolic_mmhg"],
        taps=[(beat["at_s"], beat["mmhg"]) for beat in one.made["sounds"]],
    )


Unreadable = tuple[str, Floats, float, Floats, Floats]
"""What it is; sound, rate [Hz], time [s], pressure [mmHg]."""


def unreadable(shared_data: Path) -> Iterator[Unreadable]:
    """Yield recordings in which neither end can be told: chests, sounds far under noise, noise alone, thump alone."""
    rooms = backgrounds(shared_data)
    hiss = [soundfile.read(path) for path in sorted((shared_data / "stethoscope-response").glob("*.wav"))]
    for name, (sound, rate) in rooms.items():
        if name.startswith("chest"):
            yield from _chest(name, sound, rate)
    for number in range(40):
        name = list(rooms)[number % 14]
        made = with_noise(make(1000 + number), *rooms[name], -12 - 6 * (number % 2), number)
        yield f"drowned in {name}", made.sound, made.rate_hz, made.time_s, made.pressure_mmhg
    for number in range(30):
        made = make(2000 + number)
        room = rooms[list(rooms)[number % 14]] if number % 3 else hiss[number % len(hiss)]
        alone = with_noise(made, *room, 0, number).sound - made.sound
        yield "noise alone", alone, made.rate_hz, made.time_s, made.pressure_mmhg
    for number in range(20):
        made = make(3000 + number, faint=0.0, thump=1.0)
        yield "thump alone", made.sound, made.rate_hz, made.time_s, made.pressure_mmhg


def _chest(name: str, sound: Floats, rate: int) -> Iterator[Unreadable]:
    """Yield a chest beside a falling pressure: as long as it is, and three times over with and without a pulse."""
    long = np.tile(sound, 3)[: rate * 45]
    for top in (150.0, 170.0):
        seconds = len(sound) / rate
        time = np.arange(0, seconds, 0.05)
        yield name, sound, rate, time, np.interp(time, [0, 1.5, 2.5, seconds], [0, top, top, top - 3 * (seconds - 2.5)])
        seconds = len(long) / rate
        time = np.arange(0, seconds, 0.05)
        fall = np.interp(time, [0, 1.5, 2.5, seconds - 2, seconds], [0, top, top, top - 2.5 * (seconds - 4.5), 0])
        yield f"{name}, long", long, rate, time, fall
        pulse = 1.5 * np.maximum(0, np.sin(2 * np.pi * 1.2 * time)) ** 3 * (fall > 30)
        yield f"{name}, long, pulsing cuff", long, rate, time, fall + pulse
