"""What the record shows of one learner by one pass rule: every piece named by its row of the journal.

Everything is folded from the rows that an evidence bundle carries (`rows_of`) and from nothing else, so that whoever
holds the bundle comes to the same verdict by the same code. The verdict is advice: the lecturer decides and signs.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from hushpoint.agreement import PairedReading
from hushpoint.competence import Judgement, NotYet, TooFew, Variety, judge
from hushpoint.competence.curve import Curve
from hushpoint.competence.judging import Answer
from hushpoint.desk import classes, judging, pairs, papers, technique
from hushpoint.desk.standing import standing
from hushpoint.errors import BadInputError
from hushpoint.guideline.competence_rules import PassRule
from hushpoint.ledger.frozen import FrozenLedger
from hushpoint.ledger.records import Kind, Ledger, Row
from hushpoint.practice.forms import LAST_NUMBER, form

PAIRS = "pairs"
LEARNER, REFERENCE = "learner", "reference"
VARIETIES: Mapping[str, tuple[str, Variety | None]] = {
    "high": ("a systolic at or above 140 and one at or above 160", Variety()),
    "every": ("also a silent gap, an irregular pulse and a faint arm", Variety(1, 1, 1, 1, 1)),
    "none": ("no more than the rule itself", None),
}
"""What may be asked besides the rule, so that no class mean can pass."""
_OWN = (
    Kind.ROSTER_ADDED,
    Kind.LEARNER_JOINED,
    Kind.PAPER_BEGUN,
    Kind.PAPER_PLAYED,
    Kind.PAPER_ANSWERED,
    Kind.PAPER_MARKED,
    Kind.TECHNIQUE_BEGUN,
    Kind.TECHNIQUE_MARKED,
    Kind.DECISION_SIGNED,
    Kind.DECISION_AMENDED,
    Kind.DECISION_APPEALED,
)
_OF_KIT = (Kind.KIT_ADDED, Kind.KIT_CHANGED, Kind.KIT_CHECKED, Kind.KIT_KNOCKED, Kind.KIT_RETIRED)
Stands = Literal["meets", "does not", "missing", "beside"]


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of evidence in words: whether it meets what is asked, and the journal rows it rests on."""

    what: str
    says: str
    stands: Stands
    rows: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the record shows by a rule. `verdict` is competent, not_yet or too_few; `found` None without any answer.

    `basis` is PAIRS or the id of an attempt at a listening paper; `up_to` the newest journal row looked at; pairs and
    papers before `since` (UTC; "" for all) belong to an earlier sign-off. `habits` are of the pen, as first written
    in every pair since: no part of the verdict.
    """

    room: str
    learner: str
    rule: PassRule
    basis: str
    variety: str
    up_to: int
    since: str
    verdict: str
    reasons: tuple[str, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...]
    habits: tuple[str, ...]
    pieces: tuple[Piece, ...]
    found: Judgement | None
    curve: Curve | None
    pairs: tuple[pairs.Pair, ...]
    attempts: tuple[papers.Attempt, ...]
    performances: tuple[technique.Performance, ...]

    @property
    def rows(self) -> tuple[int, ...]:
        """Every journal row that the verdict rests on, in order."""
        return tuple(sorted({row for piece in self.pieces for row in piece.rows}))

    @property
    def readings(self) -> tuple[PairedReading, ...]:
        """The counted pairs with two systolics as readings, for agreement."""
        return pairs.paired_readings(self.pairs, LEARNER, REFERENCE)


def rows_of(ledger: Ledger, room: str, who: str) -> list[Row]:
    """Return every journal row that speaks of a learner's evidence in this class, in order.

    Practice on modelled arms is left out: it is no evidence (docs/bench-format.md keeps its rows).
    """
    found = {row.seq: row for row in pairs.rows_of(ledger, room, who)}
    opened = [row.body for row in found.values() if row.kind is Kind.PAIR_OPENED and row.body is not None]
    found |= {row.seq: row for row in ledger.rows(kinds=_OWN, room=room, who=who)}
    begun = [row for row in found.values() if row.kind is Kind.PAPER_BEGUN and row.body is not None]
    taken = {row.body["paper"] for row in begun if row.body is not None}
    for row in ledger.rows(
        kinds=[Kind.CLASS_OPENED, Kind.CLASS_CHANGED, Kind.PAPER_SET, Kind.PAPER_CHANGED], room=room
    ):
        paper = row.ref if row.kind is Kind.PAPER_SET else (row.body or {}).get("paper")
        if row.kind in (Kind.CLASS_OPENED, Kind.CLASS_CHANGED) or paper in taken:
            found[row.seq] = row
    used = {body[part] for body in opened for part in ("gauge", "reference_gauge", "cuff", "stethoscope")} - {""}
    for row in ledger.rows(kinds=[*_OF_KIT, Kind.RULE_ADOPTED, Kind.UNIT_ADOPTED]):
        if row.kind not in _OF_KIT or (row.body or {}).get("item", (row.body or {}).get("gauge")) in used:
            found[row.seq] = row
    for row in ledger.rows(kinds=[Kind.ACT_UNDONE]):
        if row.body is not None and not found.keys().isdisjoint(row.body["rows"]):
            found[row.seq] = row
    return [found[seq] for seq in sorted(found)]


def part_of(ledger: Ledger, room: str, who: str) -> FrozenLedger:
    """Return the learner's rows as a ledger of their own."""
    return FrozenLedger(rows_of(ledger, room, who))


