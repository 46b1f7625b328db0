"""Listening papers: a sealed set of measurements for a class, a form of their own for every attempt, marked by a rule.

How the rows hang together (bodies in docs/reference.md): paper.set (ref = paper) fixes everything; paper.changed
withdraws it, offers it again, opens or covers its results (the newest counts); paper.exported takes a form out of the
series for a room without a server; paper.begun (ref = attempt) gives a learner a form nobody else has; paper.played
counts each play; paper.answered (ref = attempt/place: exactly once) is one sealed pair; paper.marked (ref = attempt)
keeps the marking with the keys it was made by.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from typing import Any, Literal, get_args

from hushpoint.competence import Competent, NotYet, PassOdds, judge, judged_by_hand, pass_odds
from hushpoint.competence.judging import Answer
from hushpoint.desk import classes
from hushpoint.desk.judging import ODDS_SHOWN
from hushpoint.desk.once import append_once
from hushpoint.desk.pass_rules import known_rules, rule_text
from hushpoint.desk.rounds import checked_reading, off_words
from hushpoint.desk.standing import standing
from hushpoint.errors import AlreadyDoneError, BadInputError, NotAllowedError, NotFoundError
from hushpoint.guideline import teaching_policy
from hushpoint.guideline.competence_rules import PassRule, competence_rules, read_competence_rules
from hushpoint.ledger.records import Entry, Kind, Ledger, Row
from hushpoint.measure import Worked
from hushpoint.practice.forms import LAST_NUMBER, SIZE, form
from hushpoint.practice.profiles import profile_of
from hushpoint.practice.sealed import Key, Sealed, key_of, sealed_on

Marking = Literal["at_once", "at_end"]
Change = Literal["withdrawn", "offered", "results_open", "results_covered"]
How = Literal["phone", "paper"]
NO_RULE = ""
DEFAULT_RULE = "NHANES_2003"
MOST_PLAYS, MOST_ATTEMPTS = 3, 9
LONGEST_TITLE = 80
_ROWS = (
    Kind.PAPER_SET,
    Kind.PAPER_CHANGED,
    Kind.PAPER_EXPORTED,
    Kind.PAPER_BEGUN,
    Kind.PAPER_PLAYED,
    Kind.PAPER_ANSWERED,
    Kind.PAPER_MARKED,
)
_FORMS = "forms"
"""The turn in which the next form is taken: two at once would share it."""

ENDS = ("systolic", "diastolic")


@dataclass(slots=True)
class Attempt:
    """One learner's attempt: its form, and what was played and sealed so far; `marked` is the kept marking."""

    id: str
    paper: str
    who: str
    form: int
    profile: str
    how: How
    begun_at: str
    plays: dict[int, int] = field(default_factory=dict)
    answers: dict[int, Mapping[str, Any]] = field(default_factory=dict)
    marked: Mapping[str, Any] | None = None

    @property
    def counts(self) -> bool:
        """Whether it can count as evidence: heard through headphones, or in a room with the lecturer."""
        return self.how == "paper" or profile_of(self.profile).sign_off


@dataclass(slots=True)
class Paper:
    """A paper as set, with its changes, exports and attempts. Times are UTC, "" where there is no limit."""

    id: str
    room: str
    set_at: str
    title: str
    policy_id: str
    rule_id: str
    rule_text: str
    marking: Marking
    plays: int
    most_attempts: int
    from_at: str
    until_at: str
    speakers: bool
    seed: int
    size: int = SIZE
    withdrawn: bool = False
    results_open: bool = False
    exported: dict[int, bool] = field(default_factory=dict)
    """Forms exported, and whether their key was opened."""
    attempts: dict[str, Attempt] = field(default_factory=dict)

    @property
    def rule(self) -> PassRule | None:
        """The pass rule as it stood when the paper was set, None for practice only."""
        if not self.rule_id:
            return None
        own = read_competence_rules(self.rule_text, "rule of the paper") if self.rule_text else competence_rules()
        return own[self.rule_id]

    def of(self, who: str) -> list[Attempt]:
        """Return a learner's attempts, oldest first."""
        return [one for one in self.attempts.values() if one.who == who]

    def results_shown(self, attempt: Attempt) -> bool:
        """Whether results of an attempt may be seen: it is handed in, and marked at once or opened by the lecturer."""
        return attempt.marked is not None and (self.marking == "at_once" or self.results_open)

    def closed_because(self, now: str) -> str:
        """Say why nothing can be begun or answered now, "" where it can."""
        if self.withdrawn:
            return "This paper was withdrawn. Ask your lecturer."
        if self.from_at and now < self.from_at:
            return "This paper is not open yet."
        if self.until_at and now >= self.until_at:
            return "The time of this paper is over. Ask your lecturer."
        return ""


