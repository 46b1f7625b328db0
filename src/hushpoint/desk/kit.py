"""The register of gauges, cuffs and stethoscopes, folded from its rows: added, wiped, knocked, checked, retired.

Kit belongs to the institution: its rows have no class and are nobody's data. Nothing is overwritten; whoever acted is
told by role ("lecturer", "a learner of RKTM"), never by name.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from typing import Any, Literal, get_args

from hushpoint.desk.classes import LETTERS, clean_name
from hushpoint.desk.standing import standing
from hushpoint.errors import AlreadyDoneError, BadInputError, NotAllowedError, NotFoundError
from hushpoint.guideline import ArmRange, CuffSize, GaugeRule, Limit, arm_range, cuff_sizes, gauge_rule
from hushpoint.instrument import (
    CorrectionCurve,
    Direction,
    GaugeCheck,
    GaugePoint,
    InstrumentError,
    Passed,
    check_gauge,
    correction_curve,
)
from hushpoint.ledger.records import AlreadyStoredError, Entry, Kind, Ledger, Row
from hushpoint.measure.verdict import Withheld

Type = Literal["gauge", "cuff", "stethoscope"]
TYPES: tuple[Type, ...] = get_args(Type)
LATEX = ("unknown", "no", "yes")
HEADS = ("single", "double")
ROLES = ("lecturer", "technician", "calibration service", "learner with a lecturer beside")
"""Who checked: a role, never a name."""
LONGEST_LABEL = 12
"""What fits large on a sticker (design choice)."""
MOST_ITEMS = 2000
EARLIEST_YEAR = 2000
ID_LENGTH = 6
_KINDS = (
    Kind.KIT_ADDED,
    Kind.KIT_CHANGED,
    Kind.KIT_RETIRED,
    Kind.KIT_WIPED,
    Kind.KIT_KNOCKED,
    Kind.KIT_CHECKED,
)
_LABELLING = "labels"
"""The turn in which a label is looked up and written."""

How = Literal["bench", "file", "second gauge"]


@dataclass(frozen=True, slots=True)
class Reference:
    """What a gauge was checked against, as its certificate says: `error_mmhg` is its own certificate error."""

    name: str
    certificate: str
    error_mmhg: float


@dataclass(frozen=True, slots=True)
class StoredCheck:
    """One check as stored, whole: the points, the rule's limits as they were then, and the result worked from both.

    `checked_at` is UTC, ISO 8601 with Z; `by` is a role.
    """

    seq: int
    gauge: str
    checked_at: str
    by: str
    how: How
    reference: Reference
    check: GaugeCheck

    @property
    def at(self) -> datetime:
        """The time of the check, aware."""
        return datetime.fromisoformat(self.checked_at)

    @property
    def passed(self) -> bool:
        """Whether the gauge was within every limit of the rule."""
        return isinstance(self.check.verdict, Passed)

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why, one sentence each."""
        verdict = self.check.verdict
        return (verdict.reason,) if isinstance(verdict, Passed) else verdict.reasons

    def curve(self) -> CorrectionCurve | Withheld:
        """The correction that this check gives, or why none can be drawn."""
        try:
            return correction_curve(self.check)
        except InstrumentError as refusal:
            return Withheld(str(refusal))


