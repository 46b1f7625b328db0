"""Does the journal still say what was appended? Every digest and the whole chain are computed again."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import datetime

from hushpoint.ledger.chain import GENESIS, chained, payload_digest
from hushpoint.ledger.records import Entry, Kind, Stored, Verification

SET_BACK_S = 60.0
"""Two machines that write one journal may differ by seconds; more is a clock that was set back (design choice)."""


def erasure_entry(who: str, seqs: Sequence[int], why: str) -> Entry:
    """Return the row that says which payloads were erased on request, and why."""
    return Entry(Kind.PERSON_ERASED, {"erased": list(seqs), "why": why}, who=who)


def verify_rows(rows: Iterable[Stored]) -> Verification:
    """Walk rows in order of seq and name the first that is not as it was appended.

    An erased payload counts as altered unless a person.erased row of the same person names it; such rows come
    later in the journal, so missing payloads are judged at the end. Rows cut off the end leave a whole chain: only the
    head, kept elsewhere, shows that.
    """
    before, count, unopened = GENESIS, 0, 0
    missing: dict[int, str] = {}
    named: dict[int, str] = {}
    altered: int | None = None
    reason = ""
    at, set_back = "", list[int]()
    for expected, stored in enumerate(rows, 1):
        row = stored.row
        if altered is not None:
            _note_erasure(stored, named)  # an erasure further on may still name a payload missing before the alteration
            continue
        if row.seq != expected:
            altered, reason = expected, "the row is missing or out of order"
            _note_erasure(stored, named)
            continue
        digest = row.digest
        if stored.sealed is not None and stored.text is None:
            unopened += 1
        elif stored.text is None or stored.salt is None:
            missing[row.seq] = row.who
        elif payload_digest(stored.salt, stored.text) != digest:
            altered, reason = row.seq, "what it says is not what was appended"
            continue
        chain = chained(before, row.seq, row.at, str(row.kind), row.version, row.room, row.who, row.ref, digest)
        if chain != row.chain:
            altered, reason = row.seq, "its columns or its place in the chain were changed"
            continue
        _note_erasure(stored, named)
        if row.at < at and _seconds(row.at, at) > SET_BACK_S:
            set_back.append(row.seq)
        before, count, at = chain, row.seq, row.at
    for seq, who in missing.items():
        if named.get(seq) != who or not who:
            if altered is None or seq < altered:
                altered, reason = seq, "what it said is gone, and no erasure names it"
            break
    erased = len(missing) if altered is None else sum(seq < altered for seq in missing)
    return Verification(count, erased, altered, reason, before, tuple(set_back), unopened)


def _seconds(earlier: str, later: str) -> float:
    return (datetime.fromisoformat(later) - datetime.fromisoformat(earlier)).total_seconds()


def _note_erasure(stored: Stored, named: dict[int, str]) -> None:
    """Note whose payloads an erasure names; one whose own payload does not fit its digest names nothing."""
    row = stored.row
    if row.kind != Kind.PERSON_ERASED or stored.text is None or stored.salt is None:
        return
    if payload_digest(stored.salt, stored.text) != row.digest:
        return
    # a row whose kind was changed into an erasure says something else, and names nothing
    with suppress(ValueError, LookupError, TypeError):
        for seq in json.loads(stored.text)["erased"]:
            named[int(seq)] = row.who