@dataclass(frozen=True, slots=True)
class Setting:
    """What a lecturer chooses when setting a paper; times are UTC ISO 8601 with Z, "" for no limit."""

    title: str
    rule_id: str = DEFAULT_RULE
    marking: str = "at_end"
    plays: int = 1
    attempts: int = 3
    from_at: str = ""
    until_at: str = ""
    speakers: bool = False


def fitting_rules(ledger: Ledger) -> list[PassRule]:
    """Return the pass rules that 24 answers can meet: published ones for a fixed truth, and an institution's own."""
    shipped = competence_rules()
    return [
        rule
        for rule in known_rules(ledger).values()
        if rule.set_size <= (2 * SIZE if rule.ends == "pooled" else SIZE)
        and (rule.ends == "pooled" or rule.id not in shipped)
    ]


def unfit_rules(ledger: Ledger) -> list[PassRule]:
    """Return an institution's own rules that ask for more answers than a paper has."""
    fitting = {rule.id for rule in fitting_rules(ledger)}
    return [rule for rule in known_rules(ledger).values() if rule.id not in fitting | competence_rules().keys()]


def odds_on_a_paper(rule: PassRule) -> list[tuple[str, PassOdds]]:
    """Return how often a rule passes observers on the 24 answers of a paper."""
    return [(what, pass_odds(rule, bias, sd, SIZE)) for what, bias, sd in ODDS_SHOWN]


def set_paper(ledger: Ledger, *, room: str, setting: Setting, seed: int | None = None) -> str:
    """Set a paper for a class and return its id; raises BadInputError, one line, outside the legal ranges."""
    info = classes.find_class(ledger, room)
    title = classes.clean_name(setting.title, "title")
    fitting = [rule.id for rule in fitting_rules(ledger)]
    if setting.rule_id != NO_RULE and setting.rule_id not in fitting:
        raise BadInputError(f"rule: must be one of {', '.join(fitting)}, or none")
    if setting.marking not in get_args(Marking):
        raise BadInputError("marking: must be at_once or at_end")
    if not 1 <= setting.plays <= MOST_PLAYS:
        raise BadInputError(f"plays: must be 1 to {MOST_PLAYS}")
    if not 1 <= setting.attempts <= MOST_ATTEMPTS:
        raise BadInputError(f"attempts: must be 1 to {MOST_ATTEMPTS}")
    from_at, until_at = (_moment(at, what) for at, what in ((setting.from_at, "from"), (setting.until_at, "until")))
    if from_at and until_at and from_at >= until_at:
        raise BadInputError("until: must be later than from")
    body = {
        "title": title,
        "policy": info.policy_id,
        "rule": setting.rule_id,
        "rule_text": rule_text(ledger, setting.rule_id) if setting.rule_id else "",
        "marking": setting.marking,
        "plays": setting.plays,
        "attempts": setting.attempts,
        "from": from_at,
        "until": until_at,
        "speakers": setting.speakers,
        "seed": secrets.randbits(40) if seed is None else seed,
        "size": SIZE,
    }
    paper_id = secrets.token_hex(8)
    ledger.append(Entry(Kind.PAPER_SET, body, room=info.code, ref=paper_id))
    return paper_id


def change(ledger: Ledger, *, room: str, paper_id: str, to: str) -> None:
    """Withdraw a paper, offer it again, open its results or cover them: each undoes the other."""
    if to not in get_args(Change):
        raise BadInputError(f"to: must be one of {', '.join(get_args(Change))}")
    paper = paper_of(ledger, room, paper_id)
    ledger.append(Entry(Kind.PAPER_CHANGED, {"paper": paper.id, "to": to}, room=paper.room))


