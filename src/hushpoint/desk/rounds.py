"""Rounds: one sealed measurement heard by a whole class at the same moment; everyone writes, nobody sees.

How the rows hang together (bodies in docs/reference.md): round.opened (ref = round id) makes the measurement,
round.ready is a phone that has loaded it, round.started says at which server time it plays, round.sealed is one
learner's answer (ref = round/who: exactly once), round.closed opens the answers or cancels; of two, the first stands.
"""

from __future__ import annotations

import hashlib
import secrets
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Literal, cast, get_args

from hushpoint.desk import classes
from hushpoint.desk.classes import FEWEST_FOR_SPREAD
from hushpoint.desk.live import checked_mmhg
from hushpoint.desk.once import append_once
from hushpoint.errors import AlreadyDoneError, BadInputError, NotAllowedError, NotFoundError
from hushpoint.guideline import teaching_policy
from hushpoint.ledger.records import Entry, Kind, Ledger, Row
from hushpoint.measure import truth_words, whole_mmhg
from hushpoint.practice.by_hand import key_by_hand
from hushpoint.practice.profiles import profile_of
from hushpoint.practice.sealed import KINDS, Key, Sealed, key_of, sealed_case

How = Literal["opened", "cancelled"]
LEAD_MS = 5000.0
"""From the lecturer's start to the first sample: long enough for the slowest phone to hear of it (design choice)."""
MOST_STARTS = 9
RULER_MMHG = 20
"""The ruler runs from this much below the key to this much above; the rest is counted at its ends."""
ROWS = (Kind.ROUND_OPENED, Kind.ROUND_READY, Kind.ROUND_STARTED, Kind.ROUND_SEALED, Kind.ROUND_CLOSED)
ANY = "any"


@dataclass(slots=True)
class Round:
    """A round as its rows tell it; `seed` and `kind` make the measurement and never leave the server before opening.

    `starts_at_ms`: server time of the newest start [ms since 1970], None before the first. `sealed`: who wrote what.
    """

    id: str
    room: str
    opened_at: str
    seed: int
    kind: str
    policy_id: str
    starts: int = 0
    starts_at_ms: float | None = None
    ready: set[str] = field(default_factory=set)
    sealed: dict[str, Mapping[str, Any]] = field(default_factory=dict)
    closed: How | None = None

    @property
    def state(self) -> str:
        """One of "open", "started", "opened", "cancelled"."""
        return self.closed or ("open" if self.starts_at_ms is None else "started")

    @property
    def measurement(self) -> Sealed:
        """The measurement that is played."""
        return _measurement(self.seed, self.kind)

    @property
    def key(self) -> Key:
        """What was right; for use once the answers are open."""
        return key_of(self.measurement, teaching_policy(self.policy_id).end_point)


@lru_cache(maxsize=16)
def _measurement(seed: int, kind: str) -> Sealed:
    return sealed_case(seed, cast("Any", kind))


def open_round(ledger: Ledger, *, room: str, kind: str = ANY, seed: int | None = None) -> str:
    """Open a round on a class and return its id; one at a time.

    `kind` is one of practice.sealed.KINDS or "any". Raises BadInputError, NotFoundError or AlreadyDoneError, one line.
    """
    info = classes.find_class(ledger, room)
    if kind != ANY and kind not in KINDS:
        raise BadInputError(f"kind: must be {ANY} or one of {', '.join(KINDS)}")
    found = newest(ledger, info.code)
    if found is not None and found.closed is None:
        raise AlreadyDoneError("A round is on in this class. Open its answers or cancel it first.")
    seed = secrets.randbits(48) if seed is None else seed
    drawn = KINDS[seed % len(KINDS)] if kind == ANY else kind
    number = sum(1 for _ in ledger.rows(kinds=[Kind.ROUND_OPENED], room=info.code)) + 1
    # of two openings at once both get the same number, so the ledger keeps one
    round_id = hashlib.sha256(f"{info.code}\n{number}".encode()).hexdigest()[:16]
    body = {"seed": seed, "kind": drawn, "policy": info.policy_id}
    _, known = append_once(ledger, Entry(Kind.ROUND_OPENED, body, room=info.code, ref=round_id))
    if known:
        raise AlreadyDoneError("A round is on in this class. Open its answers or cancel it first.")
    return round_id


