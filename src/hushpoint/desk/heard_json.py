"""What was heard in a recording as the documented JSON object (docs/ear.md), and back for pictures and pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from hushpoint.measure import Heard, Withheld


def heard_json(heard: Any, *, beats: bool = False) -> dict[str, Any]:
    """Return what was heard as the documented JSON object."""
    found: dict[str, Any] = {
        "systolic": _verdict(heard.systolic),
        "diastolic": _verdict(heard.diastolic),
        "first_silence": _verdict(heard.first_silence),
        "pulse_per_min": _round(heard.pulse_per_min),
        "rhythm": None if heard.regular is None else ("regular" if heard.regular else "irregular"),
        "release_mmhg_per_s": _round(heard.release_mmhg_per_s, 2),
        "segments": [
            {"from": _round(one.from_mmhg), "to": _round(one.to_mmhg), "mmhg_per_s": _round(one.rate_mmhg_per_s, 2)}
            for one in heard.segments
        ],
        "gap": None if heard.gap_mmhg is None else dict(zip(("from", "to"), map(_round, heard.gap_mmhg), strict=True)),
        "phase_iv_mmhg": _round(heard.phase_iv_mmhg),
        "notes": list(heard.notes),
    }
    if beats:
        found["beats"] = [
            {
                "at_s": _round(one.at_s, 3),
                "mmhg": _round(one.mmhg, 1),
                "over_silence_db": _round(one.excess_db),
                "sounding": _round(one.sounding, 3),
            }
            for one in heard.beats
        ]
    return found


def _verdict(one: Any) -> dict[str, Any]:
    if isinstance(one, Heard):
        return {
            "verdict": "heard",
            "mmhg": _round(one.mmhg),
            "low": _round(one.low_mmhg),
            "high": _round(one.high_mmhg),
        }
    return {"verdict": "withheld", "reason": one.reason}


def _round(value: float | None, places: int = 1) -> float | None:
    return None if value is None else round(float(value), places)


@dataclass(frozen=True, slots=True)
class ToldBeat:
    """One beat as told: when [s], the cuff's line then [mmHg], dB over silence, chance that it sounds."""

    at_s: float
    mmhg: float
    excess_db: float
    sounding: float


@dataclass(frozen=True, slots=True)
class Told:
    """What a stored answer told: enough to draw it again."""

    systolic: Heard | Withheld
    diastolic: Heard | Withheld
    beats: tuple[ToldBeat, ...]


def told(answer: Mapping[str, Any]) -> Told:
    """Return what an object of `heard_json` with its beats told."""
    beats = (
        ToldBeat(one["at_s"], one["mmhg"], one["over_silence_db"], one["sounding"]) for one in answer.get("beats", ())
    )
    return Told(end_told(answer["systolic"]), end_told(answer["diastolic"]), tuple(beats))


def end_told(end: Mapping[str, Any]) -> Heard | Withheld:
    """Return one end of an object of `heard_json`."""
    if end["verdict"] == "heard":
        return Heard(end["mmhg"], end["low"], end["high"])
    return Withheld(end["reason"])
