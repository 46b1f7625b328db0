"""Teach, practise and judge the manual measurement of resting blood pressure.

The names below are the public surface of the library (docs/library.md): an arm that can be listened to, the ear that
reads a recording, agreement between observers, and one client's visit. Each is loaded when it is first asked for, so
that `import hushpoint` takes no time. Everything else may change between versions.
"""

from __future__ import annotations

from importlib import import_module

__version__ = "0.1.0"

_ROOM_OF = {
    "Person": "arm",
    "render_measurement": "arm",
    "listen": "ear",
    "read_recording": "recording",
    "write_recording": "recording",
    "Heard": "measure",
    "Withheld": "measure",
    "PairedReading": "agreement",
    "agree": "agreement",
    "digits": "agreement",
    "in_full": "agreement",
    "whose": "agreement",
    "Client": "visit",
    "Pulse": "visit",
    "TakenReading": "visit",
    "Visit": "visit",
    "judge_visit": "visit",
    "clinical_policies": "guideline.clinical_policies",
    "clinical_policy": "guideline.clinical_policies",
    "cuff_for": "guideline",
    "BadInputError": "errors",
}

__all__ = list(_ROOM_OF)


def __getattr__(name: str) -> object:
    room = _ROOM_OF.get(name)
    if room is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{room}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
