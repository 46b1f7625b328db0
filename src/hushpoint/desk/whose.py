"""Whose error is it: the readings of a file or of classes to one frozen result, and its words."""

from __future__ import annotations

import dataclasses
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, Literal

from hushpoint.agreement import (
    AgreementError,
    EndErrors,
    ErrorSources,
    GaugeOdds,
    ObserverDigits,
    Outlying,
    PairedReading,
    Papers,
    Untold,
    digits_by_observer,
    whose,
)
from hushpoint.agreement.last_digits import FEWEST
from hushpoint.desk import live
from hushpoint.desk.classes import board_rows
from hushpoint.desk.judging import CLEARLY_ZERO, REVIEW_HABIT
from hushpoint.errors import BadInputError
from hushpoint.ledger.records import Kind, Ledger, Row

CAUTION = "Errors of observers and gauges, not a judgement of anybody's health; local rules decide on sign-off."
DECIMALS = 6
MOST_ROWS = 1_000_000
"""Up to so many rows of the journal the readings of all classes are held in memory (some 300 MB; design choice)."""
MOST_CLASSES = 12
"""Beyond that, so many classes are held at the same time."""
MOST_NAMES = 8
NO_GAUGE = "(gauge not told)"
MOST_KEPT = 32
_KINDS = (
    Kind.READING_TAKEN,
    Kind.READING_AMENDED,
    Kind.PAIR_CANCELLED,
    Kind.PAPER_MARKED,
    Kind.PERSON_ERASED,
)
ENDS: tuple[Literal["systolic", "diastolic"], ...] = ("systolic", "diastolic")


@dataclasses.dataclass(slots=True)
class _Room:
    """A class's live readings by journal row, as first written and as they stand, and the pairs set aside.

    `papers` holds each learner's errors on listening papers [mmHg], by journal row and end.
    """

    first: dict[int, live.LiveReading] = dataclasses.field(default_factory=dict)
    now: dict[int, live.LiveReading] = dataclasses.field(default_factory=dict)
    aside: set[str] = dataclasses.field(default_factory=set)
    papers: dict[str, dict[int, dict[str, list[float]]]] = dataclasses.field(default_factory=dict)
    changed: int = 0


@dataclasses.dataclass(frozen=True, slots=True)
class Shown:
    """What there is to show at once of a class's live readings, or of all classes'.

    `found` is None where `too_few` says why nothing can be told, or, both being empty, where it is still being worked
    out. `behind` says that readings newer than `found` are still being counted in.
    """

    observers: Mapping[str, str]
    reference: str | None
    found: ErrorSources | None = None
    too_few: str = ""
    behind: bool = False


@dataclasses.dataclass(frozen=True, slots=True)
class _View:
    """Readings with a systolic as of row `changed`, and the class of each observer's first one."""

    changed: int
    readings: tuple[live.LiveReading, ...]
    observers: Mapping[str, str]
    papers: Papers


@dataclasses.dataclass(frozen=True, slots=True)
class _Result:
    changed: int
    found: ErrorSources | None
    too_few: str


_Key = tuple[str | None, str | None]