def begin(ledger: Ledger, *, room: str, who: str, paper_id: str, profile_id: str, now: str) -> Attempt:
    """Begin an attempt on a form of its own, or go on with the one that is not handed in yet.

    `profile_id` is what the device check on this device found. Raises NotAllowedError or AlreadyDoneError, one line.
    """
    profile = profile_of(profile_id)
    with ledger.turn(_FORMS):
        paper = paper_of(ledger, room, paper_id)
        mine = paper.of(who)
        if mine and mine[-1].marked is None and mine[-1].how == "phone":
            return mine[-1]
        if why := paper.closed_because(now):
            raise NotAllowedError(why)
        if not profile.sign_off and not paper.speakers:
            raise NotAllowedError("This paper asks for earphones: do the device check with them first.")
        if len(mine) >= paper.most_attempts:
            raise AlreadyDoneError(f"This paper allows {paper.most_attempts} attempts. Ask your lecturer.")
        return _begin(ledger, paper, who=who, profile_id=profile.id, how="phone", number=_next_form(paper))


def count_play(ledger: Ledger, *, room: str, who: str, attempt_id: str, place: int, number: int, now: str) -> int:
    """Count one play of a measurement and return how many there were; the same number sent again counts once.

    Raises NotAllowedError where the paper allows no further one or the place is sealed.
    """
    paper, attempt = _mine(ledger, room, who, attempt_id, now)
    _in_paper(paper, place)
    if place in attempt.answers:
        raise AlreadyDoneError("This measurement is sealed already.")
    played = attempt.plays.get(place, 0)
    if number == played and played:
        return played
    if number != played + 1:
        raise BadInputError(f"number: must be {played + 1}, the next play of this measurement")
    if number > paper.plays:
        raise NotAllowedError(f"Played {played} of {paper.plays}. Write what you heard.")
    body = {"attempt": attempt.id, "place": place}
    append_once(
        ledger,
        Entry(Kind.PAPER_PLAYED, body, room=paper.room, who=who, ref=f"{attempt.id}/{place}/{number}"),
    )
    return number


def answer(ledger: Ledger, *, room: str, who: str, attempt_id: str, place: int, reading: object, now: str) -> bool:
    """Seal one pair exactly once; the last one hands the attempt in. Return whether it was sealed before.

    The first one stands. An answer on its way when the time ran out is taken where it was played in time.
    """
    paper, attempt = _own(ledger, room, who, attempt_id)
    if place in attempt.answers:
        return True
    if attempt.marked is not None:
        raise AlreadyDoneError("This attempt is handed in already.")
    late = paper.closed_because(now)
    if late and not attempt.plays.get(place):
        raise NotAllowedError(late)
    _in_paper(paper, place)
    systolic, diastolic = checked_reading(reading)
    known = _seal(ledger, paper, attempt, place, (systolic, diastolic), by="learner")
    if len(attempt.answers) + 1 == paper.size:
        hand_in(ledger, room=room, who=who, attempt_id=attempt_id)
    return known


def hand_in(ledger: Ledger, *, room: str, who: str, attempt_id: str) -> None:
    """Hand an attempt in and keep its marking; what was not written is not within. Twice is once."""
    paper, attempt = _own(ledger, room, who, attempt_id)
    if attempt.marked is None:
        _mark(ledger, paper, attempt)


