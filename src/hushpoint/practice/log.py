"""The log of one measurement as the page sends it: checked value by value, then read for what the hand did.

A log that could not have come from a cuff is refused in one line (docs/bench-format.md, Log) and kept out
of the ledger. Nothing in it is believed beyond what it says about the learner's own hand and pen.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hushpoint.errors import BadInputError
from hushpoint.measure import NotHeard, Reading, Written
from hushpoint.measure.reading import HIGHEST_MMHG, LOWEST_MMHG

LONGEST_S = 600.0
LONGEST_WAIT_S = 86_400.0
MOST_SAMPLES = 30_000
MOST_EVENTS = 30_000
EMPTY_MMHG = 10.0
"""An inflation is a stretch with the cuff above this pressure."""
LOWEST_PEAK_MMHG = 40.0
"""A measurement has an inflation above this pressure."""
SQUEEZE_REACH_S = 1.0
"""A rise must have a squeeze in the second before it."""
RISE_SLACK_MMHG = 0.5
"""The bulb's last breath and rounding may lift the cuff by this much later than that."""
STOP_RATE_MMHG_PER_S = 0.5
"""Slower than this counts as holding (design choice)."""
STOP_LONGEST_S = 2.0
"""A hold up to this long is let pass (design choice)."""
REINFLATION_MMHG = 4.0
"""A rise of this much after the release began is pumping again (design choice)."""
TRY_DROP_MMHG = 15.0
"""A fall of this much before pumping higher is a release given up (design choice; sag takes up to 8)."""
DUMP_MMHG_PER_S = 12.0
"""A fall faster than this down to the empty cuff is opening fully (design choice)."""
BAND_MMHG = 20
"""Rates are told by bands of this width."""
INPUTS = ("mouse", "touch", "keyboard")
PULSE_WINDOWS_S = (15, 30, 60)
ACTS = ("squeeze", "valve", "open_fully")

Floats = NDArray[np.float64]


class LogRefusedError(BadInputError):
    """A log that cannot be filed; the text says which part, where, and what is legal."""


@dataclass(frozen=True, slots=True)
class Event:
    """One act of the hand: squeeze, valve (`to` 0 shut to 1 open) or open_fully, at a time [s]."""

    at_s: float
    do: str
    to: float | None


@dataclass(frozen=True, slots=True)
class PulseCount:
    """What the learner counted at the wrist: beats in a window [s] and whether they felt regular."""

    from_s: float
    seconds: int
    count: int
    regular: bool

    @property
    def per_min(self) -> float:
        """Beats a minute."""
        return self.count * 60 / self.seconds


@dataclass(frozen=True, slots=True)
class Inflation:
    """One stretch with the cuff above 10 mmHg: sample indices, times [s] and highest pressure [mmHg]."""

    first: int
    last: int
    from_s: float
    to_s: float
    peak_mmhg: float


@dataclass(frozen=True, slots=True)
class Segment:
    """How fast the cuff fell through one band [mmHg, mmHg/s]."""

    from_mmhg: float
    to_mmhg: float
    rate_mmhg_per_s: float


@dataclass(frozen=True, slots=True)
class Stop:
    """A hold of the falling cuff: where [mmHg] and for how long [s]."""

    at_mmhg: float
    seconds: float