def get_ready(ledger: Ledger, *, room: str, who: str, round_id: str, profile_id: str) -> None:
    """Note that a learner's phone has loaded the measurement; sent again it is noted once."""
    found = _going_on(ledger, room, round_id)
    profile = profile_of(profile_id)
    body = {"round": found.id, "profile": profile.id}
    append_once(ledger, Entry(Kind.ROUND_READY, body, room=room, who=who, ref=f"{found.id}/{who}"))


def start(ledger: Ledger, *, room: str, round_id: str, now_ms: float) -> float:
    """Let every phone play at one server time, LEAD_MS from now, and return it [ms]; again plays once more."""
    found = _going_on(ledger, room, round_id)
    if found.starts >= MOST_STARTS:
        raise AlreadyDoneError(f"This round was played {MOST_STARTS} times. Open the answers, or cancel it.")
    starts_at_ms = round(now_ms + LEAD_MS, 1)
    body = {"round": found.id, "starts_at_ms": starts_at_ms}
    append_once(ledger, Entry(Kind.ROUND_STARTED, body, room=room, ref=f"{found.id}/{found.starts + 1}"))
    return starts_at_ms


def seal(ledger: Ledger, *, room: str, who: str, round_id: str, reading: object) -> bool:
    """Store a learner's answer exactly once and return whether it was stored before; the first one stands."""
    found = _going_on(ledger, room, round_id, who=who)
    systolic, diastolic = checked_reading(reading)
    body = {"round": found.id, "systolic": systolic, "diastolic": diastolic}
    _, known = append_once(ledger, Entry(Kind.ROUND_SEALED, body, room=room, who=who, ref=f"{found.id}/{who}"))
    return known


def close(ledger: Ledger, *, room: str, round_id: str, how: str) -> None:
    """Open the answers ("opened") or cancel the round ("cancelled"): what came first stands."""
    if how not in get_args(How):
        raise BadInputError("how: must be opened or cancelled")
    found = round_of(ledger, room, round_id)
    if how == "opened" and found.starts_at_ms is None:
        raise AlreadyDoneError("This round was not played yet. Start it first, or cancel it.")
    row, known = append_once(ledger, Entry(Kind.ROUND_CLOSED, {"round": found.id, "how": how}, room=room, ref=found.id))
    if known and (row.body or {}).get("how") != how:
        raise AlreadyDoneError("This round is over already.")


def newest(ledger: Ledger, room: str) -> Round | None:
    """Return the newest round of a class, None where it had none."""
    return next(reversed(_rounds(ledger, room).values()), None)


def round_of(ledger: Ledger, room: str, round_id: str) -> Round:
    """Return a round of this class; raises NotFoundError."""
    found = _rounds(ledger, room).get(round_id)
    if found is None:
        raise NotFoundError("No such round in this class.")
    return found


def checked_reading(reading: object) -> tuple[int | None, int | None]:
    """Return (systolic, diastolic) as written [mmHg], None where not heard; raises BadInputError, one line."""
    if not isinstance(reading, dict) or not {"systolic", "diastolic"} <= set(reading):
        raise BadInputError("reading: must hold systolic and diastolic; null where not heard")
    systolic, diastolic = (checked_mmhg(reading[end], end) for end in ("systolic", "diastolic"))
    return systolic, diastolic


def told(found: Round | None, who: str) -> dict[str, Any]:
    """Return what a learner's phone is told of a round: its state, when it plays, whether this learner sealed."""
    if found is None:
        return {"round": None, "state": "none"}
    mine = found.sealed.get(who)
    return {
        "round": found.id,
        "state": found.state,
        "starts": found.starts,
        "starts_at_ms": found.starts_at_ms,
        "sealed": None if mine is None else written_pair(mine),
    }


def own_result(found: Round, who: str) -> dict[str, Any]:
    """Return the truth and a learner's own error, once the answers are open; raises NotAllowedError before."""
    if found.closed != "opened":
        raise NotAllowedError("The answers are not open yet.")
    mine = found.sealed.get(who)
    ends = {}
    for end, truth, key_mmhg in keyed(found.key):
        wrote = None if mine is None else mine[end]
        ends[end] = {
            "truth": truth,
            "key": key_mmhg,
            "wrote": wrote,
            "off": None if wrote is None else off_words(wrote - key_mmhg),
        }
    return {"round": found.id, "sealed": mine is not None, "ends": ends, "kind": kind_words(found.kind)}