@dataclass(frozen=True, slots=True)
class Item:
    """One item as it stands. `label` is what is written on it.

    Of a cuff: the bladder by tape [cm], the size its label claims (id of a size of the table, "" where none), latex.
    Of a stethoscope: its head. Times are UTC, ISO 8601 with Z, "" where it never happened.
    """

    id: str
    type: Type
    label: str
    serial: str = ""
    bladder_width_cm: float | None = None
    bladder_length_cm: float | None = None
    claim: str = ""
    latex: str = "unknown"
    head: str = ""
    added_at: str = ""
    retired_at: str = ""
    retired_why: str = ""
    wiped: tuple[tuple[str, str], ...] = ()
    """When and by whom, in order; what was taken back is left out. `knocked_on` likewise."""
    knocked_on: tuple[tuple[str, str], ...] = ()
    checks: tuple[StoredCheck, ...] = ()
    """In order of time; of gauges only."""

    @property
    def retired(self) -> bool:
        """Whether it was taken off the shelf."""
        return bool(self.retired_at)

    @property
    def wiped_at(self) -> str:
        """When it was last wiped, "" where that is not on record."""
        return self.wiped[-1][0] if self.wiped else ""

    @property
    def wiped_by(self) -> str:
        """Who wiped it last, by role."""
        return self.wiped[-1][1] if self.wiped else ""

    @property
    def knocked_at(self) -> str:
        """When it was last knocked, "" where it never was."""
        return self.knocked_on[-1][0] if self.knocked_on else ""

    @property
    def last_check(self) -> StoredCheck | None:
        """The newest check, None where there is none."""
        return self.checks[-1] if self.checks else None

    @property
    def out_of_use(self) -> bool:
        """Whether nothing may be measured with it: retired, or outside its limits at its newest check."""
        return self.retired or (self.last_check is not None and not self.last_check.passed)

    @property
    def knocked(self) -> bool:
        """Whether it was knocked since its newest check."""
        return bool(self.knocked_at) and (self.last_check is None or self.last_check.checked_at < self.knocked_at)

    @property
    def arms(self) -> ArmRange | Withheld | None:
        """The arms a cuff is for, by its tape; None for other kit."""
        if self.bladder_width_cm is None or self.bladder_length_cm is None:
            return None
        return arm_range(self.bladder_width_cm, self.bladder_length_cm)

    @property
    def claimed_size(self) -> CuffSize | None:
        """The size that a cuff's label claims, None where it claims none."""
        return next((size for size in cuff_sizes() if size.id == self.claim), None)

    @property
    def label_against_tape(self) -> str:
        """How a cuff's label differs from its tape, "" where it does not or claims nothing."""
        size = self.claimed_size
        if size is None or self.bladder_width_cm is None or self.bladder_length_cm is None:
            return ""
        apart = (
            (self.bladder_width_cm - size.bladder_width_cm, "wider", "narrower"),
            (self.bladder_length_cm - size.bladder_length_cm, "longer", "shorter"),
        )
        told = [f"{abs(by):g} cm {more if by > 0 else less}" for by, more, less in apart if by]
        if not told:
            return ""
        return (
            f"marked {size.label} ({size.bladder_width_cm:g} × {size.bladder_length_cm:g}), by tape "
            f"{' and '.join(told)}: trust the tape"
        )


def add(ledger: Ledger, fields: Mapping[str, str], *, by: str) -> Item:
    """Add an item from fields as typed and return it; raises BadInputError, one line, with what is legal.

    Fields: type, label, serial; of a cuff bladder_width_cm, bladder_length_cm, claim, latex; of a stethoscope head.
    """
    body = _checked(fields)
    with ledger.turn(_LABELLING):
        _refuse_taken(ledger, body)
        while True:
            item_id = "".join(secrets.choice(LETTERS) for _ in range(ID_LENGTH))
            try:
                ledger.append(Entry(Kind.KIT_ADDED, {"item": item_id, "by": by, **body}, ref=item_id))
            except AlreadyStoredError:
                continue
            return item(ledger, item_id)


def change(ledger: Ledger, item_id: str, fields: Mapping[str, str], *, by: str) -> Item:
    """Describe an item anew (label, serial, tape and so on; never its type) by a further row; raises BadInputError."""
    before = item(ledger, item_id)
    body = _checked({**fields, "type": before.type})
    with ledger.turn(_LABELLING):
        _refuse_taken(ledger, body, but=item_id)
        ledger.append(Entry(Kind.KIT_CHANGED, {"item": item_id, "by": by, **body}))
    return item(ledger, item_id)