def type_in(
    ledger: Ledger, *, room: str, who: str, paper_id: str, number: int, readings: Mapping[int, object]
) -> Attempt:
    """Store what a learner wrote on paper for an exported form, seal it all and mark it; by place, 1 to 12.

    A place left out counts as not written. Raises AlreadyDoneError where this learner's answers are in already.
    """
    paper = paper_of(ledger, room, paper_id)
    classes.name_of(ledger, paper.room, who)
    if number not in paper.exported:
        raise BadInputError(f"form: must be one that was exported: {_numbers(paper) or 'none was yet'}")
    for place in readings:
        _in_paper(paper, place)
    checked = {place: checked_reading(reading) for place, reading in readings.items()}
    if not checked:
        raise BadInputError("answers: at least one must be written")
    with ledger.turn(_FORMS):
        paper = paper_of(ledger, room, paper_id)
        before = [one for one in paper.of(who) if one.how == "paper" and one.form == number]
        if before and before[0].marked is not None:
            raise AlreadyDoneError(f"This learner's answers to form {number} are in already.")
        attempt = before[0] if before else _begin(
            ledger, paper, who=who, profile_id="headphones", how="paper", number=number
        )  # fmt: skip
    for place, pair in sorted(checked.items()):
        _seal(ledger, paper, attempt, place, pair, by="lecturer")
    paper, attempt = attempt_of(ledger, room, attempt.id)
    _mark(ledger, paper, attempt)
    return attempt_of(ledger, room, attempt.id)[1]


def export_form(ledger: Ledger, *, room: str, paper_id: str) -> int:
    """Take the next form out of the series for a room without a server, and return its number."""
    with ledger.turn(_FORMS):
        paper = paper_of(ledger, room, paper_id)
        number = _next_form(paper)
        body = {"paper": paper.id, "form": number, "key": False}
        ledger.append(Entry(Kind.PAPER_EXPORTED, body, room=paper.room, ref=f"{paper.id}/{number}"))
    return number


def open_key(ledger: Ledger, *, room: str, paper_id: str, number: int) -> None:
    """Note that the key of an exported form was opened; noted once."""
    paper = paper_of(ledger, room, paper_id)
    if number not in paper.exported:
        raise NotFoundError("No such exported form.")
    body = {"paper": paper.id, "form": number, "key": True}
    append_once(ledger, Entry(Kind.PAPER_EXPORTED, body, room=paper.room, ref=f"{paper.id}/{number}/key"))


def paper_of(ledger: Ledger, room: str, paper_id: str) -> Paper:
    """Return a paper of this class; raises NotFoundError."""
    found = _papers(ledger, room).get(paper_id)
    if found is None:
        raise NotFoundError("No such paper in this class.")
    return found


def papers_of(ledger: Ledger, room: str) -> list[Paper]:
    """Return a class's papers, newest first."""
    return list(_papers(ledger, room).values())[::-1]


def attempt_of(ledger: Ledger, room: str, attempt_id: str) -> tuple[Paper, Attempt]:
    """Return an attempt of this class with its paper; raises NotFoundError."""
    for paper in _papers(ledger, room).values():
        if attempt_id in paper.attempts:
            return paper, paper.attempts[attempt_id]
    raise NotFoundError("No such attempt in this class.")


def own_attempt(ledger: Ledger, *, room: str, who: str, attempt_id: str) -> tuple[Paper, Attempt]:
    """Return a learner's own attempt with its paper; raises NotFoundError for anybody else's."""
    return _own(ledger, room, who, attempt_id)


def told(paper: Paper, attempt: Attempt) -> dict[str, Any]:
    """Return what a learner's page is told of an attempt: places, plays, what is sealed; nothing of any arm."""
    return {
        "attempt": attempt.id,
        "size": paper.size,
        "plays_allowed": paper.plays,
        "places": [
            {"place": place, "plays": attempt.plays.get(place, 0), "sealed": place in attempt.answers}
            for place in range(1, paper.size + 1)
        ],
        "handed_in": attempt.marked is not None,
    }


def measurement_of(paper: Paper, number: int, place: int) -> Sealed:
    """Return one measurement of a form."""
    _in_paper(paper, place)
    return _measurements(paper.seed, number, paper.size)[place - 1]


def keys_of(paper: Paper, number: int) -> Iterator[Key]:
    """Yield the keys of a form in order of place."""
    asked = teaching_policy(paper.policy_id).end_point
    for one in _measurements(paper.seed, number, paper.size):
        yield key_of(one, asked)