@dataclass(frozen=True)
class BenchLog:
    """A checked log. `time_s` and `pressure_mmhg`: one length, time strictly rising, pressure 0 to 300."""

    time_s: Floats
    pressure_mmhg: Floats
    events: tuple[Event, ...]
    pulse: PulseCount | None
    palpated_mmhg: float | None
    reading: Reading
    guided: bool
    visible_pulse: bool
    needle_spoken: bool
    input: str
    waited_s: float | None = None
    """Between the storing of the last measurement on this person and the first squeeze, by the page's clock [s]."""

    @cached_property
    def inflations(self) -> tuple[Inflation, ...]:
        """Every stretch above 10 mmHg, in order."""
        return _inflations(self.time_s, self.pressure_mmhg)

    @property
    def measurement(self) -> Inflation:
        """The last inflation: the one that was read."""
        return self.inflations[-1]

    @property
    def palpation(self) -> Inflation | None:
        """The inflation before the last that went above 40 mmHg, if there was one."""
        earlier = [one for one in self.inflations[:-1] if one.peak_mmhg > LOWEST_PEAK_MMHG]
        return earlier[-1] if earlier else None

    @property
    def peak_mmhg(self) -> float:
        """Highest pressure of the measurement."""
        return self.measurement.peak_mmhg

    @property
    def wait_s(self) -> float | None:
        """How long the cuff stood empty between palpation and measurement [s]; None without palpation."""
        return None if self.palpation is None else self.measurement.from_s - self.palpation.to_s

    @cached_property
    def release_index(self) -> int:
        """Sample at which the release began: the last time the cuff stood at its highest."""
        one = self.measurement
        part = self.pressure_mmhg[one.first : one.last + 1]
        return one.first + len(part) - 1 - int(np.argmax(part[::-1]))

    @property
    def release_from_s(self) -> float:
        """When the release began [s]."""
        return float(self.time_s[self.release_index])

    @cached_property
    def dump_index(self) -> int:
        """Sample at which the cuff was opened fully, or the last of the inflation where it never was."""
        time, pressure = self.time_s, self.pressure_mmhg
        for event in self.events:
            if event.do == "open_fully" and event.at_s >= self.release_from_s:
                return min(int(np.searchsorted(time, event.at_s)), self.measurement.last)
        rate = -np.diff(pressure) / np.diff(time)
        index = self.measurement.last
        while index > self.release_index and rate[index - 1] > DUMP_MMHG_PER_S:
            index -= 1
        return index

    @property
    def dump_mmhg(self) -> float:
        """Pressure at which the slow release ended."""
        return float(self.pressure_mmhg[self.dump_index])

    def segments(self) -> tuple[Segment, ...]:
        """Return the rate through each 20-mmHg band of the slow release, top first; parts under 4 go."""
        start, end = self.release_index, self.dump_index
        time, falling = (
            self.time_s[start : end + 1],
            np.minimum.accumulate(self.pressure_mmhg[start : end + 1]),
        )
        top, bottom = float(falling[0]), float(falling[-1])
        inner = [
            float(edge)
            for edge in range(int(top // BAND_MMHG) * BAND_MMHG, int(bottom // BAND_MMHG) * BAND_MMHG - 1, -BAND_MMHG)
            if bottom < edge < top
        ]
        edges = [top, *inner, bottom]
        segments = []
        for high, low in itertools.pairwise(edges):
            if high - low >= REINFLATION_MMHG:
                # the first sample at or below each edge: a hold inside the band counts into its rate
                seconds = float(time[np.argmax(falling <= low)] - time[np.argmax(falling <= high)])
                segments.append(Segment(high, low, (high - low) / max(seconds, 1e-3)))
        return tuple(segments)

    def stops(self, high_mmhg: float, low_mmhg: float) -> tuple[Stop, ...]:
        """Return holds of more than 2 s between two pressures of the slow release [mmHg]."""
        from_s, to_s = self.release_from_s, float(self.time_s[self.dump_index])
        if to_s - from_s <= STOP_LONGEST_S:
            return ()
        step, half = 0.1, 0.2
        grid = np.arange(from_s + half, to_s - half, step)
        ahead = np.interp(grid + half, self.time_s, self.pressure_mmhg)
        behind = np.interp(grid - half, self.time_s, self.pressure_mmhg)
        here = np.interp(grid, self.time_s, self.pressure_mmhg)
        rate = (behind - ahead) / (2 * half)
        slow = (np.abs(rate) < STOP_RATE_MMHG_PER_S) & (here <= high_mmhg) & (here >= low_mmhg)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], slow, [False])).astype(int)))
        stops = []
        for first, after in zip(edges[::2], edges[1::2], strict=True):
            seconds = (after - first) * step + half  # a hold's two ends are blurred by half a window each
            if seconds > STOP_LONGEST_S:
                stops.append(Stop(float(here[first]), float(seconds)))
        return tuple(stops)

    @cached_property
    def pumped_again_at_mmhg(self) -> float | None:
        """Lowest pressure from which the cuff was pumped up again once a release had begun; None if never."""
        one, start = self.measurement, self.release_index
        falling = self.pressure_mmhg[start : one.last + 1]
        rises = falling - np.minimum.accumulate(falling)
        if float(rises.max()) >= REINFLATION_MMHG:
            return float(falling[: int(np.argmax(rises)) + 1].min())
        rising = self.pressure_mmhg[one.first : start + 1]
        drops = np.maximum.accumulate(rising) - rising
        if float(drops.max()) >= TRY_DROP_MMHG:
            return float(rising[int(np.argmax(drops))])
        return None

    def to_json(self) -> dict[str, Any]:
        """Return the log as the contract has it, with nothing but the known keys: this is what is stored."""
        pulse = self.pulse
        return {
            "time_s": self.time_s.tolist(),
            "pressure_mmhg": self.pressure_mmhg.tolist(),
            "events": [
                {"at_s": event.at_s, "do": event.do} | ({} if event.to is None else {"to": event.to})
                for event in self.events
            ],
            "pulse": pulse
            and {
                "from_s": pulse.from_s,
                "seconds": pulse.seconds,
                "count": pulse.count,
                "regular": pulse.regular,
            },
            "palpated_mmhg": self.palpated_mmhg,
            "reading": reading_json(self.reading),
            "guided": self.guided,
            "visible_pulse": self.visible_pulse,
            "needle_spoken": self.needle_spoken,
            "input": self.input,
            "waited_s": self.waited_s,
        }


