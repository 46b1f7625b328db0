"""A led visit: begun, answered, read and closed, one row an act; the page shows what the rows come to.

The client is a code; `who` of every row is the client's random id, the room is the visit's, so that one client's data
can be told or erased together. What was answered is the documented JSON of a visit (docs/visit.md), filled bit by bit
and read by the same reader as a file.
"""

from __future__ import annotations

import json
import re
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from hushpoint.desk import kit, live
from hushpoint.desk.policies import known_policy
from hushpoint.desk.standing import standing, taken_back
from hushpoint.desk.visit_json import LARGEST_BYTES, VisitFileError, parse_visit
from hushpoint.errors import AlreadyDoneError, BadInputError, NotFoundError
from hushpoint.guideline.clinical_policies import ClinicalPolicy
from hushpoint.ledger.records import AlreadyStoredError, Entry, Kind, Ledger, Row
from hushpoint.visit import Judged, Visit, judge_visit

_CODE = re.compile(r"[A-Z0-9][A-Z0-9-]{0,11}", re.ASCII)
_REF = re.compile(r"[A-Za-z0-9-]{8,64}", re.ASCII)
EARLY_S, LATE_S = 60.0, 120.0
"""A device's clock may run so far before the visit's start or after the server's [s]; beyond, the server's counts."""
VISIT_KINDS = (
    Kind.VISIT_BEGUN, Kind.VISIT_TOLD, Kind.READING_TAKEN, Kind.READING_AMENDED, Kind.VISIT_CLOSED, Kind.LETTER_MADE,
    Kind.REFERRAL_REPLIED, Kind.REFERRAL_CLOSED,
)  # fmt: skip
_OF_READINGS = (Kind.READING_TAKEN, Kind.READING_AMENDED)
"""Kinds that classes store by the million: the list of visits does without."""
ANSWERS = (
    "consent", "symptoms", "intended", "performer", "cuff", "gauge", "position", "today", "posture", "rested_s",
    "palpated", "standing", "pulse.per_min", "pulse.regular", "client.age", "client.arm_cm", "client.barred_arms",
    "client.barred_reasons", "client.known_disease", "client.exercises_regularly", "client.cleared_within_12_months",
    "client.first_visit", "client.pregnant", "client.medicines",
)  # fmt: skip
"""What may be answered, each by its place in the visit's JSON."""
MARKS = ("steps", "rest_began", "called_at", "kit_gauge", "kit_cuff", "kit_stethoscope")
"""What the page keeps beside the visit's JSON: steps done, when the rest began, when help was called, the kit."""
LONGEST_MARK = 200
LONGEST_REPLY = 300
YEARS_KEPT = 7
"""How long client records are often kept [years] (from memory; local law decides)."""


@dataclass(slots=True)
class VisitState:
    """One visit as its rows come to. `answers` and `marks` by name, `readings` in order of entry."""

    id: str
    who: str
    code: str
    policy_id: str
    begun_at: str
    answers: dict[str, Any] = field(default_factory=dict)
    marks: dict[str, Any] = field(default_factory=dict)
    readings: list[dict[str, Any]] = field(default_factory=list)
    closed_at: str = ""
    letters: int = 0
    replies: list[tuple[str, str]] = field(default_factory=list)
    referral_closed_at: str = ""
    begun_seq: int = 0
    seq: int = 0

    def document(self, register: Mapping[str, kit.Item]) -> dict[str, Any]:
        """Return the visit's documented JSON."""
        made: dict[str, Any] = {"client": {"code": self.code}, "pulse": {}}
        for place, value in self.answers.items():
            part, _, name = place.rpartition(".")
            (made[part] if part else made)[name] = value
        gauge, cuff = register.get(self.marks.get("kit_gauge", "")), register.get(self.marks.get("kit_cuff", ""))
        if gauge is not None:
            made["gauge"] = gauge.label
        if cuff is not None:
            made["cuff"] = f"{cuff.label} {cuff.bladder_width_cm:g}x{cuff.bladder_length_cm:g}"
        made["readings"] = [
            {"at": one["at"], "arm": one["arm"], "systolic": one["systolic"], "diastolic": one["diastolic"]}
            for one in self.readings
        ]
        return made


def begin(ledger: Ledger, *, policy_id: str, code: str = "") -> str:
    """Begin a visit of a new client, or of one known by this code, and return its id. Raises BadInputError."""
    policy = known_policy(ledger, policy_id)
    known = _codes(ledger)
    code = code.strip().upper() or _next_code(known)
    if not _CODE.fullmatch(code):
        raise BadInputError("client code: must be 1 to 12 of A-Z, 0-9 and -, such as K17; never a name")
    visit = secrets.token_hex(8)
    body = {"code": code, "policy": policy.id}
    ledger.append(Entry(Kind.VISIT_BEGUN, body, room=visit, who=known.get(code) or secrets.token_hex(8)))
    return visit


