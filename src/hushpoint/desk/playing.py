"""What a phone gets of a sealed measurement: sound and pointer, and nothing that tells the answer."""

from __future__ import annotations

import json
from functools import lru_cache

import numpy as np

from hushpoint.practice.profiles import profile_of
from hushpoint.practice.sealed import Sealed
from hushpoint.recording import wav_bytes

KEPT = 32
"""So many sounds are kept ready: a round is asked for by a whole class at once."""


@lru_cache(maxsize=KEPT)
def sound(sealed: Sealed, profile_id: str) -> bytes:
    """Return the sound for a profile as WAV; raises BadInputError where the profile is unknown."""
    played = sealed.played(profile_of(profile_id))
    return wav_bytes(played.samples, played.rate_hz)


@lru_cache(maxsize=KEPT)
def needle(sealed: Sealed) -> bytes:
    """Return the pointer's path as JSON: `step_s`, and `mmhg` to one decimal from the first sample on."""
    played = sealed.played()
    mmhg = [round(one, 1) for one in np.maximum(played.needle_mmhg, 0.0).tolist()]
    return json.dumps({"step_s": played.step_s, "mmhg": mmhg}, separators=(",", ":")).encode()