def retire(ledger: Ledger, item_id: str, *, why: str, by: str, retired: bool = True) -> None:
    """Take an item off the shelf for a reason, or bring it back; its rows stay."""
    before = item(ledger, item_id)
    why = clean_name(why, "why") if retired else ""
    if before.retired == retired:
        return
    with ledger.turn(_LABELLING):
        if not retired:
            _refuse_taken(ledger, {"type": before.type, "label": before.label}, but=item_id)
        ledger.append(Entry(Kind.KIT_RETIRED, {"item": item_id, "retired": retired, "why": why, "by": by}))


def wipe(ledger: Ledger, item_id: str, *, by: str, undo: bool = False) -> None:
    """Log that an item was wiped now, or take the last such log back."""
    _log(ledger, Kind.KIT_WIPED, item_id, by=by, undo=undo)


def knock(ledger: Ledger, item_id: str, *, by: str, undo: bool = False) -> None:
    """Log that an item was knocked or dropped, or take the last such log back.

    A knocked gauge is due for a check at once (FROM MEMORY, facts 4.1).
    """
    _log(ledger, Kind.KIT_KNOCKED, item_id, by=by, undo=undo)


def _log(ledger: Ledger, kind: Kind, item_id: str, *, by: str, undo: bool) -> None:
    with ledger.turn(_LABELLING):
        found = in_register(ledger, item_id)
        body: dict[str, Any] = {"item": found.id, "by": by}
        if undo:
            logged = found.wiped if kind is Kind.KIT_WIPED else found.knocked_on
            if not logged or by not in {logged[-1][1], "lecturer"}:
                raise NotAllowedError("Only who logged it, or the lecturer, takes it back; here is nothing of theirs.")
            body["undo"] = True
        ledger.append(Entry(kind, body))


def file_check(
    ledger: Ledger,
    gauge_id: str,
    *,
    points: Sequence[GaugePoint],
    rule: str,
    reference: Reference,
    checked_at: datetime,
    how: How,
    by: str,
    now: datetime,
    ref: str | None = None,
) -> StoredCheck:
    """Judge a check of a gauge and store it whole; the same `ref` again gives the stored one back.

    `rule` is a rule as typed (`new`, `in_use`, `local`, `local=2.5`). Raises BadInputError where anything is missing
    or out of order, and AlreadyDoneError where the gauge has a check at this very time; nothing is then written.
    """
    gauge = item(ledger, gauge_id)
    if gauge.type != "gauge":
        raise BadInputError(f"{gauge.label}: a {gauge.type} is not checked against a reference; a gauge is")
    check = judged(points, gauge_rule(rule), reference)
    if by not in ROLES:
        raise BadInputError(f"checked by: must be one of {', '.join(ROLES)}")
    refuse_time(checked_at, now)
    at = checked_at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
    if ref is not None:
        for row in ledger.rows(kinds=[Kind.KIT_CHECKED], room="", ref=ref):
            return _stored_check(row.seq, row.body or {})
    if any(one.checked_at == at for one in gauge.checks):
        raise AlreadyDoneError(f"{gauge.label}: a check at this time is stored already; give this one its own time")
    body = {
        "item": gauge.id,
        "checked_at": at,
        "by": by,
        "how": how,
        "reference": asdict(reference),
        "rule": asdict(check.rule),
        "points": [[point.reference_mmhg, point.reading_mmhg, str(point.direction)] for point in points],
        "reading_interval_mmhg": check.reading_interval_mmhg,
        "result": _result(check),
    }
    try:
        row = ledger.append(Entry(Kind.KIT_CHECKED, body, ref=ref))[0]
    except AlreadyStoredError as stored_already:
        row = stored_already.row
    return _stored_check(row.seq, row.body or {})


def refuse_time(checked_at: datetime, now: datetime) -> None:
    """Raise BadInputError for a check's time without zone, in the future, or before the year 2000."""
    if checked_at.tzinfo is None or checked_at > now or checked_at.year < EARLIEST_YEAR:
        raise BadInputError(f"checked on: must be a day and time from {EARLIEST_YEAR} on that is not in the future")