def act(ledger: Ledger, visit: str, asked: Mapping[str, Any], now: datetime) -> None:
    """Store one act of the page, once however often it comes.

    `asked` holds `ref` (the page's own id of the act), `at` (ISO 8601) and one of `told` (answers and marks by name),
    `reading` (arm, systolic, diastolic) or `amend` (reading: its ref, systolic, diastolic, why). Raises BadInputError,
    NotFoundError, and AlreadyDoneError once the visit is closed.
    """
    state = _state(ledger, visit)
    ref = asked.get("ref")
    if not isinstance(ref, str) or not _REF.fullmatch(ref):
        raise BadInputError("ref: must be 8 to 64 letters, digits and -")
    if any(one["ref"] == ref for one in state.readings):
        return
    if state.closed_at:
        raise AlreadyDoneError("This visit is closed. Begin another one for further readings.")
    at = _moment(asked.get("at"), state, now)
    entry = _entry(ledger, state, asked, ref, at)
    try:
        ledger.append(entry)
    except AlreadyStoredError:
        return  # sent again after a lost answer


def _entry(ledger: Ledger, state: VisitState, asked: Mapping[str, Any], ref: str, at: str) -> Entry:
    kinds = [kind for kind in ("told", "reading", "amend") if asked.get(kind) is not None]
    if len(kinds) != 1 or not isinstance(asked[kinds[0]], dict):
        raise BadInputError("act: must hold exactly one of told, reading and amend, as an object")
    body = asked[kinds[0]]
    if kinds[0] == "told":
        _check_told(ledger, state, body)
        return Entry(Kind.VISIT_TOLD, {"told": dict(body), "at": at}, room=state.id, who=state.who, ref=ref)
    systolic, diastolic = _pressures(body)
    if kinds[0] == "amend":
        return _amended(state, body, systolic, diastolic, ref)
    if body.get("arm") not in ("left", "right"):
        raise BadInputError("arm: must be left or right")
    if any((one["arm"], one["at"]) == (body["arm"], at) for one in state.readings):
        raise BadInputError("reading: same arm and time as another one; each reading once")
    reading = live.LiveReading(
        measurement=ref,
        observer="practitioner",
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        taken_at=at,
        via="visit",
        arm=body["arm"],
        client=state.code,
        gauge=state.marks.get("kit_gauge", ""),
        cuff=state.marks.get("kit_cuff", ""),
        stethoscope=state.marks.get("kit_stethoscope", ""),
    )
    return live.entry_of(reading, room=state.id, who=state.who, ref=ref)


def _amended(
    state: VisitState, body: Mapping[str, Any], systolic: int | None, diastolic: int | None, ref: str
) -> Entry:
    named = next((one for one in state.readings if one["ref"] == body.get("reading")), None)
    why = body.get("why")
    if named is None:
        raise NotFoundError("This reading is not in this visit.")
    if not isinstance(why, str) or not why.strip():
        raise BadInputError("why: say in a few words why the reading is corrected")
    changed = {"row": named["seq"], "systolic": systolic, "diastolic": diastolic, "by": "practitioner"}
    why = why.strip()[:LONGEST_REPLY]
    return Entry(Kind.READING_AMENDED, {**changed, "why": why}, room=state.id, who=state.who, ref=ref)


def _pressures(body: Mapping[str, Any]) -> tuple[int | None, int | None]:
    systolic = live.checked_mmhg(body.get("systolic"), "systolic")
    diastolic = live.checked_mmhg(body.get("diastolic"), "diastolic")
    if systolic is not None and diastolic is not None and diastolic >= systolic:
        raise BadInputError(f"diastolic {diastolic}: must be below the systolic ({systolic})")
    if systolic == 0:
        raise BadInputError("systolic 0: must be from 1 to 300 mmHg, or empty where not heard")
    return systolic, diastolic


def _check_told(ledger: Ledger, state: VisitState, told: Mapping[str, Any]) -> None:
    """Refuse an answer that the visit's reader would refuse: what is stored can always be read again."""
    for name, value in told.items():
        if name in MARKS:
            if not isinstance(value, str) or len(value) > LONGEST_MARK:
                raise BadInputError(f"{name}: must be a text of at most {LONGEST_MARK} characters")
            if name.startswith("kit_") and value and value not in kit.register(ledger, retired=True):
                raise BadInputError(f"{name}: this item is not in the register")
        elif name not in ANSWERS:
            raise BadInputError(f"told: {name[:40]!r} is not known; must be one of {', '.join((*ANSWERS, *MARKS))}")
    trial = VisitState(state.id, state.who, state.code, state.policy_id, state.begun_at)
    trial.answers = {**state.answers, **{name: value for name, value in told.items() if name in ANSWERS}}
    _parsed(trial, {})


