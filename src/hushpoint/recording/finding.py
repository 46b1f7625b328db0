"""Which files are recordings, and reading one whatever its kind."""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from hushpoint.errors import BadInputError
from hushpoint.recording.reading import (
    LONGEST_S,
    LOWEST_RATE_HZ,
    MOST_SAMPLES,
    Pressure,
    Sound,
    read_pressure,
    read_sound,
)

SOUND_FILES = (".wav", ".flac", ".ogg")
SIGNAL_FILES = (".edf", ".hea")
"""EDF+ and WFDB: sound and pressure in one record."""
PRESSURE_LABELS = ("press", "cuff", "mmhg")
SOUND_LABELS = ("sound", "mic", "audio", "phono", "stetho", "pcg")
KINDS = ", ".join((*SOUND_FILES, *SIGNAL_FILES))


@dataclass(frozen=True)
class Recording:
    """One recording: its sound and the cuff pressure, on one clock."""

    sound: Sound
    pressure: Pressure


def find_recordings(paths: Iterable[Path]) -> Iterator[Path]:
    """Yield the recordings among files and folders, in order of name, looking into folders as they come.

    In a folder: every sound file that has its pressure beside it, every .edf, every .hea; other files are left alone.
    A file that is named is always yielded. Raises BadInputError where a path does not exist.
    """
    for path in paths:
        if not path.exists():
            raise BadInputError(f"{path}: there is no such file or folder")
        if not path.is_dir():
            yield path
            continue
        for one in sorted(path.rglob("*")):
            kind = one.suffix.lower()
            if kind in SIGNAL_FILES or (kind in SOUND_FILES and one.with_suffix(".csv").is_file()):
                yield one


def read_recording(path: Path) -> Recording:
    """Return the recording in a sound file with its CSV, an EDF+ file or a WFDB header. Raises BadInputError."""
    kind = path.suffix.lower()
    if kind in SOUND_FILES:
        beside = path.with_suffix(".csv")
        if not beside.is_file():
            raise BadInputError(f"{path.name}: no cuff pressure beside it; {beside.name} must hold it")
        return Recording(read_sound(path), read_pressure(beside))
    if kind == ".edf":
        return _edf(path)
    if kind == ".hea":
        return _wfdb(path)
    raise BadInputError(f"{path.name}: not a kind of recording that is read; must be {KINDS}")


@dataclass(frozen=True)
class _Channel:
    """One channel of a record: what it is called, its unit, rate [Hz] and samples."""

    label: str
    unit: str
    rate_hz: float
    samples: np.ndarray[Any, np.dtype[np.float64]]
    full_scale: float


def _edf(path: Path) -> Recording:
    import edfio

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            edf = edfio.read_edf(path)
            count = sum(one.sampling_frequency * edf.duration for one in edf.signals)
            if edf.duration > LONGEST_S or count > MOST_SAMPLES:
                raise BadInputError(
                    f"{path.name}: {edf.duration:g} s, must be {LONGEST_S:g} s or less and "
                    f"{MOST_SAMPLES} samples or fewer"
                )
            channels = [
                _Channel(
                    one.label,
                    one.physical_dimension,
                    float(one.sampling_frequency),
                    np.asarray(one.data, float),
                    max(abs(one.physical_min), abs(one.physical_max)),
                )
                for one in edf.signals
            ]
    except BadInputError:
        raise
    except Exception:
        # whatever a broken file makes the reader trip over, the answer is the same
        raise BadInputError(f"{path.name}: not an EDF+ file that can be read") from None
    return _paired(path.name, channels)


def _wfdb(path: Path) -> Recording:
    try:
        import wfdb
    except ImportError:
        raise BadInputError(f"{path.name}: reading WFDB needs the extra: pip install 'hushpoint[wfdb]'") from None
    logging.getLogger("wfdb").setLevel(logging.ERROR)
    try:
        record = wfdb.rdrecord(str(path.with_suffix("").resolve()), smooth_frames=False)
        rates = [float(record.fs) * per_frame for per_frame in record.samps_per_frame]
        named = ((label or "", unit or "") for label, unit in zip(record.sig_name, record.units, strict=True))
        channels = [
            _Channel(*words, rate, np.asarray(samples, float), float(np.nanmax(np.abs(samples), initial=0)) or 1.0)
            for words, rate, samples in zip(named, rates, record.e_p_signal, strict=True)
        ]
    except Exception:
        # whatever a broken file makes the reader trip over, the answer is the same
        raise BadInputError(f"{path.name}: not a WFDB record that can be read") from None
    return _paired(path.name, channels)


def _paired(name: str, channels: list[_Channel]) -> Recording:
    """Return the pressure (by unit mmHg, else by name) and the sound (by name, else the fastest other channel)."""

    def named(one: _Channel, words: tuple[str, ...]) -> bool:
        return any(word in one.label.lower() for word in words)

    pressures = [one for one in channels if one.unit.lower() == "mmhg"]
    pressures = pressures or [one for one in channels if named(one, PRESSURE_LABELS)]
    others = [one for one in channels if one not in pressures and one.rate_hz >= LOWEST_RATE_HZ]
    sounds = [one for one in others if named(one, SOUND_LABELS)] or others
    if not pressures or not sounds:
        raise BadInputError(
            f"{name}: {len(channels)} channels, must hold cuff pressure [mmHg] and sound at {LOWEST_RATE_HZ} Hz or more"
        )
    cuff, sound = pressures[0], max(sounds, key=lambda one: one.rate_hz)
    time = np.arange(len(cuff.samples)) / cuff.rate_hz
    return Recording(Sound(sound.samples / (sound.full_scale or 1.0), sound.rate_hz), Pressure(time, cuff.samples))
