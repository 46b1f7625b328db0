"""The lecturer's decision about a learner: signed on evidence, amended and appealed by further rows, never edited.

The body keeps what the record showed at that moment (rule in full, basis, verdict, rows), so that anybody can see
whether the decision follows from the evidence. The machine decides nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from itertools import takewhile
from typing import Any

from hushpoint import __version__
from hushpoint.competence.currency import Currency, Current, Lapsed, currency, months_after
from hushpoint.desk import classes
from hushpoint.desk.evidence import Evidence, evidence_of, part_of
from hushpoint.desk.kept import Kept
from hushpoint.desk.once import append_once
from hushpoint.desk.pairs import checked_ref
from hushpoint.desk.pass_rules import known_rule, rule_text
from hushpoint.errors import AlreadyDoneError, BadInputError, NotFoundError
from hushpoint.guideline.competence_rules import PassRule, read_competence_rules
from hushpoint.ledger.frozen import FrozenLedger
from hushpoint.ledger.records import Entry, Kind, Ledger, Row

DECISIONS = {"competent": "competent", "not_yet": "not yet competent"}
SETTINGS = {"live": "live", "simulated": "simulated", "both": "live and simulated"}
OUTCOMES = {"open": "open", "stands": "the decision stands", "upheld": "upheld: the decision is amended"}
RETAIN_MONTHS, LONGEST_RETAIN = 24, 60
"""Two years (standards of 2025, second-hand, not checked against the printed text); local rules may ask for more."""
KINDS = (Kind.DECISION_SIGNED, Kind.DECISION_AMENDED, Kind.DECISION_APPEALED)
_TEXTS = {
    "reasons": 600, "noise": 80, "place": 80, "adjustment": 200, "assessor": 80, "credential": 120,
    "second_assessor": 80, "second_says": 200, "why": 300, "grounds": 600, "by": 80,
}  # fmt: skip
"""The most characters of each text."""
_WHY_NOT_WHAT = re.compile(
    r"\b(deaf\w*|disab\w*|diagnos\w*|impair\w*|hearing loss|hard of hearing|dyslex\w*|syndrome\w*|disorder\w*|adhd"
    r"|autis\w*|tinnitus|illness\w*|disease\w*)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Signing:
    """What the lecturer fills in; days as YYYY-MM-DD. `adjustment` says what was changed, never why."""

    rule: str
    decision: str
    reasons: str
    assessor: str
    ref: str
    basis: str = ""
    variety: str = "high"
    setting: str = "live"
    noise: str = ""
    place: str = ""
    adjustment: str = ""
    credential: str = ""
    second_assessor: str = ""
    second_says: str = ""
    signed_on: str = ""
    feedback_on: str = ""
    retain_months: str = ""
    identity_checked: bool = False
    learner_declares: bool = False


@dataclass(frozen=True, slots=True)
class Amendment:
    """One field of a decision changed by a further row."""

    row: int
    at: str
    field: str
    old: str
    new: str
    by: str
    why: str


@dataclass(frozen=True, slots=True)
class Appeal:
    """An appeal, or what became of it."""

    row: int
    at: str
    by: str
    grounds: str
    outcome: str


@dataclass(frozen=True, slots=True)
class Decision:
    """A signed decision as first written (`body`), with everything that came after."""

    row: int
    at: str
    learner: str
    room: str
    body: Mapping[str, Any]
    amendments: tuple[Amendment, ...] = ()
    appeals: tuple[Appeal, ...] = ()

    def now(self, name: str) -> str:
        """Return a field as it stands after every amendment."""
        changed = [one.new for one in self.amendments if one.field == name]
        return changed[-1] if changed else str(self.body[name])

    @property
    def competent(self) -> bool:
        """Whether the learner is signed competent by it as it stands."""
        return self.now("decision") == "competent"

    @property
    def against(self) -> bool:
        """Whether the lecturer decided otherwise than the record showed."""
        return self.competent is not bool(self.body["shown"]["verdict"] == "competent")

    @property
    def rule(self) -> PassRule:
        """The rule as it stood when this was signed."""
        return next(iter(read_competence_rules(self.body["rule_text"], "rule").values()))


AMENDABLE = (
    "decision", "reasons", "setting", "noise", "place", "adjustment", "credential", "second_assessor", "second_says",
    "feedback_on",
)  # fmt: skip


def evidence_now(
    ledger: Ledger,
    room: str,
    who: str,
    rule: str,
    *,
    basis: str = "",
    variety: str = "high",
    part: FrozenLedger | None = None,
) -> Evidence:
    """Return what the record shows now, since the last sign-off that stands; raises NotFoundError, BadInputError.

    `part` is the learner's part of the ledger where the caller has it at hand.
    """
    return _shown(part or part_of(ledger, room, who), room, who, known_rule(ledger, rule), basis, variety)


def _shown(part: FrozenLedger, room: str, who: str, rule: PassRule, basis: str, variety: str) -> Evidence:
    classes.name_of(part, room, who)
    standing = [one for one in folded(part.rows(kinds=KINDS, room=room, who=who)) if one.competent]
    since = standing[-1].at if standing else ""
    return evidence_of(part, room, who, rule, basis=basis, variety=variety, since=since)


def evidence_then(part: FrozenLedger, decision: Decision) -> Evidence:
    """Return what a learner's rows show as they stood when a decision was signed."""
    rows = [row for row in part.rows() if row.seq < decision.row]
    basis, variety = decision.body["basis"], decision.body["variety"]
    return _shown(FrozenLedger(rows), decision.room, decision.learner, decision.rule, basis, variety)