class ClassReadings:
    """The live readings of all classes, read once and then kept up to date; safe from several threads.

    Readings of visits stay out: nobody hears those beside the practitioner. A pair that was set aside counts for
    nothing here. A result is kept until a reading of its class is stored, corrected, set aside or erased; in memory
    alone, so that nothing of it lies on the disk and an erasure leaves nothing behind.
    """

    def __init__(self, ledger: Ledger, only: str | None = None) -> None:
        """Read all classes, or `only` one: a school's millions of readings do not fit into memory at once."""
        self._ledger = ledger
        self._only = only
        self._lock = threading.Lock()
        self._working = threading.Lock()
        self._rooms: dict[str, _Room] = {}
        self._seen = 0
        self._starting = threading.Lock()
        self._erasures = 0
        self._views: dict[str | None, _View] = {}
        self._kept: dict[_Key, _Result] = {}
        self._digits: dict[str, tuple[int, list[ObserverDigits]]] = {}
        self._reader = ThreadPoolExecutor(1, thread_name_prefix="whose-reader")
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="whose")
        self._reading: Future[object] | None = None
        self._pending: dict[_Key, Future[object]] = {}

    def warm(self, reference: str) -> None:
        """Read all classes' readings and work them out beside whatever else goes on, so that a page need not wait."""
        self._reader.submit(lambda: self.shown(None, lambda who: reference if reference in who else None, 0.0))

    def stop(self) -> None:
        """Finish what is in hand and begin nothing more."""
        self._reader.shutdown(wait=True, cancel_futures=True)
        self._worker.shutdown(wait=True, cancel_futures=True)

    def shown(self, room: str | None, choose: Callable[[Mapping[str, str]], str | None], wait_s: float) -> Shown | None:
        """Return what there is to show within `wait_s`; None where the readings are still being read.

        `choose` names the reference among the observers. What is not ready goes on being worked out.
        """
        until = time.monotonic() + wait_s
        if wait_s and not _done(self._read_soon(), wait_s):
            return None
        view = self._now(room)
        key = room, choose(view.observers)
        result = self._kept.get(key)
        if result is None or result.changed != view.changed:
            _done(self._work_soon(key), max(0.0, until - time.monotonic()))
            result = self._kept.get(key)
        if result is None:
            return Shown(view.observers, key[1])
        return Shown(view.observers, key[1], result.found, result.too_few, result.changed != view.changed)

    def observers(self, room: str | None = None) -> Mapping[str, str]:
        """Return who wrote readings that can be compared, each with the class of their first one."""
        return self._now(room).observers

    def measured_in(self, measurements: Collection[str]) -> dict[str, str]:
        """Return the class of each of these measurements."""
        return {one.measurement: one.room for one in self._now(None).readings if one.measurement in measurements}

    def whose(self, room: str | None = None, reference: str | None = None) -> ErrorSources:
        """Say whose error it is in a class's live readings, or in all classes'.

        Raises AgreementError where too few measurements were read by two observers.
        """
        result = self._work((room, reference))
        if result.found is None:
            raise AgreementError(result.too_few)
        return result.found

    def digits(self, room: str) -> list[ObserverDigits]:
        """Count the last digits in a class as first written, before any correction."""
        with self._lock:
            self._read_on()
            kept = self._rooms.get(room, _Room())
            changed, erasures = kept.changed, self._erasures
            done_at, done = self._digits.get(room, (-1, []))
            if done_at == changed:
                return done
            mine = list(kept.first.values())
        found = digits_by_observer(_paired(one) for one in mine if one.systolic_mmhg is not None)
        with self._lock:
            if self._erasures == erasures:
                self._digits[room] = changed, found
        return found

    def _read_soon(self) -> Future[object]:
        """Read on in a thread of its own, one at a time."""
        with self._starting:
            if self._reading is None or self._reading.done():
                self._reading = self._reader.submit(self._now, None)
            return self._reading

    def _work_soon(self, key: _Key) -> Future[object]:
        with self._starting:
            pending = self._pending.get(key)
            if pending is None or pending.done():
                self._pending = {one: future for one, future in self._pending.items() if not future.done()}
                self._pending[key] = pending = self._worker.submit(self._work, key)
            return pending

    def _work(self, key: _Key) -> _Result:
        room, reference = key
        with self._working:  # asked for again while it is being worked out: it is worked out once
            erasures = self._erasures
            view = self._now(room)
            kept = self._kept.get(key)
            if kept is not None and kept.changed == view.changed:
                return kept
            try:
                found = whose((_paired(one) for one in view.readings), reference, view.papers)
                result = _Result(view.changed, found, "")
            except AgreementError as too_few:
                result = _Result(view.changed, None, str(too_few))
            with self._lock:
                if self._erasures == erasures:  # nobody was erased meanwhile of whom it would still tell
                    if len(self._kept) >= MOST_KEPT:
                        self._kept.clear()
                    self._kept[key] = result
            return result

    def _now(self, room: str | None) -> _View:
        """Return the readings as they stand."""
        with self._lock:
            self._read_on()
            rooms = list(self._rooms.values()) if room is None else [self._rooms.get(room, _Room())]
            changed = max((kept.changed for kept in rooms), default=0)
            view = self._views.get(room)
            if view is None or view.changed != changed:
                readings = tuple(
                    one
                    for kept in rooms
                    for one in kept.now.values()
                    if one.systolic_mmhg is not None and (not kept.aside or _pair_of(one.measurement) not in kept.aside)
                )
                papers = {
                    end: {
                        who: [error for errors in marked.values() for error in errors[end]]
                        for kept in rooms
                        for who, marked in kept.papers.items()
                    }
                    for end in ENDS
                }
                view = _View(changed, readings, {one.observer: one.room for one in reversed(readings)}, papers)
                self._views[room] = view
            return view

    def _read_on(self) -> None:
        up_to = self._ledger.last()
        if up_to > self._seen:
            if self._only is None:
                self._take(self._ledger.rows(after=self._seen, kinds=_KINDS))
            else:
                self._take(board_rows(self._ledger, self._only, self._seen, up_to, _KINDS))
            self._seen = up_to  # a row that came in between is taken twice, which changes nothing

    def _take(self, rows: Iterable[Row]) -> None:
        for row in rows:
            if row.kind is Kind.PERSON_ERASED:
                self._erasures += 1
                self._kept.clear()
                self._views.clear()
                self._digits.clear()
                for kept in self._rooms.values():
                    gone = [seq for seq, one in kept.now.items() if one.who == row.who]
                    for seq in gone:
                        del kept.first[seq], kept.now[seq]
                    if kept.papers.pop(row.who, None) or gone:
                        kept.changed = row.seq
            elif row.body is not None:
                self._take_one(row)

    def _take_one(self, row: Row) -> None:
        body: Any = row.body
        kept = self._rooms.setdefault(row.room, _Room())
        if row.kind is Kind.PAIR_CANCELLED:
            (kept.aside.add if body["cancelled"] else kept.aside.discard)(body["pair"])
        elif row.kind is Kind.READING_TAKEN and body["via"] != "visit":
            kept.first[row.seq] = kept.now[row.seq] = live.reading_of(row)
        elif row.kind is Kind.PAPER_MARKED:
            errors: dict[str, list[float]] = {end: _paper_errors(body["lines"], end) for end in ENDS}
            kept.papers.setdefault(row.who, {})[row.seq] = errors
        elif row.kind is Kind.READING_AMENDED and body["row"] in kept.now:
            kept.now[body["row"]] = live.amended(kept.now[body["row"]], body)
        else:
            return
        kept.changed = row.seq