def spread(found: Round) -> dict[str, Any]:
    """Return what everyone may see of opened answers, without names: the truth; marks and last digits from five on.

    `marks` is None below five people who wrote a number at that end: (mmHg from the key, how many), ends included.
    """
    if found.closed != "opened":
        raise NotAllowedError("The answers are not open yet.")
    answers = list(found.sealed.values())
    enough = len(answers) >= FEWEST_FOR_SPREAD
    ends = []
    for end, truth, key_mmhg in keyed(found.key):
        wrote = [int(one[end]) for one in answers if one[end] is not None]
        off = Counter(max(-RULER_MMHG, min(RULER_MMHG, one - key_mmhg)) for one in wrote)
        ends.append(
            {
                "end": end,
                "truth": truth,
                "key": key_mmhg,
                "not_heard": len(answers) - len(wrote) if enough else None,
                "marks": sorted(off.items()) if enough and len(wrote) >= FEWEST_FOR_SPREAD else None,
            }
        )
    digits = Counter(int(one[end]) % 10 for one in answers for end in ("systolic", "diastolic") if one[end] is not None)
    return {
        "answers": len(answers),
        "ends": ends,
        "digits": [digits.get(digit, 0) for digit in range(10)] if enough and digits else None,
        "kind": kind_words(found.kind),
        "worked": [
            key_by_hand(
                (
                    ("systolic", found.key.systolic, found.key.systolic_mmhg),
                    ("diastolic", found.key.diastolic, found.key.diastolic_mmhg),
                )
            )
        ],
    }


def keyed(key: Key) -> tuple[tuple[str, str, int], tuple[str, str, int]]:
    """Return each end with its truth in words and the key that answers are held against, the nearest 2 [mmHg]."""
    return (
        ("systolic", truth_words(key.systolic.mmhg), key.systolic_mmhg),
        ("diastolic", truth_words(key.diastolic.mmhg), key.diastolic_mmhg),
    )


def off_words(error_mmhg: float) -> str:
    """Say an error kindly: "2 high", "4 low" or "exact"."""
    off = whole_mmhg(error_mmhg)
    return f"{abs(off)} {'high' if off > 0 else 'low'}" if off else "exact"


def written_pair(answer: Mapping[str, Any]) -> str:
    """Write an answer as systolic/diastolic."""
    return "/".join("not heard" if answer[end] is None else str(answer[end]) for end in ("systolic", "diastolic"))


def kind_words(kind: str) -> str:
    """Say what made the arm hard."""
    words = {
        "normal": "an ordinary arm",
        "high": "high pressure",
        "very_high": "very high pressure",
        "low": "low pressure",
        "faint": "faint sounds",
        "gap": "a silent gap",
        "irregular": "an irregular pulse",
        "ectopic": "early beats",
        "long_muffled": "a long muffled end",
        "wide_pulse": "a wide pulse pressure",
        "narrow_pulse": "a narrow pulse pressure",
    }
    return words[kind]


def _going_on(ledger: Ledger, room: str, round_id: str, who: str = "") -> Round:
    found = round_of(ledger, room, round_id)
    if found.closed is not None and who not in found.sealed:
        over = "The answers are open" if found.closed == "opened" else "This round was cancelled"
        raise AlreadyDoneError(f"{over}: nothing more is taken.")
    return found


def _rounds(ledger: Ledger, room: str) -> dict[str, Round]:
    found: dict[str, Round] = {}
    for row in ledger.rows(kinds=ROWS, room=room):
        if row.body is None or row.ref is None:
            continue
        if row.kind is Kind.ROUND_OPENED:
            found[row.ref] = Round(
                row.ref, row.room, row.at, int(row.body["seed"]), str(row.body["kind"]), str(row.body["policy"])
            )
        elif row.body["round"] in found:
            _take(found[row.body["round"]], row, row.body)
    return found


def _take(one: Round, row: Row, body: Mapping[str, Any]) -> None:
    match row.kind:
        case Kind.ROUND_READY:
            one.ready.add(row.who)
        case Kind.ROUND_STARTED:
            one.starts += 1
            one.starts_at_ms = float(body["starts_at_ms"])
        case Kind.ROUND_SEALED:
            one.sealed[row.who] = body
        case _:
            one.closed = body["how"]