def result(paper: Paper, attempt: Attempt) -> dict[str, Any]:
    """Return the kept marking with every line in words, once results may be seen; raises NotAllowedError before."""
    if attempt.marked is None or not paper.results_shown(attempt):
        raise NotAllowedError("The results of this attempt are not open yet.")
    lines = []
    for one in attempt.marked["lines"]:
        ends = []
        for end in ENDS:
            wrote, key = one[end], one[f"{end}_key"]
            missing = "not heard" if one["written"] else "nothing written"
            ends.append(
                {
                    "end": end,
                    "key": key,
                    "wrote": missing if wrote is None else str(wrote),
                    "off": "" if wrote is None else off_words(wrote - key),
                }
            )
        lines.append({"place": one["place"], "plays": attempt.plays.get(one["place"], 0), "ends": ends})
    return {
        "lines": lines,
        "verdict": attempt.marked["verdict"],
        "reasons": attempt.marked["reasons"],
        "missing": attempt.marked["missing"],
        "rule": attempt.marked["rule"],
        "worked": _worked(paper, attempt.marked["lines"]),
        "form": attempt.form,
        "counts": attempt.counts,
    }


def _worked(paper: Paper, lines: Sequence[Mapping[str, Any]]) -> list[Worked]:
    if paper.rule is None:
        return []
    both = [
        (
            Answer(one["systolic"], one["diastolic"]),
            Answer(one["systolic_key"], one["diastolic_key"], str(one["place"])),
        )
        for one in lines
    ]
    return [judged_by_hand(judge(paper.rule, both))]


def _begin(ledger: Ledger, paper: Paper, *, who: str, profile_id: str, how: How, number: int) -> Attempt:
    text = f"{paper.id}\n{who}\n{len(paper.of(who)) + 1}"
    attempt_id = hashlib.sha256(text.encode()).hexdigest()[:20]
    body = {"paper": paper.id, "form": number, "profile": profile_id, "how": how}
    row, _ = append_once(ledger, Entry(Kind.PAPER_BEGUN, body, room=paper.room, who=who, ref=attempt_id))
    return Attempt(attempt_id, paper.id, who, number, profile_id, how, row.at)


def _seal(
    ledger: Ledger,
    paper: Paper,
    attempt: Attempt,
    place: int,
    pair: tuple[int | None, int | None],
    *,
    by: Literal["learner", "lecturer"],
) -> bool:
    body = {"attempt": attempt.id, "place": place, "systolic": pair[0], "diastolic": pair[1], "by": by}
    ref = f"{attempt.id}/{place}"
    return append_once(ledger, Entry(Kind.PAPER_ANSWERED, body, room=paper.room, who=attempt.who, ref=ref))[1]


def _mark(ledger: Ledger, paper: Paper, attempt: Attempt) -> None:
    """Mark what is sealed by now and keep it with its keys: later changes of the code leave it as it was."""
    _, attempt = attempt_of(ledger, paper.room, attempt.id)
    keys = list(keys_of(paper, attempt.form))
    lines, both = [], []
    for place, key in enumerate(keys, start=1):
        wrote = attempt.answers.get(place)
        systolic, diastolic = (None if wrote is None else wrote[end] for end in ENDS)
        lines.append(
            {
                "place": place,
                "written": wrote is not None,
                "systolic": systolic,
                "diastolic": diastolic,
                "systolic_key": key.systolic_mmhg,
                "diastolic_key": key.diastolic_mmhg,
            }
        )
        person = str(place)  # every measurement of a form is of another practice person
        both.append((Answer(systolic, diastolic), Answer(key.systolic_mmhg, key.diastolic_mmhg, person)))
    rule = paper.rule
    verdict = "practice"
    reasons: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    if rule is not None:
        judged = judge(rule, both).verdict
        verdict = "met" if isinstance(judged, Competent) else "not yet" if isinstance(judged, NotYet) else "too few"
        reasons, missing = judged.reasons, judged.missing
    body = {
        "attempt": attempt.id,
        "paper": paper.id,
        "form": attempt.form,
        "rule": None if rule is None else {"id": rule.id, "name": rule.name, "text": rule.text, "source": rule.source},
        "policy": paper.policy_id,
        "lines": lines,
        "verdict": verdict,
        "reasons": list(reasons),
        "missing": list(missing),
    }
    append_once(ledger, Entry(Kind.PAPER_MARKED, body, room=paper.room, who=attempt.who, ref=attempt.id))