class SchoolReadings:
    """The readings of all classes together while the journal is small enough, else of those classes looked at."""

    def __init__(self, ledger: Ledger, most_rows: int = MOST_ROWS) -> None:
        self._ledger = ledger
        self._most_rows = most_rows
        self._lock = threading.Lock()
        self._all = ClassReadings(ledger)
        self._classes: OrderedDict[str, ClassReadings] = OrderedDict()

    def of(self, room: str | None) -> ClassReadings:
        """Return what holds a class's readings, or all classes' for None; raises BadInputError where they are too many.

        Everything else that is asked of a class's readings is asked of what this returns.
        """
        if self._ledger.last() <= self._most_rows:
            return self._all
        if room is None:
            raise BadInputError(
                f"all classes: the journal has more than {self._most_rows:,} rows, too many to compare at once; "
                "choose one class"
            )
        with self._lock:
            found = self._classes.pop(room, None) or ClassReadings(self._ledger, room)
            self._classes[room] = found
            if len(self._classes) > MOST_CLASSES:
                self._classes.popitem(last=False)[1].stop()
            return found

    def warm(self, reference: str) -> None:
        """Read on at the start, where all classes are held."""
        if self._ledger.last() <= self._most_rows:
            self._all.warm(reference)

    def stop(self) -> None:
        """Finish what is in hand and begin nothing more."""
        for one in (self._all, *self._classes.values()):
            one.stop()


def digits_of(ledger: Ledger, room: str, who: str) -> list[ObserverDigits]:
    """Count the last digits of one learner as first written, from their own rows; see `ClassReadings.digits`."""
    rows = ledger.rows(kinds=[Kind.READING_TAKEN], room=room, who=who)
    mine = [live.reading_of(row) for row in rows if row.body is not None and row.body["via"] != "visit"]
    return digits_by_observer(_paired(one) for one in mine if one.systolic_mmhg is not None and one.observer == who)


def _paper_errors(lines: Iterable[Mapping[str, Any]], end: str) -> list[float]:
    """Written minus key [mmHg] of every answer of a paper that has both."""
    both = ((line[end], line[f"{end}_key"]) for line in lines)
    return [float(written - key) for written, key in both if written is not None and key is not None]


def _done(future: Future[object], wait_s: float) -> bool:
    """Whether it is done within so many seconds; raises what it raised."""
    try:
        future.result(timeout=wait_s)
    except TimeoutError:
        return False
    return True


def _pair_of(measurement: str) -> str:
    return measurement.partition(".")[0]


def _paired(one: live.LiveReading) -> PairedReading:
    """The reading as the model takes it; the caller sees to its having a systolic."""
    return PairedReading(
        one.measurement,
        one.observer,
        float(one.systolic_mmhg or 0),
        None if one.diastolic_mmhg is None else float(one.diastolic_mmhg),
        one.client,
        one.gauge,
        one.taken_at,
    )


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


Called = Callable[[str], str]
"""How an observer or a gauge is called on a page or in a file's words."""