def _moment(told: object, state: VisitState, now: datetime) -> str:
    """The act's own time where the device's clock is believable, else the server's."""
    begun = datetime.fromisoformat(state.begun_at)
    at = now
    if isinstance(told, str) and len(told) <= 40:
        try:
            said = datetime.fromisoformat(told)
        except ValueError:
            said = None
        if said is not None and said.tzinfo is not None:
            early, late = begun - timedelta(seconds=EARLY_S), now + timedelta(seconds=LATE_S)
            at = said if early <= said <= late else now
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def state_of(ledger: Ledger, visit: str) -> VisitState:
    """Return a visit as its rows come to. Raises NotFoundError, also where the client was erased."""
    return _state(ledger, visit)


def judged(ledger: Ledger, state: VisitState, now: datetime) -> tuple[Visit, Judged]:
    """Return the visit as read and what its policy says."""
    visit = _parsed(state, kit.register(ledger, retired=True))
    return visit, judge_visit(visit, policy_of(ledger, state), now)


def policy_of(ledger: Ledger, state: VisitState) -> ClinicalPolicy:
    """Return the policy a visit was begun under."""
    return known_policy(ledger, state.policy_id, before=state.begun_seq)


def known_by_room(ledger: Ledger) -> Callable[[str], tuple[ClinicalPolicy, Visit] | None]:
    """Return what the journal knows of a visit by its room: its policy, and all but its readings; None for others."""
    states = {line.state.id: line.state for line in listing(ledger, datetime.now(UTC))}
    register = kit.register(ledger, retired=True)

    def known(room: str) -> tuple[ClinicalPolicy, Visit] | None:
        state = states.get(room)
        return None if state is None else (policy_of(ledger, state), _parsed(state, register))

    return known


def close(ledger: Ledger, visit: str, now: datetime) -> None:
    """Close a visit with what was decided; once."""
    state = _state(ledger, visit)
    _, verdict = judged(ledger, state, now)
    value = verdict.value
    body = {
        "verdict": verdict.action.word,
        "when": verdict.action.when,
        "to": getattr(verdict.action, "to", ""),
        "category": verdict.category or "",
        "value": None if value is None else [round(value.systolic_mmhg, 3), round(value.diastolic_mmhg, 3)],
        "policy": verdict.policy.id,
        "within_days": None if verdict.step is None else verdict.step.within_days,
    }
    try:
        ledger.append(
            Entry(Kind.VISIT_CLOSED, body, room=visit, who=state.who, ref=_once(ledger, Kind.VISIT_CLOSED, visit))
        )
    except AlreadyStoredError:
        raise AlreadyDoneError("This visit is closed already.") from None


def _once(ledger: Ledger, kind: Kind, visit: str) -> str:
    """Return the ref under which a visit's act is stored once: another one after each that was taken back."""
    gone = taken_back(ledger)
    before = sum(row.seq in gone for row in ledger.rows(kinds=[kind], room=visit))
    return f"{visit}/{before}" if before else visit


def note_letter(ledger: Ledger, state: VisitState, kind: str) -> None:
    """Record that a sheet was made for somebody else to read."""
    ledger.append(Entry(Kind.LETTER_MADE, {"sheet": kind}, room=state.id, who=state.who))


def reply(ledger: Ledger, visit: str, *, text: str, done: bool) -> None:
    """Record what came back on a referral, and close it where nothing is left to do. Raises BadInputError."""
    state = _state(ledger, visit)
    text = text.strip()
    if not text:
        raise BadInputError("reply: say in a few words what came back, or that nothing did")
    if len(text) > LONGEST_REPLY or not text.isprintable():
        raise BadInputError(f"reply: must be at most {LONGEST_REPLY} printable characters")
    entries = [Entry(Kind.REFERRAL_REPLIED, {"reply": text}, room=visit, who=state.who)]
    if done:
        ref = _once(ledger, Kind.REFERRAL_CLOSED, visit)
        entries.append(Entry(Kind.REFERRAL_CLOSED, {}, room=visit, who=state.who, ref=ref))
    try:
        ledger.append(*entries)
    except AlreadyStoredError:
        raise AlreadyDoneError("This referral is closed already.") from None


@dataclass(frozen=True, slots=True)
class Line:
    """One visit on the list: where it stands, when it is due, how long it is kept."""

    state: VisitState
    verdict: str
    told: str
    due_at: datetime | None
    overdue: bool
    keep_until: datetime