def sign(ledger: Ledger, *, room: str, learner: str, signing: Signing, today: date) -> Decision:
    """Sign a decision, once for each `ref`; raises BadInputError, one line, for whatever is missing or not allowed."""
    code = classes.find_class(ledger, room).code
    ref = f"{learner}.{checked_ref(signing.ref)}"
    for row in ledger.rows(kinds=[Kind.DECISION_SIGNED], room=code, who=learner, ref=ref):
        return find(ledger, code, learner, row.seq)
    if signing.decision not in DECISIONS:
        raise BadInputError(f"decision: must be one of {', '.join(DECISIONS)}")
    if signing.setting not in SETTINGS:
        raise BadInputError(f"setting: must be one of {', '.join(SETTINGS)}")
    rule = known_rule(ledger, signing.rule)
    shown = evidence_now(ledger, code, learner, rule.id, basis=signing.basis, variety=signing.variety)
    signed_on = _day(signing.signed_on or today.isoformat(), "signed on")
    if signed_on > today:
        raise BadInputError("signed on: must not lie after today")
    feedback_on = signing.feedback_on and _day(signing.feedback_on, "feedback on").isoformat()
    months = signing.retain_months.strip() or str(RETAIN_MONTHS)
    if not (months.isascii() and months.isdigit() and 6 <= int(months[:4]) <= LONGEST_RETAIN):
        raise BadInputError(f"retain months: must be a whole number from 6 to {LONGEST_RETAIN}")
    texts = {name: _text(getattr(signing, name), name) for name in _TEXTS if hasattr(signing, name)}
    for needed in ("reasons", "assessor"):
        if not texts[needed]:
            raise BadInputError(f"{needed}: must not be empty; the lecturer decides, and says why")
    _what_not_why(texts["adjustment"])
    earlier = [one for one in decisions_of(ledger, code, learner) if one.body["rule"] == rule.id]
    after = max((place for place, one in enumerate(earlier, 1) if one.competent), default=0)
    competent = signing.decision == "competent"
    body = {
        **texts,
        "rule": rule.id,
        "rule_text": rule_text(ledger, rule.id),
        "basis": shown.basis,
        "variety": shown.variety,
        "since": shown.since,
        "up_to": ledger.last(),
        "shown": {
            "verdict": shown.verdict, "reasons": list(shown.reasons), "missing": list(shown.missing),
            "notes": list(shown.notes), "rows": list(shown.rows),
        },
        "decision": signing.decision,
        "setting": signing.setting,
        "attempt": len(earlier) - after + 1,
        "signed_on": signed_on.isoformat(),
        "feedback_on": feedback_on,
        "current_until": months_after(signed_on, rule.renew_months).isoformat() if competent else "",
        "retain_until": months_after(signed_on, int(months)).isoformat(),
        "identity_checked": signing.identity_checked,
        "learner_declares": signing.learner_declares,
        "hushpoint": __version__,
    }  # fmt: skip
    row, _ = append_once(ledger, Entry(Kind.DECISION_SIGNED, body, room=code, who=learner, ref=ref))
    return find(ledger, code, learner, row.seq)