def reading_json(reading: Reading) -> dict[str, int | None]:
    """Return a reading as the contract has it; null means "not heard"."""
    return {
        "systolic": reading.systolic.mmhg if isinstance(reading.systolic, Written) else None,
        "diastolic": reading.diastolic.mmhg if isinstance(reading.diastolic, Written) else None,
        "muffling": reading.muffling.mmhg if reading.muffling else None,
    }


def check_reading(value: object) -> Reading:
    """Return what the learner wrote; raises LogRefusedError unless whole numbers 0 to 300 or null."""
    written = _mapping(value, "reading")
    ends = []
    for end in ("systolic", "diastolic"):
        number = _whole_or_none(_get(written, end, "reading"), f"reading, {end}")
        ends.append(NotHeard() if number is None else Written(number))
    muffling = _whole_or_none(written.get("muffling"), "reading, muffling")
    return Reading(ends[0], ends[1], None if muffling is None else Written(muffling))


def check_log(value: object) -> BenchLog:
    """Return the log that `value` (JSON already parsed) holds.

    Raises LogRefusedError, one clear line, for everything docs/bench-format.md refuses.
    """
    log = _mapping(value, "log")
    time = _samples(_get(log, "time_s"), "time_s", LONGEST_S)
    pressure = _samples(_get(log, "pressure_mmhg"), "pressure_mmhg", HIGHEST_MMHG)
    if len(time) != len(pressure):
        raise LogRefusedError(
            f"log, pressure_mmhg: {len(pressure)} values, time_s {len(time)}: must be as many. Nothing saved."
        )
    steps = np.diff(time)
    if len(steps) and float(steps.min()) <= 0:
        at = int(np.argmax(steps <= 0)) + 1
        raise LogRefusedError(f"log, time_s value {at + 1}: time must run forward. Nothing saved.")
    events = _events(_get(log, "events"))
    checked = BenchLog(
        time_s=time,
        pressure_mmhg=pressure,
        events=events,
        pulse=_pulse(_get(log, "pulse")),
        palpated_mmhg=_number_or_none(_get(log, "palpated_mmhg"), "palpated_mmhg"),
        reading=check_reading(_get(log, "reading")),
        guided=_flag(log, "guided"),
        visible_pulse=_flag(log, "visible_pulse"),
        needle_spoken=_flag(log, "needle_spoken"),
        input=_one_of(_get(log, "input"), "input", INPUTS),
        waited_s=None if log.get("waited_s") is None else _number(log["waited_s"], "waited_s", 0, LONGEST_WAIT_S),
    )
    if not checked.inflations or checked.peak_mmhg <= LOWEST_PEAK_MMHG:
        raise LogRefusedError(f"No inflation above {LOWEST_PEAK_MMHG:.0f} mmHg in this log: not filed.")
    if pressure[-1] > EMPTY_MMHG:
        raise LogRefusedError(
            f"No release to an empty cuff in this log, it ends at {pressure[-1]:.0f} mmHg: not filed."
        )
    _refuse_rise_without_squeeze(time, pressure, events)
    return checked


def _refuse_rise_without_squeeze(time: Floats, pressure: Floats, events: tuple[Event, ...]) -> None:
    squeezes = np.array([-np.inf, *(event.at_s for event in events if event.do == "squeeze")])
    last = squeezes[np.searchsorted(squeezes, time, side="right") - 1]
    squeezed = time - last <= SQUEEZE_REACH_S
    lowest = 0.0
    for at_s, mmhg, lifted in zip(time.tolist(), pressure.tolist(), squeezed.tolist(), strict=True):
        if not lifted and mmhg > lowest + RISE_SLACK_MMHG:
            raise LogRefusedError(
                f"log: pressure rises by {at_s:.1f} s with no squeeze in the second before. Nothing saved."
            )
        lowest = mmhg if lifted else min(lowest, mmhg)


def _inflations(time: Floats, pressure: Floats) -> tuple[Inflation, ...]:
    above = np.concatenate(([False], pressure > EMPTY_MMHG, [False]))
    edges = np.flatnonzero(np.diff(above.astype(int)))
    return tuple(
        Inflation(
            int(first),
            int(after - 1),
            float(time[first]),
            float(time[after - 1]),
            float(pressure[first:after].max()),
        )
        for first, after in zip(edges[::2], edges[1::2], strict=True)
    )


