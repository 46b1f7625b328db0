"""Live readings: one observer's numbers for one measurement of a real arm, whoever wrote them down and where.

Pairs, paper sheets, imports and visits all store them as kind reading.taken, so that what a gauge touched is found by
one look. A reading is never edited: kind reading.amended names the row and says who and why.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from hushpoint.errors import BadInputError
from hushpoint.ledger.records import Entry, Kind, Ledger, Row

Via = Literal["pair", "paper", "import", "visit"]
LEGAL_MMHG = (0, 300)
"""What an aneroid gauge can show [mmHg]."""


@dataclass(frozen=True, slots=True)
class LiveReading:
    """What one observer wrote for one measurement; None where a sound was not heard.

    `taken_at` is UTC, ISO 8601 with Z. `client` is a code, never a name. `gauge`, `cuff` and `stethoscope` are ids of
    the kit, "" where nobody said. Two readings of one `measurement` were heard on the same inflation.
    """

    measurement: str
    observer: str
    systolic_mmhg: int | None
    diastolic_mmhg: int | None
    taken_at: str
    via: Via
    arm: Literal["left", "right", ""] = ""
    client: str = ""
    gauge: str = ""
    cuff: str = ""
    stethoscope: str = ""
    seq: int = 0
    """The journal row it stands in; 0 before it is stored."""
    who: str = ""
    """Whose data it is."""
    amended: bool = False
    room: str = ""
    """The class or the visit it was taken in."""


def checked_mmhg(value: object, what: str) -> int | None:
    """Return a pressure as written [mmHg], None where not heard; raises BadInputError with the legal range."""
    if value is None:
        return None
    low, high = LEGAL_MMHG
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise BadInputError(f"{what}: must be a whole number from {low} to {high} mmHg, or empty where not heard")
    return value


def entry_of(reading: LiveReading, *, room: str, who: str, ref: str | None = None) -> Entry:
    """Return the journal entry of a reading; raises BadInputError where a pressure is not legal."""
    return Entry(
        Kind.READING_TAKEN,
        {
            "measurement": reading.measurement,
            "observer": reading.observer,
            "systolic": checked_mmhg(reading.systolic_mmhg, "systolic"),
            "diastolic": checked_mmhg(reading.diastolic_mmhg, "diastolic"),
            "taken_at": reading.taken_at,
            "arm": reading.arm,
            "client": reading.client,
            "gauge": reading.gauge,
            "cuff": reading.cuff,
            "stethoscope": reading.stethoscope,
            "via": reading.via,
        },
        room=room,
        who=who,
        ref=ref,
    )


def amend(
    ledger: Ledger, row: Row, *, systolic: int | None, diastolic: int | None, by: str, why: str, ref: str | None = None
) -> Row:
    """Correct a reading by a new row, once for each `ref`; `by` is a role or a random id, never a name."""
    if not why.strip():
        raise BadInputError("why: say in a few words why the reading is corrected")
    body = {
        "row": row.seq,
        "systolic": checked_mmhg(systolic, "systolic"),
        "diastolic": checked_mmhg(diastolic, "diastolic"),
        "by": by,
        "why": why.strip()[:300],
    }
    return ledger.append(Entry(Kind.READING_AMENDED, body, room=row.room, who=row.who, ref=ref))[0]


def readings(
    ledger: Ledger, *, room: str | None = None, who: str | None = None, after: int = 0
) -> Iterator[LiveReading]:
    """Yield every live reading as it stands after its corrections, in order of storing; erased ones are left out."""
    kinds = [Kind.READING_TAKEN, Kind.READING_AMENDED]
    found: dict[int, LiveReading] = {}
    for row in ledger.rows(kinds=kinds, room=room, who=who, after=after):
        if row.body is None:
            continue
        if row.kind is Kind.READING_TAKEN:
            found[row.seq] = reading_of(row)
        elif row.body["row"] in found:
            found[row.body["row"]] = amended(found[row.body["row"]], row.body)
    yield from found.values()


def amended(reading: LiveReading, body: Mapping[str, Any]) -> LiveReading:
    """Return a reading as the body of a row reading.amended corrects it."""
    return replace(reading, systolic_mmhg=body["systolic"], diastolic_mmhg=body["diastolic"], amended=True)


def reading_of(row: Row) -> LiveReading:
    """Return the reading that a row reading.taken holds."""
    body: Any = row.body
    return LiveReading(
        measurement=body["measurement"],
        observer=body["observer"],
        systolic_mmhg=body["systolic"],
        diastolic_mmhg=body["diastolic"],
        taken_at=body["taken_at"],
        via=body["via"],
        arm=body["arm"],
        client=body["client"],
        gauge=body["gauge"],
        cuff=body["cuff"],
        stethoscope=body["stethoscope"],
        seq=row.seq,
        who=row.who,
        room=row.room,
    )
