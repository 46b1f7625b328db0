"""What a stopwatch beside the gauge tells, stored with its result: leak, rapid exhaust, release valve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any, Literal, get_args

from hushpoint.desk.kit import ROLES, Item, in_register, rule_of
from hushpoint.desk.standing import standing
from hushpoint.errors import BadInputError
from hushpoint.guideline import GaugeRule, gauge_rule
from hushpoint.instrument import (
    Exhaust,
    Failed,
    Fall,
    InstrumentError,
    Passed,
    TimedReading,
    leak,
    rapid_exhaust,
    timed_by_hand,
    valve,
)
from hushpoint.ledger.records import AlreadyStoredError, Entry, Kind, Ledger, Row
from hushpoint.measure import Worked

What = Literal["leak", "exhaust", "valve"]
TESTS: tuple[What, ...] = get_args(What)
TITLES: dict[What, str] = {"leak": "leak", "exhaust": "rapid exhaust", "valve": "release valve"}


@dataclass(frozen=True, slots=True)
class TimedResult:
    """A timed test: what came out in words with its unit, and the verdict (pass, fail or withheld) with the reason."""

    what: What
    found: Fall | Exhaust
    rule: GaugeRule

    @property
    def verdict(self) -> Literal["pass", "fail", "withheld"]:
        """The verdict in a word."""
        if isinstance(self.found.verdict, Passed):
            return "pass"
        return "fail" if isinstance(self.found.verdict, Failed) else "withheld"

    @property
    def reason(self) -> str:
        """Why."""
        verdict = self.found.verdict
        return verdict.reasons[0] if isinstance(verdict, Failed) else verdict.reason

    @property
    def worked(self) -> tuple[Worked, ...]:
        """The calculation behind it."""
        return timed_by_hand(self.found)

    @property
    def value(self) -> str:
        """The figure with its interval and unit."""
        if isinstance(self.found, Exhaust):
            return f"{self.found.seconds:.1f} s"
        low, rate, high = (_minus(value) for value in (self.found.low, self.found.rate, self.found.high))
        return f"{rate} ({low} to {high}) {self.found.unit}"


@dataclass(frozen=True, slots=True)
class StoredTimed:
    """A timed test of an item as stored. `at` is UTC, ISO 8601 with Z; `by` is a role."""

    seq: int
    item: str
    at: str
    by: str
    readings: tuple[TimedReading, ...]
    result: TimedResult


def timed(what: str, readings: Sequence[TimedReading], rule: GaugeRule) -> TimedResult:
    """Judge timed readings as a leak, a rapid exhaust or a valve's release; raises BadInputError."""
    if what == "leak":
        return TimedResult("leak", leak(readings, rule), rule)
    if what == "valve":
        return TimedResult("valve", valve(readings), rule)
    if what == "exhaust":
        return TimedResult("exhaust", rapid_exhaust(readings), rule)
    raise BadInputError(f"test: must be one of {', '.join(TESTS)}")


def file_timed(
    ledger: Ledger,
    item_id: str,
    *,
    what: str,
    readings: Sequence[TimedReading],
    rule: str,
    by: str,
    ref: str | None = None,
) -> StoredTimed:
    """Judge a timed test of a gauge or a cuff with its bulb and store it; raises BadInputError, nothing written."""
    tested = in_register(ledger, item_id)
    if tested.type == "stethoscope":
        raise BadInputError(f"{tested.label}: a stethoscope holds no pressure; time a gauge or a cuff")
    if by not in ROLES:
        raise BadInputError(f"checked by: must be one of {', '.join(ROLES)}")
    result = timed(what, readings, gauge_rule(rule))
    body = {
        "item": tested.id,
        "what": result.what,
        "by": by,
        "rule": asdict(result.rule),
        "readings": [[reading.at_s, reading.mmhg] for reading in readings],
        "result": {"verdict": result.verdict, "value": result.value, "reason": result.reason},
    }
    try:
        row = ledger.append(Entry(Kind.KIT_TIMED, body, ref=ref))[0]
    except AlreadyStoredError as stored_already:
        row = stored_already.row
    return _stored(row, row.body or {})


def timed_of(ledger: Ledger, tested: Item) -> list[StoredTimed]:
    """Return the timed tests of an item, oldest first."""
    rows = standing(ledger, [Kind.KIT_TIMED], room="")
    return [_stored(row, row.body) for row in rows if row.body is not None and row.body["item"] == tested.id]


def latest(tests: Sequence[StoredTimed], before: datetime | None = None) -> list[StoredTimed]:
    """Return the newest test of each kind, up to a moment where one is given."""
    until = "9" if before is None else before.astimezone(UTC).isoformat()
    found = {one.result.what: one for one in tests if one.at <= until}
    return [found[what] for what in TESTS if what in found]


def _stored(row: Row, body: Any) -> StoredTimed:
    readings = tuple(TimedReading(at_s, mmhg) for at_s, mmhg in body["readings"])
    try:
        result = timed(body["what"], readings, rule_of(body["rule"]))
    except InstrumentError as refusal:  # stored once it could be judged, so it can be judged again
        raise BadInputError(f"row {row.seq}: {refusal}") from None
    return StoredTimed(row.seq, body["item"], row.at, body["by"], readings, result)


def _minus(value: float) -> str:
    return f"{value + 0.0:.1f}".replace("-", "\N{MINUS SIGN}")