def basis_of(rule: PassRule, attempts: Sequence[papers.Attempt]) -> str:
    """Return what a rule is judged on where nobody chose: the newest marked paper for a fixed truth, else the pairs."""
    marked = [one.id for one in attempts if one.marked is not None and one.counts]
    return marked[-1] if rule.ends == "pooled" and marked else PAIRS


def evidence_of(
    part: FrozenLedger, room: str, who: str, rule: PassRule, *, basis: str = "", variety: str = "high", since: str = ""
) -> Evidence:
    """Return what a learner's rows show by a rule; raises BadInputError for an unknown basis or variety."""
    if variety not in VARIETIES:
        raise BadInputError(f"variety: must be one of {', '.join(VARIETIES)}")
    measured = [pair for pair in pairs.book_of(part, room).of(who) if _measured(pair) >= since]
    mine = tuple(pair for pair in measured if pair.fair)
    taken = [
        (paper, attempt)
        for paper in papers.papers_of(part, room)
        for attempt in paper.of(who)
        if attempt.begun_at >= since
    ]
    taken.sort(key=lambda one: one[1].begun_at)
    attempts = tuple(attempt for _, attempt in taken)
    chosen = basis or basis_of(rule, attempts)
    amended = _amended_rows(part, room)
    asked = VARIETIES[variety][1]
    notes: tuple[str, ...] = ()
    if chosen == PAIRS:
        both = _of_pairs(mine)
        asked, kinds = _with_papers(asked, taken, rule)
        pieces = [_pairs_piece(mine, amended)]
    else:
        paper, attempt = _attempt(taken, chosen)
        both, notes = _of_attempt(attempt)
        kinds = Counter(trait for place in range(1, paper.size + 1) for trait in _traits(paper, attempt, place))
        pieces = [_attempt_piece(paper, attempt, _marked_rows(part, room, who))]
        if not attempt.counts:
            notes += ("heard through a loudspeaker: practice, and no evidence",)
    heard = any(key.systolic_mmhg is not None for _, key in both)
    found = judge(rule, both, asked, kinds) if heard else None
    curve = judging.curve_of(rule, both) if heard else None
    if both and not heard:
        notes += (f"the reference heard no systolic in any of the pairs, so none is an answer: {len(both)}",)
    watched = tuple(technique.performances(part, room, learner=who))
    steps, failed = _technique_pieces(watched, since, _sheet_rows(part, room, who))
    verdict, reasons, missing = _verdict(found, rule, failed)
    if chosen != PAIRS and not attempt.counts and verdict == "competent":
        verdict, missing = "too_few", ("an attempt heard through headphones, or in a room with the lecturer",)
    return Evidence(
        room, who, rule, chosen, variety, part.last(), since, verdict, reasons, missing,
        notes + (() if found is None else found.notes),
        judging.habits([pair.learner.written for pair in measured if pair.turned_at and pair.learner.written]),
        (*pieces, *steps), found, curve, mine, attempts, watched,
    )  # fmt: skip


def _measured(pair: pairs.Pair) -> str:
    return pair.opening.taken_at or pair.opened_at


def _verdict(
    found: Judgement | None, rule: PassRule, failed: Sequence[str]
) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    if found is None:
        return "too_few", (), (f"every answer: none counts so far, {rule.set_size} are asked", *failed)
    reasons, missing = found.verdict.reasons, (*found.verdict.missing, *failed)
    if isinstance(found.verdict, TooFew):
        return "too_few", reasons, missing
    return ("not_yet" if isinstance(found.verdict, NotYet) or failed else "competent"), reasons, missing


def _of_pairs(mine: Sequence[pairs.Pair]) -> list[tuple[Answer, Answer]]:
    """Return the pairs as answers; what the learner alone did not hear counts as not within, see `answers_of`."""
    nothing = (None, None)
    return [
        (
            Answer(*(pair.learner.counts or nothing), pair.opening.client),
            Answer(*(pair.reference.counts or nothing), pair.opening.client),
        )
        for pair in mine
    ]


def _of_attempt(attempt: papers.Attempt) -> tuple[list[tuple[Answer, Answer]], tuple[str, ...]]:
    if attempt.marked is None:
        return [], ("the attempt is not handed in yet",)
    both = []
    for one in attempt.marked["lines"]:
        key = Answer(one["systolic_key"], one["diastolic_key"], str(one["place"]))
        both.append((Answer(one["systolic"], one["diastolic"]), key))
    return both, ()


