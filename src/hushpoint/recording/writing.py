"""Writing one recording as three files that appear whole or not at all."""

from __future__ import annotations

import io
import json
import secrets
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hushpoint.errors import BadInputError
from hushpoint.recording.reading import Sound

PLAYED_HZ = (8000, 48000)
"""Rates that every browser's audio buffer takes lie between these."""


def write_recording(
    folder: Path,
    name: str,
    *,
    samples: NDArray[np.float32],
    rate_hz: int,
    time_s: NDArray[np.float64],
    pressure_mmhg: NDArray[np.float64],
    made: dict[str, Any],
) -> tuple[Path, Path, Path]:
    """Write `name`.wav (16 bit, mono), `name`.csv (`time_s,pressure_mmHg`) and `name`.json into `folder`.

    Files of the same name are replaced. Each is written beside its place and renamed once all three are
    whole; the JSON comes last, so that it stands for a complete recording. The same values give the same
    bytes. Raises BadInputError where the folder cannot be written.
    """
    paths = (folder / f"{name}.wav", folder / f"{name}.csv", folder / f"{name}.json")
    mark = f".{secrets.token_hex(4)}.part"
    parts = [path.with_name(path.name + mark) for path in paths]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        parts[0].write_bytes(wav_bytes(samples, rate_hz))  # in memory first: the library prints what a full disk says
        pairs = zip(time_s.tolist(), pressure_mmhg.tolist(), strict=True)
        rows = [f"{at:.3f},{mmhg:.2f}\n" for at, mmhg in pairs]
        parts[1].write_text("time_s,pressure_mmHg\n" + "".join(rows), encoding="utf-8")
        parts[2].write_text(json.dumps(made, indent=1, allow_nan=False) + "\n", encoding="utf-8")
        for part, path in zip(parts, paths, strict=True):
            part.replace(path)
    except OSError as trouble:
        what = trouble.strerror or "it cannot be written"
        raise BadInputError(f"{folder}: {what}; choose a folder that can be written") from None
    finally:
        for part in parts:
            _forget(part)
    return paths


def wav_bytes(samples: NDArray[np.float32], rate_hz: int) -> bytes:
    """Return a recording as WAV (16 bit, mono): format and samples, nothing else in the file."""
    import soundfile

    file = io.BytesIO()
    soundfile.write(file, samples, rate_hz, format="WAV", subtype="PCM_16")
    return file.getvalue()


def played_wav(sound: Sound) -> bytes:
    """Return a sound as WAV at a rate that every browser plays; what lies beyond full scale is cut."""
    samples, rate_hz = sound.samples, round(sound.rate_hz)
    lowest, highest = PLAYED_HZ
    if rate_hz < lowest or rate_hz > highest:
        from scipy.signal import resample_poly

        up, down = -(-lowest // rate_hz), -(-rate_hz // highest)
        samples = resample_poly(np.asarray(samples, float), up, down)
        rate_hz = round(rate_hz * up / down)
    return wav_bytes(np.nan_to_num(np.clip(samples, -1.0, 1.0)).astype(np.float32), rate_hz)


def _forget(part: Path) -> None:
    try:
        part.unlink(missing_ok=True)
    except OSError:
        return  # its folder was never made
