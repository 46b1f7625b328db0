"""Reading a sound file and the cuff pressure beside it."""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hushpoint.errors import BadInputError

HEADER = ["time_s", "pressure_mmHg"]
LOWEST_RATE_HZ = 2000
LONGEST_S = 3600.0
MOST_SAMPLES = 64_000_000
"""Five minutes at 192 kHz, half an hour at 32 kHz: what a laptop holds twice over."""
PRESSURE_MMHG = (-20.0, 400.0)
"""A pressure channel may dip below zero or overshoot the dial; beyond this it is no cuff."""
FEWEST_ROWS = 2


@dataclass(frozen=True)
class Sound:
    """Mono samples in -1..1 (n,) at a rate [Hz]."""

    samples: NDArray[np.floating]
    rate_hz: float


@dataclass(frozen=True)
class Pressure:
    """Cuff pressure [mmHg] over time [s], strictly rising times, two samples or more; NaN where none was measured."""

    time_s: NDArray[np.float64]
    pressure_mmhg: NDArray[np.float64]


def read_sound(path: Path) -> Sound:
    """Return the sound of a .wav, .flac or .ogg file: 2 kHz or more, up to an hour; channels are averaged.

    Raises BadInputError.
    """
    import soundfile

    try:
        with soundfile.SoundFile(path) as file:
            if file.samplerate < LOWEST_RATE_HZ:
                raise BadInputError(f"{path.name}: {file.samplerate} Hz, must be {LOWEST_RATE_HZ} Hz or more")
            if not 0 < file.frames <= LONGEST_S * file.samplerate:
                raise BadInputError(f"{path.name}: {file.frames} samples, must be 1 sample to {LONGEST_S:g} s of sound")
            if file.frames * file.channels > MOST_SAMPLES:
                raise BadInputError(
                    f"{path.name}: {file.frames * file.channels} samples in all channels, must be {MOST_SAMPLES} or "
                    "fewer; save it at a lower rate"
                )
            wide = file.subtype in {"PCM_24", "PCM_32", "DOUBLE"}
            samples = file.read(dtype="float64" if wide else "float32", always_2d=True)
            return Sound(samples[:, 0] if file.channels == 1 else samples.mean(axis=1), float(file.samplerate))
    except (OSError, soundfile.SoundFileError):
        raise BadInputError(f"{path.name}: not a sound file that can be read; must be .wav, .flac or .ogg") from None


def read_pressure(path: Path) -> Pressure:
    """Return the pressure of a CSV with the header `time_s,pressure_mmHg`; an empty or `nan` pressure is none measured.

    Raises BadInputError naming the row.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.reader(file))
    except (OSError, UnicodeDecodeError, csv.Error):
        raise BadInputError(f"{path.name}: not a text file that can be read; must be CSV in UTF-8") from None
    if not rows or [cell.strip() for cell in rows[0]] != HEADER:
        raise BadInputError(f"{path.name} row 1: the header must be {','.join(HEADER)}")
    values = [_row(path.name, number, row) for number, row in enumerate(rows[1:], start=2) if row]
    if sum(math.isfinite(value) for _, value in values) < FEWEST_ROWS:
        raise BadInputError(f"{path.name}: {len(values)} rows of pressure, must be {FEWEST_ROWS} or more")
    time, pressure = np.array(values).T
    steps = np.diff(time)
    if float(steps.min()) <= 0:
        row = int(np.argmax(steps <= 0)) + 3
        raise BadInputError(f"{path.name} row {row}: time {time[row - 2]:g} s must be later than the row before")
    if time[-1] - time[0] > LONGEST_S:
        raise BadInputError(f"{path.name}: {time[-1] - time[0]:g} s of pressure, must be {LONGEST_S:g} s or less")
    return Pressure(time, pressure)


def _row(name: str, number: int, row: list[str]) -> tuple[float, float]:
    try:
        at, value = row
        at_s, mmhg = float(at), float(value.strip() or "nan")
    except ValueError:
        raise BadInputError(f"{name} row {number}: must be two numbers, time [s] and pressure [mmHg]") from None
    low, high = PRESSURE_MMHG
    if not math.isfinite(at_s) or not (math.isnan(mmhg) or low <= mmhg <= high):
        raise BadInputError(f"{name} row {number}: pressure {mmhg:g} at {at_s:g} s must be {low:g} to {high:g} mmHg")
    return at_s, mmhg