def judged(points: Sequence[GaugePoint], rule: GaugeRule, reference: Reference) -> GaugeCheck:
    """Judge points by a rule beside a reference; raises BadInputError where it is missing or points are wrong."""
    for what, text in (("reference", reference.name), ("its certificate", reference.certificate)):
        if not text.strip():
            raise BadInputError(f"{what}: missing; say what the gauge was checked against and by which certificate")
    return check_gauge(points, rule, reference_error_mmhg=reference.error_mmhg)


def register(ledger: Ledger, *, retired: bool = False) -> dict[str, Item]:
    """Return every item by id, by type and label; retired ones too where asked."""
    found = _fold(standing(ledger, _KINDS, room=""))
    order = sorted(found.values(), key=lambda one: (TYPES.index(one.type), one.retired, natural(one.label)))
    return {one.id: one for one in order if retired or not one.retired}


def item(ledger: Ledger, item_id: str) -> Item:
    """Return one item, retired or not; raises NotFoundError."""
    found = register(ledger, retired=True).get(item_id.strip().upper())
    if found is None:
        raise NotFoundError("No such item of kit. The register at /kit lists them.")
    return found


def checks_of(ledger: Ledger, gauge_id: str) -> tuple[StoredCheck, ...]:
    """Return a gauge's stored checks in order of time with their results; raises NotFoundError."""
    return item(ledger, gauge_id).checks


def natural(label: str) -> tuple[tuple[bool, int, str], ...]:
    """Return a key that sorts G2 before G10."""
    parts: list[str] = []
    for letter in label.casefold():
        if parts and letter.isdecimal() == parts[-1].isdecimal():
            parts[-1] += letter
        else:
            parts.append(letter)
    return tuple((part.isdecimal(), int(part) if part.isdecimal() else 0, part) for part in parts)


def rule_of(stored: Mapping[str, Any]) -> GaugeRule:
    """Return a rule with its limits as a row holds them."""
    limits = {what: Limit(**stored[what]) for what in ("error", "zero", "hysteresis", "leak")}
    return GaugeRule(id=stored["id"], name=stored["name"], **limits)


def _fold(rows: Iterable[Row]) -> dict[str, Item]:
    found: dict[str, Item] = {}
    for row in rows:
        body = row.body
        if body is None:
            continue
        if row.kind is Kind.KIT_ADDED:
            found[body["item"]] = Item(id=body["item"], added_at=row.at, **_described(body))
        elif body["item"] in found:
            found[body["item"]] = _with(found[body["item"]], row, body)
    return found


def _with(before: Item, row: Row, body: Mapping[str, Any]) -> Item:
    match row.kind:
        case Kind.KIT_CHANGED:
            return replace(before, **_described(body))
        case Kind.KIT_RETIRED:
            return replace(before, retired_at=row.at if body["retired"] else "", retired_why=body["why"])
        case Kind.KIT_WIPED:
            return replace(before, wiped=_logged(before.wiped, row, body))
        case Kind.KIT_KNOCKED:
            return replace(before, knocked_on=_logged(before.knocked_on, row, body))
        case _:
            checks = (*before.checks, _stored_check(row.seq, body))
            return replace(before, checks=tuple(sorted(checks, key=lambda one: (one.checked_at, one.seq))))


