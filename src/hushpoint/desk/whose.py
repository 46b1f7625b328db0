"""Whose error is it: the readings of a file or of a class to one frozen result, and its words."""

from __future__ import annotations

import dataclasses
import threading
from collections.abc import Sequence
from typing import Any

from hushpoint.agreement import EndErrors, ErrorSources, GaugeOdds, Outlying, PairedReading, Untold, whose
from hushpoint.desk import live
from hushpoint.ledger.records import Ledger

CAUTION = "Errors of observers and gauges, not a judgement of anybody's health; local rules decide on sign-off."
DECIMALS = 6
MOST_NAMES = 8
NO_GAUGE = "(gauge not told)"

_cache: dict[tuple[int, str, str | None], tuple[int, ErrorSources]] = {}
_LOCK = threading.Lock()
MOST_CACHED = 32


def readings_of(ledger: Ledger, room: str | None = None) -> tuple[PairedReading, ...]:
    """Return the live readings of a class, or of all classes, as they stand after their corrections.

    A reading without a systolic says nothing here and is left out. Observers are called as their rows call them.
    """
    return tuple(
        PairedReading(
            measurement=one.measurement,
            observer=one.observer,
            systolic_mmhg=float(one.systolic_mmhg),
            diastolic_mmhg=None if one.diastolic_mmhg is None else float(one.diastolic_mmhg),
            client=one.client,
            gauge=one.gauge,
            at=one.taken_at,
        )
        for one in live.readings(ledger, room=room)
        if one.systolic_mmhg is not None
    )


def whose_in_class(ledger: Ledger, room: str, reference: str | None = None) -> ErrorSources:
    """Say whose error it is in a class's live readings; kept until the journal grows.

    Raises AgreementError where too few measurements were read by two observers.
    """
    key, last = (id(ledger), room, reference), ledger.last()
    with _LOCK:
        kept = _cache.get(key)
    if kept is not None and kept[0] == last:
        return kept[1]
    found = whose(readings_of(ledger, room), reference)
    with _LOCK:
        if len(_cache) >= MOST_CACHED:
            _cache.clear()
        _cache[key] = (last, found)
    return found


def as_json(found: ErrorSources) -> dict[str, Any]:
    """The object that `hushpoint whose --json` prints, described in docs/agreement.md."""
    whole: dict[str, Any] = _rounded(dataclasses.asdict(found))
    whole["notes"] = [line for end in found.ends() for line in sentences(end)]
    return whole


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, DECIMALS) + 0.0
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    if isinstance(value, (tuple, list)):
        return [_rounded(one) for one in value]
    return value


def sentences(found: EndErrors) -> list[str]:
    """What to know besides the figures, in plain words: gauges to check, slips, what cannot be told apart."""
    lines = [_off(one) for one in found.watch.gauges if one.named]
    if found.watch.undecided:
        which = _listed([name or NO_GAUGE for name in found.watch.undecided])
        lines.append(
            f"one of the gauges {which} seems off, which one is not clear: check them today beside a reference"
        )
    lines += [_outlying(one) for one in found.outlying]
    lines += [line for one in found.untold for line in _untold(one)]
    return [f"{found.end}: {line}" for line in lines]


def _off(one: GaugeOdds) -> str:
    way = "low" if one.off_mmhg < 0 else "high"
    since = f" since the week of {one.since}" if one.since else ""
    return (
        f"gauge {one.gauge or NO_GAUGE} seems to read about {abs(one.off_mmhg):.0f} {way}{since} "
        f"({_odds(one.chance_off)}, from {one.n} readings beside another gauge): check it today beside a reference"
    )


def _odds(chance: float) -> str:
    against = 1 - chance
    return "odds above 1000 to 1" if against < 1 / 1001 else f"odds {chance / against:.0f} to 1"


def _outlying(one: Outlying) -> str:
    written = ", ".join(f"{observer} {mmhg:g}" for observer, mmhg in one.written)
    where = f"measurement {one.measurement} ({written})"
    if one.observer is None:
        return f"{where} does not fit the rest; whose slip it is, this measurement alone cannot tell. Left out"
    way = "above" if one.off_mmhg > 0 else "below"
    return f"{where}: {one.observer} is {abs(one.off_mmhg):.0f} {way} what the others lead one to expect. Left out"


def _untold(one: Untold) -> list[str]:
    groups = [_listed(group) for group in one.groups]
    if one.cause == "alone":
        return [f"nobody else read a measurement of {groups[0]}: nothing can be said of them; take a pair"]
    if one.cause == "apart":
        return [
            f"{len(groups)} groups that no chain of shared measurements joins: {'; '.join(groups)}. "
            "Each is told by itself; one pair across would join two"
        ]
    if one.cause == "same gauge":
        return [
            f"always on gauges of their own: {'; '.join(groups)}. A difference between these may be that of the "
            "gauges; let them change gauges once"
        ]
    if one.cause == "spreads":
        return [
            f"every pair has one of {groups[0]} and one of {groups[1]}: how their spreads divide is a guess; let two "
            "of one side read together"
        ]
    told = [_listed(tuple(name or NO_GAUGE for name in group)) for group in one.groups]
    return [f"gauges not to be compared with one another: {'; '.join(told)}. Two on one cuff would join them"]


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(names[:MOST_NAMES]) + more
