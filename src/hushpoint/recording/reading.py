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
PRESSURE_MMHG = (-20.0, 400.0)
"""A pressure channel may dip below zero or overshoot the dial; beyond this it is no cuff."""


@dataclass(frozen=True)
class Sound:
    """Mono samples in -1..1 (n,) at a rate [Hz]."""

    samples: NDArray[np.float64]
    rate_hz: int


@dataclass(frozen=True)
class Pressure:
    """Cuff pressure [mmHg] over time [s], strictly rising times, two samples or more."""

    time_s: NDArray[np.float64]
    pressure_mmhg: NDArray[np.float64]


def read_sound(path: Path) -> Sound:
    """Return the sound of a .wav or .flac file: mono, 2 kHz or more, up to an hour. Raises BadInputError."""
    import soundfile

    try:
        with soundfile.SoundFile(path) as file:
            if file.channels != 1:
                raise BadInputError(f"{path.name}: {file.channels} channels, must be mono")
            if file.samplerate < LOWEST_RATE_HZ:
                raise BadInputError(f"{path.name}: {file.samplerate} Hz, must be {LOWEST_RATE_HZ} Hz or more")
            if not 0 < file.frames <= LONGEST_S * file.samplerate:
                raise BadInputError(f"{path.name}: {file.frames} samples, must be 1 sample to {LONGEST_S:g} s of sound")
            return Sound(file.read(dtype="float64"), int(file.samplerate))
    except (OSError, soundfile.SoundFileError):
        raise BadInputError(f"{path.name}: not a sound file that can be read; must be .wav or .flac") from None


def read_pressure(path: Path) -> Pressure:
    """Return the pressure of a CSV with the header `time_s,pressure_mmHg`. Raises BadInputError naming the
    row."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.reader(file))
    except (OSError, UnicodeDecodeError, csv.Error):
        raise BadInputError(f"{path.name}: not a text file that can be read; must be CSV in UTF-8") from None
    if not rows or [cell.strip() for cell in rows[0]] != HEADER:
        raise BadInputError(f"{path.name} row 1: the header must be {','.join(HEADER)}")
    values = [_row(path.name, number, row) for number, row in enumerate(rows[1:], start=2) if row]
    if len(values) < 2:
        raise BadInputError(f"{path.name}: {len(values)} rows of pressure, must be 2 or more")
    time, pressure = np.array(values).T
    steps = np.diff(time)
    if float(steps.min()) <= 0:
        row = int(np.argmax(steps <= 0)) + 3
        raise BadInputError(f"{path.name} row {row}: time {time[row - 2]:g} s must be later than the row before")
    return Pressure(time, pressure)


def _row(name: str, number: int, row: list[str]) -> tuple[float, float]:
    try:
        at_s, mmhg = (float(cell) for cell in row)
    except ValueError:
        raise BadInputError(f"{name} row {number}: must be two numbers, time [s] and pressure [mmHg]") from None
    low, high = PRESSURE_MMHG
    if not (math.isfinite(at_s) and math.isfinite(mmhg) and low <= mmhg <= high):
        raise BadInputError(f"{name} row {number}: pressure {mmhg:g} at {at_s:g} s must be {low:g} to {high:g} mmHg")
    return at_s, mmhg