def _attempt(taken: Sequence[tuple[papers.Paper, papers.Attempt]], wanted: str) -> tuple[papers.Paper, papers.Attempt]:
    for paper, attempt in taken:
        if attempt.id == wanted:
            return paper, attempt
    raise BadInputError("basis: must be the pairs, or one of this learner's papers since the last sign-off")


def _near(line: Mapping[str, int | None], end: str, distance: int) -> bool:
    wrote, key = line[end], line[f"{end}_key"]
    return wrote is not None and key is not None and abs(wrote - key) <= distance


def _traits(paper: papers.Paper, attempt: papers.Attempt, place: int) -> tuple[str, ...]:
    series, number = divmod(attempt.form - 1, LAST_NUMBER)
    return form(paper.seed + series, number + 1, paper.size).items[place - 1].traits


def _with_papers(
    asked: Variety | None, taken: Sequence[tuple[papers.Paper, papers.Attempt]], rule: PassRule
) -> tuple[Variety | None, Mapping[str, int]]:
    """Let papers that count show variety that live pairs rarely can: what was answered within the farthest distance."""
    if asked is None:
        return None, {}
    kinds: Counter[str] = Counter()
    far = rule.criteria[-1].within_mmhg
    for paper, attempt in taken:
        if attempt.marked is None or not attempt.counts:
            continue
        for line in attempt.marked["lines"]:
            if all(_near(line, end, far) for end in papers.ENDS):
                kinds.update(_traits(paper, attempt, line["place"]))
                kinds["from 140"] += line["systolic_key"] >= 140
                kinds["from 160"] += line["systolic_key"] >= 160
    left = Variety(
        max(0, asked.at_or_above_140 - kinds["from 140"]), max(0, asked.at_or_above_160 - kinds["from 160"]),
        asked.gap, asked.irregular, asked.faint,
    )  # fmt: skip
    return left, kinds


def _amended_rows(part: FrozenLedger, room: str) -> dict[int, list[int]]:
    found: dict[int, list[int]] = {}
    for row in part.rows(kinds=[Kind.READING_AMENDED], room=room):
        if row.body is not None:
            found.setdefault(row.body["row"], []).append(row.seq)
    return found


def _pairs_piece(mine: Sequence[pairs.Pair], amended: Mapping[int, Sequence[int]]) -> Piece:
    rows = [side.row for pair in mine for side in (pair.learner, pair.reference)]
    rows += [seq for row in rows for seq in amended.get(row, ())]
    stands: Stands = "beside" if mine else "missing"
    clients = len({pair.opening.client for pair in mine} - {""})
    sealed = sum(pair.opening.via == "pair" for pair in mine)
    says = f"{len(mine)} fair pairs, {sealed} of them sealed on devices, {clients} client codes"
    return Piece("Fair pairs", says if mine else "none so far", stands, tuple(sorted(rows)))


def _attempt_piece(paper: papers.Paper, attempt: papers.Attempt, marked: Mapping[str, int]) -> Piece:
    if attempt.marked is None:
        return Piece(f"Paper {paper.title}", "not handed in yet", "missing")
    says = f"form {attempt.form}, {attempt.how}, {'counts' if attempt.counts else 'practice'}"
    return Piece(f"Paper {paper.title}", says, "beside", (marked[attempt.id],))


def _marked_rows(part: FrozenLedger, room: str, who: str) -> dict[str, int]:
    return {str(row.ref): row.seq for row in part.rows(kinds=[Kind.PAPER_MARKED], room=room, who=who)}


def _sheet_rows(part: FrozenLedger, room: str, who: str) -> dict[tuple[str, str], int]:
    """Return the row of each assessor's latest sheet of each performance."""
    rows = standing(part, [Kind.TECHNIQUE_MARKED], room=room, who=who)
    return {(row.body["performance"], row.body["assessor"]): row.seq for row in rows if row.body is not None}


def _technique_pieces(
    watched: Sequence[technique.Performance], since: str, rows: Mapping[tuple[str, str], int]
) -> tuple[list[Piece], list[str]]:
    """Return the latest watched performance, a piece for each assessor, and the critical steps missed in it."""
    marked = [one for one in watched if one.sheets and one.begun_at >= since]
    if not marked:
        return [Piece("Technique sheet", "none since the last sign-off" if since else "none so far", "missing")], []
    pieces, failed = [], []
    for assessor, sheet in sorted(marked[0].sheets.items()):
        row = rows[marked[0].id, assessor]
        missed, unseen = sheet.steps("missed", critical=True), sheet.steps(None, critical=True)
        if missed:
            steps = "; ".join(f"{step.number} {step.short}" for step in missed)
            failed.append(f"critical steps missed in the latest technique sheet by {assessor} (row {row}): {steps}")
        done = len(sheet.steps("done"))
        says = f"{done} steps done, {len(missed)} critical missed, {len(unseen)} critical not seen"
        pieces.append(Piece(f"Technique sheet by {assessor}", says, "does not" if missed else "meets", (row,)))
    return pieces, failed


def name_in(part: FrozenLedger, room: str, who: str) -> str:
    """Return the learner's name as the rows give it; raises NotFoundError where it was erased."""
    return classes.name_of(part, room, who)