def _mine(ledger: Ledger, room: str, who: str, attempt_id: str, now: str) -> tuple[Paper, Attempt]:
    paper, attempt = _own(ledger, room, who, attempt_id)
    if attempt.marked is not None:
        raise AlreadyDoneError("This attempt is handed in already.")
    if why := paper.closed_because(now):
        raise NotAllowedError(why)
    return paper, attempt


def _own(ledger: Ledger, room: str, who: str, attempt_id: str) -> tuple[Paper, Attempt]:
    paper, attempt = attempt_of(ledger, room, attempt_id)
    if attempt.who != who:
        raise NotFoundError("No such attempt in this class.")
    return paper, attempt


def _in_paper(paper: Paper, place: int) -> None:
    if not 1 <= place <= paper.size:
        raise BadInputError(f"measurement: must be 1 to {paper.size}")


def _next_form(paper: Paper) -> int:
    return max((*(one.form for one in paper.attempts.values()), *paper.exported), default=0) + 1


def _numbers(paper: Paper) -> str:
    return ", ".join(str(number) for number in paper.exported)


@lru_cache(maxsize=128)
def _measurements(seed: int, number: int, size: int) -> tuple[Sealed, ...]:
    series, place = divmod(number - 1, LAST_NUMBER)
    items = form(seed + series, place + 1, size).items
    return tuple(sealed_on(item.person, item.seed, item.release_mmhg_per_s) for item in items)


def _moment(at: str, what: str) -> str:
    if not at:
        return ""
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        raise BadInputError(f"{what}: must be a date and time, or empty") from None
    if moment.tzinfo is None or not at.endswith("Z"):
        raise BadInputError(f"{what}: must be UTC with a trailing Z, or empty")
    return at


def _papers(ledger: Ledger, room: str) -> dict[str, Paper]:
    found: dict[str, Paper] = {}
    by_attempt: dict[str, Attempt] = {}
    for row in standing(ledger, _ROWS, room=room):
        body = row.body
        if body is None:
            continue
        if row.kind is Kind.PAPER_SET and row.ref is not None:
            found[row.ref] = _as_set(row, body)
        elif row.kind in (Kind.PAPER_CHANGED, Kind.PAPER_EXPORTED):
            _changed(found[body["paper"]], row, body)
        elif row.kind is Kind.PAPER_BEGUN and row.ref is not None:
            one = Attempt(row.ref, body["paper"], row.who, body["form"], body["profile"], body["how"], row.at)
            found[one.paper].attempts[one.id] = by_attempt[one.id] = one
        elif body["attempt"] in by_attempt:
            _went_on(by_attempt[body["attempt"]], row, body)
    return found


def _as_set(row: Row, body: Mapping[str, Any]) -> Paper:
    return Paper(
        id=str(row.ref),
        room=row.room,
        set_at=row.at,
        title=body["title"],
        policy_id=body["policy"],
        rule_id=body["rule"],
        rule_text=body.get("rule_text", ""),  # older papers: a shipped rule
        marking=body["marking"],
        plays=body["plays"],
        most_attempts=body["attempts"],
        from_at=body["from"],
        until_at=body["until"],
        speakers=body["speakers"],
        seed=body["seed"],
        size=body["size"],
    )


def _changed(paper: Paper, row: Row, body: Mapping[str, Any]) -> None:
    if row.kind is Kind.PAPER_EXPORTED:
        paper.exported[body["form"]] = paper.exported.get(body["form"], False) or body["key"]
        return
    match body["to"]:
        case "withdrawn":
            paper.withdrawn = True
        case "offered":
            paper.withdrawn = False
        case "results_open":
            paper.results_open = True
        case _:
            paper.results_open = False


def _went_on(attempt: Attempt, row: Row, body: Mapping[str, Any]) -> None:
    match row.kind:
        case Kind.PAPER_PLAYED:
            attempt.plays[body["place"]] = attempt.plays.get(body["place"], 0) + 1
        case Kind.PAPER_ANSWERED:
            attempt.answers[body["place"]] = body
        case _:
            attempt.marked = body