def listing(ledger: Ledger, now: datetime) -> list[Line]:
    """Return every visit without its readings, the newest first; erased clients are left out."""
    found: dict[str, tuple[VisitState, Mapping[str, Any]]] = {}
    for row in standing(ledger, [kind for kind in VISIT_KINDS if kind not in _OF_READINGS]):
        if row.body is None:
            continue
        if row.kind is Kind.VISIT_BEGUN:
            found[row.room] = (_begun(row), {})
        elif row.room in found:
            state, closed = found[row.room]
            _add(state, row)
            found[row.room] = (state, row.body if row.kind is Kind.VISIT_CLOSED else closed)
    return [_line(state, closed, now) for state, closed in reversed(found.values())]


def _line(state: VisitState, closed: Mapping[str, Any], now: datetime) -> Line:
    begun = datetime.fromisoformat(state.begun_at)
    days = closed.get("within_days")
    refers = closed.get("verdict") == "refer"
    due = None
    if refers and not state.referral_closed_at:
        due = datetime.fromisoformat(state.closed_at) + timedelta(days=days or 0)
    value = closed.get("value")
    told = "" if value is None else f"{value[0]:.0f}/{value[1]:.0f}"
    return Line(
        state=state,
        verdict=str(closed.get("verdict", "")),
        told=told,
        due_at=due,
        overdue=due is not None and now > due,
        keep_until=begun + timedelta(days=365 * YEARS_KEPT),
    )


def export(ledger: Ledger, visit: str) -> str:
    """Return every row about one client as JSON text, for the client who asks what is kept."""
    who = _state(ledger, visit).who
    rows = [
        {"row": row.seq, "at": row.at, "kind": str(row.kind), "visit": row.room, "body": row.body}
        for row in ledger.rows(who=who)
        if row.body is not None
    ]
    return json.dumps(rows, ensure_ascii=False, indent=1)


def erase(ledger: Ledger, visit: str, *, why: str) -> int:
    """Erase everything about the client of a visit; the journal still verifies. Raises BadInputError without why."""
    if not why.strip():
        raise BadInputError("why: say in a few words why the client's data is erased")
    return ledger.erase(_state(ledger, visit).who, why=why.strip()[:LONGEST_REPLY])


def _codes(ledger: Ledger) -> dict[str, str]:
    return {
        row.body["code"]: row.who for row in ledger.rows(kinds=[Kind.VISIT_BEGUN]) if row.body is not None
    }  # fmt: skip


def _next_code(known: Mapping[str, str]) -> str:
    numbers = [int(code[1:]) for code in known if code[0] == "K" and code[1:].isdigit() and len(code) < 9]
    return f"K{max(numbers, default=0) + 1}"


def _parsed(state: VisitState, register: Mapping[str, kit.Item]) -> Visit:
    data = json.dumps(state.document(register)).encode()
    if len(data) > LARGEST_BYTES:
        raise BadInputError("answers: too long together")
    try:
        return parse_visit(data, "visit")[0]
    except VisitFileError as refusal:
        raise BadInputError(str(refusal)) from None


def _state(ledger: Ledger, visit: str) -> VisitState:
    state: VisitState | None = None
    for row in standing(ledger, VISIT_KINDS, room=visit):
        if row.body is None:
            continue
        if row.kind is Kind.VISIT_BEGUN:
            state = _begun(row)
        elif state is not None:
            _add(state, row)
    if state is None:
        raise NotFoundError("There is no such visit, or the client's data was erased.")
    return state


def _begun(row: Row) -> VisitState:
    body = row.body or {}
    return VisitState(row.room, row.who, body["code"], body["policy"], row.at, begun_seq=row.seq, seq=row.seq)


def _add(state: VisitState, row: Row) -> None:
    body = row.body or {}
    state.seq = row.seq
    match row.kind:
        case Kind.VISIT_TOLD:
            for name, value in body["told"].items():
                (state.marks if name in MARKS else state.answers)[name] = value
        case Kind.READING_TAKEN:
            state.readings.append(
                {
                    "ref": row.ref,
                    "seq": row.seq,
                    "at": body["taken_at"],
                    "arm": body["arm"],
                    "systolic": body["systolic"],
                    "diastolic": body["diastolic"],
                    "amended": False,
                }
            )
        case Kind.READING_AMENDED:
            for one in state.readings:
                if one["seq"] == body["row"]:
                    one.update(systolic=body["systolic"], diastolic=body["diastolic"], amended=True)
        case Kind.VISIT_CLOSED:
            state.closed_at = row.at
        case Kind.LETTER_MADE:
            state.letters += 1
        case Kind.REFERRAL_REPLIED:
            state.replies.append((row.at, body["reply"]))
        case Kind.REFERRAL_CLOSED:
            state.referral_closed_at = row.at