def amend(
    ledger: Ledger, *, room: str, learner: str, row: int, name: str, new: str, by: str, why: str, ref: str
) -> Decision:
    """Change one field of a decision by a further row with who and why; the first writing stays."""
    found = find(ledger, room, learner, row)
    if name not in AMENDABLE:
        raise BadInputError(f"field: must be one of {', '.join(AMENDABLE)}")
    allowed = {"decision": DECISIONS, "setting": SETTINGS}.get(name)
    if allowed is not None and new not in allowed:
        raise BadInputError(f"{name}: must be one of {', '.join(allowed)}")
    if name == "feedback_on":
        new = _day(new, "feedback on").isoformat()
    elif allowed is None:
        new = _text(new, name)
    if name == "reasons" and not new:
        raise BadInputError("reasons: must not be empty")
    if name == "adjustment":
        _what_not_why(new)
    by, why = _text(by, "by"), _text(why, "why")
    if not by or not why:
        raise BadInputError("by, why: who amends, and why, must both be said")
    body = {"row": row, "field": name, "old": found.now(name), "new": new, "by": by, "why": why}
    mark = f"{row}.{checked_ref(ref)}"
    append_once(ledger, Entry(Kind.DECISION_AMENDED, body, room=found.room, who=learner, ref=mark))
    return find(ledger, room, learner, row)


def appeal(
    ledger: Ledger, *, room: str, learner: str, row: int, by: str, grounds: str, outcome: str, ref: str
) -> Decision:
    """Record an appeal, or what became of it, beside a decision; nothing else changes by it."""
    found = find(ledger, room, learner, row)
    if outcome not in OUTCOMES:
        raise BadInputError(f"outcome: must be one of {', '.join(OUTCOMES)}")
    by, grounds = _text(by, "by"), _text(grounds, "grounds")
    if not by or not grounds:
        raise BadInputError("by, grounds: who appeals, and on what grounds, must both be said")
    if outcome != "open" and not found.appeals:
        raise AlreadyDoneError("No appeal is open against this decision.")
    body = {"row": row, "by": by, "grounds": grounds, "outcome": outcome}
    mark = f"{row}.{checked_ref(ref)}"
    append_once(ledger, Entry(Kind.DECISION_APPEALED, body, room=found.room, who=learner, ref=mark))
    return find(ledger, room, learner, row)


def folded(rows: Iterable[Row]) -> list[Decision]:
    """Return decisions with what came after them, in order; erased ones are left out."""
    found: dict[int, Decision] = {}
    for row in rows:
        body = row.body
        if body is None:
            continue
        if row.kind is Kind.DECISION_SIGNED:
            found[row.seq] = Decision(row.seq, row.at, row.who, row.room, body)
        elif body["row"] in found:
            one = found[body["row"]]
            if row.kind is Kind.DECISION_AMENDED:
                told = Amendment(row.seq, row.at, body["field"], body["old"], body["new"], body["by"], body["why"])
                found[one.row] = replace(one, amendments=(*one.amendments, told))
            else:
                heard = Appeal(row.seq, row.at, body["by"], body["grounds"], body["outcome"])
                found[one.row] = replace(one, appeals=(*one.appeals, heard))
    return list(found.values())


def decisions_of(ledger: Ledger, room: str, learner: str) -> list[Decision]:
    """Return a learner's decisions, oldest first."""
    return folded(ledger.rows(kinds=KINDS, room=room, who=learner))