def as_told(name: str) -> str:
    """Call an observer or a gauge as the readings do."""
    return name or NO_GAUGE


def sentences(found: EndErrors, called: Called = as_told) -> list[str]:
    """What to know besides the figures, in plain words: gauges to check, slips, what cannot be told apart."""
    lines = [
        f"{gauge_words(one, called)}: check it today beside a reference" for one in found.watch.gauges if one.named
    ]
    if found.watch.undecided:
        which = _listed(found.watch.undecided, called)
        lines.append(
            f"one of the gauges {which} seems off, which one is not clear: check them today beside a reference"
        )
    for slip in found.outlying:
        lines.append(f"measurement {slip.measurement} ({written_words(slip, called)}): {slip_words(slip, called)}")
    lines += [untold_words(one, called) for one in found.untold]
    return [f"{found.end}: {line}" for line in lines]


def gauge_words(one: GaugeOdds, called: Called = as_told) -> str:
    """Say how far a named gauge seems off, since when and with which odds."""
    since = f" since the week of {one.since}" if one.since else ""
    told = f"{_odds(one.chance_off)}, from {one.n} readings beside another gauge"
    if one.off_mmhg < 0:
        return f"gauge {called(one.gauge)} seems to read about {abs(one.off_mmhg):.0f} low{since} ({told})"
    return f"gauge {called(one.gauge)} seems to read about {abs(one.off_mmhg):.0f} high{since} ({told})"


def _odds(chance: float) -> str:
    against = 1 - chance
    return "odds above 1000 to 1" if against < 1 / 1001 else f"odds {chance / against:.0f} to 1"


def written_words(one: Outlying, called: Called = as_told) -> str:
    """What everybody wrote for an outlying measurement."""
    return ", ".join(f"{called(observer)} {mmhg:g}" for observer, mmhg in one.written)


def slip_words(one: Outlying, called: Called = as_told) -> str:
    """Say whose reading is outlying and how far, and whether it counts."""
    what_then = "The same again elsewhere, so no slip: it counts" if one.repeated else "Left out"
    if one.observer is None:
        return f"does not fit the rest; whose error it is, this measurement alone cannot tell. {what_then}"
    off, who = f"{abs(one.off_mmhg):.0f}", called(one.observer)
    if one.off_mmhg > 0:
        return f"{who} is {off} above what the others lead one to expect. {what_then}"
    return f"{who} is {off} below what the others lead one to expect. {what_then}"


def untold_words(one: Untold, called: Called = as_told) -> str:
    """Say what cannot be told apart, and what would tell it."""
    groups = [_listed(group, called) for group in one.groups]
    if one.cause == "alone":
        return f"nobody else read a measurement of {groups[0]}: nothing can be said of them; take a pair"
    if one.cause == "apart":
        return (
            f"{len(groups)} groups that no chain of shared measurements joins: {'; '.join(groups)}. "
            "Each is told by itself; one pair across would join two"
        )
    if one.cause == "same gauge":
        return (
            f"always on gauges of their own: {'; '.join(groups)}. A difference between these may be that of the "
            "gauges; let them change gauges once"
        )
    if one.cause == "spreads":
        return (
            f"every pair has one of {groups[0]} and one of {groups[1]}: how their spreads divide is a guess; let two "
            "of one side read together"
        )
    return f"gauges not to be compared with one another: {'; '.join(groups)}. Two on one cuff would join them"


def _listed(names: Sequence[str], called: Called) -> str:
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return ", ".join(called(name) for name in names[:MOST_NAMES]) + more


def digit_lines(found: ObserverDigits) -> list[str]:
    """Say in words what stands out in how an observer writes, each finding with its exact chance."""
    lines = []
    for end, one in (("systolic", found.systolic), ("diastolic", found.diastolic)):
        if not one.n:
            lines.append(f"{end}: too few to tell, no whole number yet")
            continue
        told = "; ".join(one.flags) or f"nothing stands out in {one.n} readings"
        told = f"{REVIEW_HABIT}: {told}" if any(CLEARLY_ZERO in flag for flag in one.flags) else told
        enough = one.p_zeros is not None and one.n >= FEWEST
        chance = f" (as many zeros by chance alone: {_chance(one.p_zeros or 0)})" if enough else ""
        lines.append(f"{end}: {told}{chance}")
    return lines + list(found.pairs.flags)


def _chance(p: float) -> str:
    return "under 1 in 1000" if p < 0.001 else f"{100 * p:.1f} %" if p < 0.1 else f"{100 * p:.0f} %"
