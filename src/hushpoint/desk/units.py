"""Units of competency: an institution's criteria and volumes as a file, and which evidence of a learner meets which."""

from __future__ import annotations

from dataclasses import dataclass

from hushpoint.desk import decisions, pairs, papers, technique
from hushpoint.desk.csv_file import own_file
from hushpoint.desk.standing import standing
from hushpoint.guideline.tables import TableRow, table_rows
from hushpoint.guideline.technique_steps import technique_steps
from hushpoint.ledger.frozen import FrozenLedger
from hushpoint.ledger.records import Entry, Kind, Ledger

COLUMNS = ("criterion", "text", "evidence", "least", "setting", "source", "unit", "title")
EVIDENCE = {
    "pairs": "fair pairs",
    "clients": "client codes measured in fair pairs",
    "from_140": "fair pairs with a reference systolic at or above 140",
    "from_160": "fair pairs with a reference systolic at or above 160",
    "papers": "listening papers that count and met their rule",
    "sheets": "technique sheets without a critical step missed",
    "decisions": "decisions signed competent that stand",
    "lecturer": "for the lecturer to see",
}
"""What a criterion may ask, besides step:ID, a step of the technique sheet seen done."""
_ONE = {
    "pairs": "fair pair",
    "clients": "client code measured in fair pairs",
    "from_140": "fair pair with a reference systolic at or above 140",
    "from_160": "fair pair with a reference systolic at or above 160",
    "papers": "listening paper that counts and met its rule",
    "sheets": "technique sheet without a critical step missed",
    "decisions": "decision signed competent that stands",
}
SETTINGS = ("any", "live", "simulated")
LARGEST_BYTES = 200_000


@dataclass(frozen=True, slots=True)
class Criterion:
    """One line of a unit: at least so many of a kind of evidence; `setting` holds for decisions."""

    id: str
    text: str
    evidence: str
    least: int
    setting: str
    source: str

    @property
    def asked(self) -> str:
        """What is asked, in words."""
        if self.evidence.startswith("step:"):
            return f"{self.least} {'sheet' if self.least == 1 else 'sheets'} with this step done"
        if self.evidence == "lecturer":
            return "seen by the lecturer"
        return f"{self.least} {(_ONE if self.least == 1 else EVIDENCE)[self.evidence]}"


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of competency as adopted; `id` is code and release."""

    id: str
    title: str
    criteria: tuple[Criterion, ...]


@dataclass(frozen=True, slots=True)
class Met:
    """One criterion with what there is: `have` None where only the lecturer can say; the journal rows it rests on."""

    criterion: Criterion
    have: int | None
    rows: tuple[int, ...]

    @property
    def says(self) -> str:
        """Met, or what is missing."""
        if self.have is None:
            return "for the lecturer to see"
        if self.have >= self.criterion.least:
            return "met"
        return f"missing: {self.criterion.least - self.have} more of {self.criterion.least}"


def parse_unit(data: bytes, file_name: str) -> tuple[Unit, str]:
    """Return a unit and its text; raises CsvFileError, one line with row, column and legal range."""
    return own_file(data, file_name, _unit, largest_bytes=LARGEST_BYTES)


def adopt(ledger: Ledger, data: bytes, name: str) -> Unit:
    """Keep a unit; a later one of the same id takes its place."""
    unit, text = parse_unit(data, name)
    ledger.append(Entry(Kind.UNIT_ADOPTED, {"id": unit.id, "text": text}))
    return unit


def known_units(ledger: Ledger) -> dict[str, Unit]:
    """Return the adopted units by id."""
    rows = standing(ledger, [Kind.UNIT_ADOPTED])
    return {row.body["id"]: _unit(row.body["text"], row.body["id"]) for row in rows if row.body is not None}


def matrix(part: FrozenLedger, room: str, who: str, unit: Unit) -> list[Met]:
    """Return which evidence of a learner meets which criterion, and what is missing."""
    return [_met(part, room, who, criterion) for criterion in unit.criteria]


def _met(part: FrozenLedger, room: str, who: str, criterion: Criterion) -> Met:
    kind = criterion.evidence
    if kind == "lecturer":
        return Met(criterion, None, ())
    if kind in ("pairs", "clients", "from_140", "from_160"):
        return _of_pairs(pairs.fair_pairs(part, room, who), criterion)
    if kind == "papers":
        marked = {str(row.ref): row.seq for row in part.rows(kinds=[Kind.PAPER_MARKED], room=room, who=who)}
        met = [
            marked[attempt.id]
            for paper in papers.papers_of(part, room)
            for attempt in paper.of(who)
            if attempt.counts and attempt.marked is not None and attempt.marked["verdict"] == "met"
        ]
        return Met(criterion, len(met), tuple(sorted(met)))
    if kind == "decisions":
        signed = [
            one.row
            for one in decisions.decisions_of(part, room, who)
            if one.competent and criterion.setting in ("any", one.now("setting").replace("both", criterion.setting))
        ]
        return Met(criterion, len(signed), tuple(signed))
    sheets = [sheet for one in technique.performances(part, room, learner=who) for sheet in one.sheets.values()]
    step = kind.removeprefix("step:")
    if kind == "sheets":
        good = [sheet.at for sheet in sheets if not sheet.steps("missed", critical=True)]
    else:
        good = [sheet.at for sheet in sheets if sheet.marks.get(step) == "done"]
    rows = [row.seq for row in standing(part, [Kind.TECHNIQUE_MARKED], room=room, who=who) if row.at in good]
    return Met(criterion, len(good), tuple(rows))


def _of_pairs(mine: tuple[pairs.Pair, ...], criterion: Criterion) -> Met:
    edge = {"from_140": 140, "from_160": 160}.get(criterion.evidence, 0)
    used = [pair for pair in mine if pair.reference.counts and (pair.reference.counts[0] or 0) >= edge]
    codes = {pair.opening.client for pair in used} - {""}
    rows = tuple(sorted(side.row for pair in used for side in (pair.learner, pair.reference)))
    return Met(criterion, len(codes) if criterion.evidence == "clients" else len(used), rows)


def _unit(text: str, name: str) -> Unit:
    rows = table_rows(text, name, COLUMNS)
    ids = {row.text("unit") for row in rows}
    if len(ids) > 1:
        raise rows[-1].refuse("unit", "the same in every row: one unit a file")
    return Unit(ids.pop(), rows[0].text("title"), tuple(_criterion(row) for row in rows))


def _criterion(row: TableRow) -> Criterion:
    evidence = row.text("evidence")
    if evidence not in EVIDENCE and evidence not in {f"step:{step.id}" for step in technique_steps()}:
        raise row.refuse("evidence", f"one of {', '.join(EVIDENCE)}, or step: and a step's id")
    least = row.number("least", 1, 1000)
    if not least.is_integer():
        raise row.refuse("least", "a whole number from 1 to 1000")
    return Criterion(
        row.text("criterion"),
        row.text("text"),
        evidence,
        int(least),
        row.one_of("setting", SETTINGS),
        row.text("source"),
    )