def find(ledger: Ledger, room: str, learner: str, row: int) -> Decision:
    """Return a learner's decision by its journal row; raises NotFoundError."""
    code = classes.find_class(ledger, room).code
    for one in decisions_of(ledger, code, learner):
        if one.row == row:
            return one
    raise NotFoundError("No such decision about this learner.")


def currency_of(decisions: Sequence[Decision], today: date) -> Currency:
    """Return whether the newest competent decision that stands is still current."""
    standing = [one for one in decisions if one.competent]
    if not standing:
        return currency([], today)
    days = [date.fromisoformat(one.body["signed_on"]) for one in standing]
    latest = max(zip(days, standing, strict=True), key=lambda one: (one[0], one[1].row))[1]
    return currency(days, today, latest.rule.renew_months)


@dataclass(frozen=True, slots=True)
class Standing:
    """One learner of a class on the list of sign-offs."""

    who: str
    name: str
    decisions: tuple[Decision, ...]
    currency: Currency
    fair_pairs: int = 0

    @property
    def place(self) -> int:
        """Who is due stands first: lapsed, due soon, never signed, current."""
        if isinstance(self.currency, Lapsed):
            return 0
        if isinstance(self.currency, Current):
            return 1 if self.currency.due else 3
        return 2


@dataclass(slots=True)
class People:
    """Names and decisions of all classes, by class, as their rows say; `take` brings them up to date."""

    rows: dict[str, list[Row]] = field(default_factory=dict)

    def take(self, rows: Iterable[Row]) -> None:
        """Take further rows in order; of an erased person nothing stays."""
        for row in rows:
            if row.kind is Kind.PERSON_ERASED:
                self.rows = {room: [one for one in mine if one.who != row.who] for room, mine in self.rows.items()}
            elif row.body is not None:
                self.rows.setdefault(row.room, []).append(row)

    def copy(self) -> People:
        """Return what is not changed when this is brought up to date."""
        return People({room: list(mine) for room, mine in self.rows.items()})

    def of(self, room: str) -> FrozenLedger:
        """Return one class's rows, to be folded."""
        return FrozenLedger(self.rows.get(room, []))


def kept_people(ledger: Ledger) -> Kept[People]:
    """Return what keeps the people of all classes; its only key is ""."""
    kinds = (*KINDS, Kind.ROSTER_ADDED, Kind.LEARNER_JOINED, Kind.PERSON_ERASED)

    def read(ledger: Ledger, _code: str, after: int, up_to: int) -> Iterable[Row]:
        return takewhile(lambda row: row.seq <= up_to, ledger.rows(after=after, kinds=kinds))

    return Kept(ledger, People, read)


def standings(ledger: Ledger, room: str, today: date, fair: Mapping[str, int] | None = None) -> list[Standing]:
    """Return every learner of a class, who is due for renewal first, then by name."""
    by_learner: dict[str, list[Row]] = {}
    for row in ledger.rows(kinds=KINDS, room=room):
        by_learner.setdefault(row.who, []).append(row)
    found = []
    for who, name in classes.names_of(ledger, room).items():
        mine = folded(by_learner.get(who, ()))
        found.append(Standing(who, name, tuple(mine), currency_of(mine, today), (fair or {}).get(who, 0)))
    return sorted(found, key=lambda one: (one.place, one.name.casefold()))


def _what_not_why(text: str) -> None:
    if _WHY_NOT_WHAT.search(text):
        raise BadInputError(
            "adjustment: say what was changed (an amplified stethoscope, more time), never why; no diagnosis is kept"
        )


def _day(text: str, what: str) -> date:
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise BadInputError(f"{what}: must be a day such as 2026-03-10") from None
    if not 2000 <= day.year <= 2200:
        raise BadInputError(f"{what}: must lie in the years 2000 to 2200")
    return day


def _text(value: str, name: str) -> str:
    text = " ".join(value.split())
    if len(text) > _TEXTS[name]:
        raise BadInputError(f"{name.replace('_', ' ')}: at most {_TEXTS[name]} characters")
    if not text.isprintable():
        raise BadInputError(f"{name.replace('_', ' ')}: must hold characters that can be printed")
    return text