def _logged(before: tuple[tuple[str, str], ...], row: Row, body: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    return before[:-1] if body.get("undo") else (*before, (row.at, body["by"]))


_DESCRIBES = ("type", "label", "serial", "bladder_width_cm", "bladder_length_cm", "claim", "latex", "head")


def _described(body: Mapping[str, Any]) -> dict[str, Any]:
    return {name: body[name] for name in _DESCRIBES if name in body}


def _stored_check(seq: int, body: Mapping[str, Any]) -> StoredCheck:
    """The result is worked again from the points and the limits as stored, so that it stays what it was."""
    reference = Reference(**body["reference"])
    check = check_gauge(
        [GaugePoint(at, reading, Direction(direction)) for at, reading, direction in body["points"]],
        rule_of(body["rule"]),
        reference_error_mmhg=reference.error_mmhg,
        reading_interval_mmhg=body["reading_interval_mmhg"],
    )
    return StoredCheck(seq, body["item"], body["checked_at"], body["by"], body["how"], reference, check)


def _result(check: GaugeCheck) -> dict[str, Any]:
    """The result as it was told, for whoever reads the journal without this program."""
    return {
        "verdict": "pass" if isinstance(check.verdict, Passed) else "fail",
        "reasons": [check.verdict.reason] if isinstance(check.verdict, Passed) else list(check.verdict.reasons),
        "errors_mmhg": [error.error_mmhg for error in check.errors],
        "worst_mmhg": check.worst.error_mmhg,
        "zero_mmhg": None if check.zero is None else check.zero.error_mmhg,
        "hysteresis_mmhg": None if check.hysteresis is None else check.hysteresis.falling_minus_rising_mmhg,
        "unread": list(check.unread),
    }


def in_register(ledger: Ledger, item_id: str) -> Item:
    """Return an item that is not retired; raises NotFoundError or BadInputError."""
    found = item(ledger, item_id)
    if found.retired:
        raise BadInputError(f"{found.label}: is retired; bring it back first")
    return found


def _refuse_taken(ledger: Ledger, body: Mapping[str, Any], but: str = "") -> None:
    known = register(ledger)
    if not but and len(known) >= MOST_ITEMS:
        raise BadInputError(f"the register: holds at most {MOST_ITEMS} items; retire some first")
    for one in known.values():
        if one.id != but and (one.type, one.label.casefold()) == (body["type"], body["label"].casefold()):
            raise AlreadyDoneError(f"label {one.label}: another {one.type} has it; every label stands once")


def _checked(fields: Mapping[str, str]) -> dict[str, Any]:
    kind = fields.get("type", "")
    if kind not in TYPES:
        raise BadInputError(f"type: must be one of {', '.join(TYPES)}")
    label = clean_name(fields.get("label", ""), "label")
    if len(label) > LONGEST_LABEL:
        raise BadInputError(f"label: must have 1 to {LONGEST_LABEL} characters, as written on the item")
    serial = fields.get("serial", "").strip()
    body: dict[str, Any] = {"type": kind, "label": label, "serial": clean_name(serial, "serial") if serial else ""}
    if kind == "cuff":
        body["bladder_width_cm"] = _centimetres(fields, "bladder_width_cm", "bladder width")
        body["bladder_length_cm"] = _centimetres(fields, "bladder_length_cm", "bladder length")
        arm_range(body["bladder_width_cm"], body["bladder_length_cm"])  # refuses what no tape gives
        body["claim"] = _one_of(fields, "claim", ("", *(size.id for size in cuff_sizes())), "label says")
        body["latex"] = _one_of(fields, "latex", LATEX, "latex") or LATEX[0]
    if kind == "stethoscope":
        body["head"] = _one_of(fields, "head", HEADS, "head") or HEADS[0]
    return body


def _one_of(fields: Mapping[str, str], name: str, legal: Sequence[str], what: str) -> str:
    text = fields.get(name, "")
    if text and text not in legal:
        raise BadInputError(f"{what}: must be one of {', '.join(one for one in legal if one)}")
    return text


def _centimetres(fields: Mapping[str, str], name: str, what: str) -> float:
    text = fields.get(name, "").strip().replace(",", ".")
    plain = len(text) <= 6 and text.replace(".", "", 1).isascii() and text.replace(".", "", 1).isdigit()
    if not plain:
        raise BadInputError(f"{what}: must be centimetres by tape, such as 16 or 12.5")
    return float(text)