def _shown(value: object) -> str:
    """Return a value short enough for one line; what a person typed as text is never echoed."""
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    if isinstance(value, int):
        return str(value) if abs(value) < 10**12 else "a huge number"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, str):
        return "a text"
    return "a list" if isinstance(value, Sequence) else "an object"


def _refuse(where: str, value: object, legal: str) -> LogRefusedError:
    return LogRefusedError(f"log, {where}: {_shown(value)}, must be {legal}. Nothing saved.")


def _mapping(value: object, where: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise LogRefusedError(f"{where}: {_shown(value)}, must be an object. Nothing saved.")
    return value


def _get(mapping: Mapping[str, Any], key: str, where: str = "log") -> Any:
    if key not in mapping:
        raise LogRefusedError(f"{where}: {key} is missing. Nothing saved.")
    return mapping[key]


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _number(value: object, where: str, low: float, high: float) -> float:
    # compared before it becomes a float: a huge integer has no float
    if _is_number(value) and low <= value <= high:  # type: ignore[operator]
        return float(value)  # type: ignore[arg-type]
    raise _refuse(where, value, f"a number from {low:g} to {high:g}")


def _number_or_none(value: object, where: str) -> float | None:
    return None if value is None else _number(value, where, LOWEST_MMHG, HIGHEST_MMHG)


def _whole(value: object, where: str, low: int, high: int) -> int:
    number = _number(value, where, low, high)
    if not number.is_integer():
        raise _refuse(where, value, f"a whole number from {low} to {high}")
    return int(number)


def _whole_or_none(value: object, where: str) -> int | None:
    return None if value is None else _whole(value, where, LOWEST_MMHG, HIGHEST_MMHG)


def _flag(log: Mapping[str, Any], key: str) -> bool:
    value = _get(log, key)
    if not isinstance(value, bool):
        raise _refuse(key, value, "true or false")
    return value


def _one_of(value: object, where: str, allowed: tuple[str, ...]) -> str:
    if not isinstance(value, str) or value not in allowed:
        raise _refuse(where, value, "one of " + ", ".join(allowed))
    return value


def _list(value: object, where: str, most: int) -> Sequence[Any]:
    if not isinstance(value, (list, tuple)):
        raise _refuse(where, value, "a list")
    if len(value) > most:
        raise LogRefusedError(f"log, {where}: {len(value)} values, must be at most {most}. Nothing saved.")
    return value


def _samples(value: object, where: str, high: float) -> Floats:
    values = _list(value, where, MOST_SAMPLES)
    if not values:
        raise LogRefusedError(f"log, {where}: empty, must hold at least one value. Nothing saved.")
    if set(map(type, values)) <= {int, float} and min(values) >= 0 and max(values) <= high:
        found = np.array(values, dtype=float)
        if np.isfinite(found).all():  # NaN slips through min and max
            return found
    return np.array([_number(one, f"{where} value {at}", 0, high) for at, one in enumerate(values, start=1)])


def _events(value: object) -> tuple[Event, ...]:
    events = []
    for at, one in enumerate(_list(value, "events", MOST_EVENTS), start=1):
        where = f"events value {at}"
        event = _mapping(one, f"log, {where}")
        do = _one_of(_get(event, "do", f"log, {where}"), f"{where}, do", ACTS)
        at_s = _number(_get(event, "at_s", f"log, {where}"), f"{where}, at_s", 0, LONGEST_S)
        to = _number(_get(event, "to", f"log, {where}"), f"{where}, to", 0, 1) if do == "valve" else None
        events.append(Event(at_s, do, to))
    # one hand acts in order; two acts noted in the same frame may arrive swapped
    return tuple(sorted(events, key=lambda event: event.at_s))


def _pulse(value: object) -> PulseCount | None:
    if value is None:
        return None
    pulse = _mapping(value, "log, pulse")
    seconds = _whole(_get(pulse, "seconds", "log, pulse"), "pulse, seconds", 1, 60)
    if seconds not in PULSE_WINDOWS_S:
        raise _refuse("pulse, seconds", seconds, "15, 30 or 60")
    regular = _get(pulse, "regular", "log, pulse")
    if not isinstance(regular, bool):
        raise _refuse("pulse, regular", regular, "true or false")
    return PulseCount(
        from_s=_number(_get(pulse, "from_s", "log, pulse"), "pulse, from_s", 0, LONGEST_S),
        seconds=seconds,
        count=_whole(_get(pulse, "count", "log, pulse"), "pulse, count", 0, 400),
        regular=regular,
    )
