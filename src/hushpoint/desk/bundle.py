"""An evidence bundle: one learner's record as a ZIP that a stranger can read, recompute and check without the ledger.

`rows.jsonl` holds every journal row of the evidence with salt, digest and chain; everything else but the PDF and the
read-me is made from it again by `verify_bundle`. Files are stored uncompressed and in fixed order, so that the whole
ZIP is made again too: no byte of it can change unseen.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from hushpoint import __version__
from hushpoint.desk import classes, decisions, judging, pairs, papers, technique
from hushpoint.desk.csv_file import plain_cell
from hushpoint.desk.evidence import Evidence, rows_of
from hushpoint.errors import BadInputError, HushpointError, NotFoundError
from hushpoint.ledger.chain import GENESIS, chained, payload_digest
from hushpoint.ledger.frozen import FrozenLedger
from hushpoint.ledger.records import Kind, Ledger, Row, Stored
from hushpoint.sheet.pdf import pdf

ROWS, ABOUT, MANIFEST, README, PDF = "rows.jsonl", "about.json", "manifest.json", "README.txt", "evidence.pdf"
DERIVED = ("evidence.json", "readings.csv", "marks.csv", "rules.csv")
NAMES = (README, PDF, *DERIVED, ROWS, ABOUT, MANIFEST)
FORMAT, FORMAT_VERSION = "hushpoint-evidence", 1
LARGEST_BYTES = 100_000_000
INVENTED = "INVENTED"
_INVENTED_LINE = "INVENTED data: nobody in it exists.\n\n"
_DAY = (1980, 1, 1, 0, 0, 0)
_READ_ME = """Evidence of one learner, made by Hushpoint.

evidence.pdf   to be read and printed
evidence.json  decisions, what the record showed, pairs, papers, technique sheets, appeals
readings.csv   the fair pairs as they count (an empty end was not heard), in the form of: hushpoint judge readings.csv
               --learner learner --reference reference --rule ID [--rules rules.csv]
marks.csv      every reading, answer, mark, amendment and decision, by its row of the journal
rules.csv      the whole text of every rule a decision was signed by, with its source
rows.jsonl     the rows themselves. Digest: SHA-256 of salt, a line feed and the payload. Chain: SHA-256 of the JSON
               list [chain before, seq, at, kind, version, room, who, ref, digest] as Python's json.dumps writes it
about.json     learner, class, version, and the head of the journal when this was made
manifest.json  SHA-256 of every other file

hushpoint verify BUNDLE.zip recomputes all of it without the ledger, names a row that was altered, and says of each
decision whether it follows from the evidence. hushpoint verify BUNDLE.zip --data DIR also lays it beside the ledger.
A screening and teaching aid: it speaks of ways of measuring, never of anyone's health. Keep it private.
"""


class AlteredError(HushpointError):
    """A row of the store is not as it was appended, so that what rests on it cannot be shown."""


@dataclass(slots=True)
class Checked:
    """What `verify_bundle` found: problems in one line each, and what may be said of each decision."""

    learner: str = ""
    invented: bool = False
    rows: int = 0
    erased: int = 0
    head: str = ""
    problems: list[str] = field(default_factory=list)
    altered_rows: list[int] = field(default_factory=list)
    decisions: list[dict[str, Any]] = field(default_factory=list)
    chains: dict[int, str] = field(default_factory=dict)


def bundle(ledger: Ledger, *, room: str, who: str, made_at: datetime, invented: bool = False) -> bytes:
    """Return a learner's bundle; raises NotFoundError where there is none of this class, or it was erased.

    Raises AlteredError where the store was altered so that rows cannot be understood; other alterations go into the
    bundle as they stand, for `verify_bundle` to name.
    """
    with telling_altered(ledger):
        return _bundle(ledger, room, who, made_at, invented=invented)


def _bundle(ledger: Ledger, room: str, who: str, made_at: datetime, *, invented: bool) -> bytes:
    code = classes.find_class(ledger, room).code
    name = classes.name_of(ledger, code, who)
    rows = rows_of(ledger, code, who)
    seqs = {row.seq for row in rows}
    last = ledger.last()
    kept = {one.row.seq: one for one in ledger.kept(seqs | {seq - 1 for seq in seqs} | {last})}
    stored = [kept[seq] for seq in sorted(seqs)]
    about = {
        "format": FORMAT, "version": FORMAT_VERSION, "hushpoint": __version__, "made_at": made_at.isoformat(),
        "invented": invented, "room": code, "learner": who, "journal_rows": last, "journal_head": kept[last].row.chain,
    }  # fmt: skip
    lines = [_line(one, kept[one.row.seq - 1].row.chain if one.row.seq > 1 else GENESIS) for one in stored]
    derived = _derived([one.row for one in stored], about)
    files: dict[str, bytes] = {
        README: (_INVENTED_LINE * invented + _READ_ME).encode(),
        PDF: pdf("evidence", _printed([one.row for one in stored], about, name), made_at=made_at, archival=True),
        **derived,
        ROWS: "".join(lines).encode(),
        ABOUT: _json(about),
    }
    files[MANIFEST] = _json({name: hashlib.sha256(data).hexdigest() for name, data in files.items()})
    return _zip(files)


def altered_rows(ledger: Ledger, seqs: Iterable[int]) -> list[int]:
    """Return which of these rows of the journal are not as they were appended; erased ones count as whole."""
    wanted = set(seqs)
    kept = {one.row.seq: one for one in ledger.kept(wanted | {seq - 1 for seq in wanted})}
    return [seq for seq in sorted(wanted) if seq not in kept or not _as_appended(kept[seq], kept.get(seq - 1))]


def _as_appended(one: Stored, before: Stored | None) -> bool:
    row, chain = one.row, GENESIS if before is None else before.row.chain
    said = one.text is None or one.salt is None or payload_digest(one.salt, one.text) == row.digest
    made = chained(chain, row.seq, row.at, str(row.kind), row.version, row.room, row.who, row.ref, row.digest)
    return said and made == row.chain


@contextmanager
def telling_altered(ledger: Ledger) -> Iterator[None]:
    """Where rows cannot be understood because the store was altered, raise AlteredError that names the first."""
    try:
        yield
    except (LookupError, TypeError, ValueError, AttributeError):
        found = ledger.verify()
        if found.first_altered is None:
            raise
        raise AlteredError(
            f"Row {found.first_altered} of the store is not as it was appended: {found.reason}. What rests on it "
            "cannot be shown. hushpoint verify, at the laptop, says the same."
        ) from None


def bundle_name(code: str, who: str, *, invented: bool) -> str:
    """Return what a bundle's file is called: no name in it."""
    return f"{'INVENTED-' if invented else ''}evidence-{code}-{who[:8]}.zip"


def find_learner(ledger: Ledger, typed: str, room: str = "") -> tuple[str, str]:
    """Return (class code, id) of a learner by name or id; raises NotFoundError, BadInputError where several fit."""
    wanted = " ".join(typed.split()).casefold()
    found = [
        (info.code, who)
        for info in classes.all_classes(ledger)
        if room.strip().upper() in ("", info.code)
        for who, name in classes.names_of(ledger, info.code).items()
        if wanted in (who, name.casefold())
    ]
    shown = typed[:60].encode("unicode_escape").decode()
    if not found:
        raise NotFoundError(f'learner "{shown}": nobody of this name or id is in {"the class" if room else "a class"}')
    if len(found) > 1:
        codes = ", ".join(code for code, _ in found[:8])
        raise BadInputError(f'learner "{shown}": stands in several classes ({codes}); --in CODE tells which')
    return found[0]


def verify_bundle(data: bytes) -> Checked:
    """Recompute every digest, every file and every verdict of a bundle, without the ledger."""
    found = Checked()
    files = _opened(data, found)
    if files is None:
        return found
    listed = _object(files[MANIFEST])
    for name in NAMES[:-1]:
        if listed.get(name) != hashlib.sha256(files[name]).hexdigest():
            found.problems.append(f"{name}: not as it was made")
    if len(listed) != len(NAMES) - 1:
        found.problems.append(f"{MANIFEST}: not as it was made")
    rows = _rows(files[ROWS], found)
    about = _object(files[ABOUT])
    found.head = str(about.get("journal_head", ""))
    found.invented = about.get("invented") is True
    if found.altered_rows:
        return found
    try:
        made = _derived(rows, about)
        for name in DERIVED:
            _compared(name, made[name], files[name], found)
        _decided(rows, about, found)
    except (HushpointError, LookupError, TypeError, ValueError, AttributeError, StopIteration):
        found.problems.append(f"{ROWS} or {ABOUT}: nothing can be recomputed from what they say")
    if _zip(files) != data:
        found.problems.append("the ZIP itself was altered outside its files")
    return found


def otherwise(ledger: Ledger, found: Checked) -> list[int]:
    """Return which rows of a checked bundle the ledger says otherwise."""
    stands = {one.row.seq: one.row.chain for one in ledger.kept(found.chains)}
    return [seq for seq, chain in found.chains.items() if stands.get(seq) != chain]


def _opened(data: bytes, found: Checked) -> dict[str, bytes] | None:
    """Return the files as they lie there, whatever their checksums say; None where it is no bundle."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            infos = packed.infolist()
            if [info.filename for info in infos] != list(NAMES):
                found.problems.append("the ZIP itself was altered, or is no evidence bundle: its files are others")
                return None
            return {info.filename: _raw(data, info) for info in infos}
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OverflowError, EOFError, OSError, RuntimeError):
        found.problems.append("the ZIP itself was altered, or is no evidence bundle: it cannot be opened")
        return None


def _raw(data: bytes, info: zipfile.ZipInfo) -> bytes:
    start = info.header_offset + 30 + len(info.filename.encode())
    return data[start : start + info.file_size]


def _rows(data: bytes, found: Checked) -> list[Row]:
    """Return the rows; those that are not as they were appended are named."""
    rows: list[Row] = []
    last = ""
    for number, line in enumerate(data.split(b"\n")[:-1], start=1):
        told = rows[-1].seq if rows else 0
        try:
            record = json.loads(line)
            seq, at, kind, version, room, who, ref, digest, chain = record["row"]
            salt, text = record["payload"] or (None, None)
            row = Row(
                int(seq), at, Kind(kind), version, room, who, ref, None if text is None else json.loads(text), digest,
                chain,
            )  # fmt: skip
            whole = text is None or payload_digest(str(salt), text) == digest
            whole = whole and chained(record["before"], seq, at, kind, version, room, who, ref, digest) == chain
            whole = whole and row.seq > told and (row.seq != told + 1 or not last or record["before"] == last)
            whole = whole and _bytes_of(record) == line
        except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
            _name(found, number, line)
            last = ""
            continue
        if not whole:
            _name(found, number, line)
        found.rows += 1
        found.erased += text is None
        found.chains[row.seq] = row.chain
        rows.append(row)
        last = row.chain if whole else ""
    return rows


def _name(found: Checked, number: int, line: bytes) -> None:
    """Name an altered row by its number, read from what is left of its line."""
    head = line.partition(b'"row":[')[2].partition(b",")[0]
    seq = int(head) if head.isdigit() and len(head) < 16 else 0
    found.altered_rows.append(seq)
    found.problems.append(f"{ROWS}, line {number}: row {seq or 'unreadable'} is not what was appended")


def _compared(name: str, made: bytes, given: bytes, found: Checked) -> None:
    if made == given:
        return
    pairs_of = zip(made.split(b"\n"), given.split(b"\n"), strict=False)
    line = next((number for number, (one, other) in enumerate(pairs_of, 1) if one != other), 0)
    found.problems.append(f"{name}, line {line}: does not follow from the rows")


def _decided(rows: Sequence[Row], about: Mapping[str, Any], found: Checked) -> None:
    part = FrozenLedger(rows)
    found.learner = classes.name_of(part, about["room"], about["learner"])
    gone = {row.seq for row in rows if row.body is None}
    for one in decisions.decisions_of(part, about["room"], about["learner"]):
        then = decisions.evidence_then(part, one)
        shown = one.body["shown"]
        same = (then.verdict, list(then.rows)) == (shown["verdict"], shown["rows"])
        erased = bool(gone)
        if not same and not erased:
            found.problems.append(f"row {one.row}: the record shows {then.verdict}, not {shown['verdict']}")
        found.decisions.append(
            {
                "row": one.row,
                "signed_on": one.body["signed_on"],
                "rule": one.body["rule"],
                "decision": one.now("decision"),
                "recomputed": then.verdict,
                "follows": one.competent == (then.verdict == "competent"),
                "evidence_erased_since": erased and not same,
            }
        )


def _derived(rows: Sequence[Row], about: Mapping[str, Any]) -> dict[str, bytes]:
    """Return the files that follow from the rows alone: whole numbers and words, so the same everywhere."""
    part = FrozenLedger(rows)
    room, who = about["room"], about["learner"]
    told = decisions.decisions_of(part, room, who)
    return {
        "evidence.json": _json(_as_json(part, about, told)),
        "readings.csv": _csv(_said_of_each(_readings(part, room, who), about)),
        "marks.csv": _csv(_said_of_each(_marks(rows), about)),
        "rules.csv": _csv(_rules(told)),
    }


def _said_of_each(rows: Iterator[list[Any]], about: Mapping[str, Any]) -> Iterator[list[Any]]:
    """Yield the rows of a table; where all is invented, each says so."""
    for place, row in enumerate(rows):
        yield [*row, "data" if place == 0 else INVENTED] if about["invented"] else row


def _as_json(part: FrozenLedger, about: Mapping[str, Any], told: Sequence[decisions.Decision]) -> dict[str, Any]:
    room, who = about["room"], about["learner"]
    mine = pairs.book_of(part, room).of(who)
    return {
        "about": dict(about),
        "name": classes.name_of(part, room, who),
        "decisions": [
            {
                "row": one.row,
                "at": one.at,
                **one.body,
                "stands": {name: one.now(name) for name in decisions.AMENDABLE},
                "amendments": [_slots(each) for each in one.amendments],
                "appeals": [_slots(each) for each in one.appeals],
                "recomputed": _shown(decisions.evidence_then(part, one)),
            }
            for one in told
        ],
        "pairs": [
            {
                "pair": pair.id, "number": pair.number, "state": pair.state, "fair": pair.fair,
                "unfair_because": pair.opening.unfair, "set_aside_because": pair.why_cancelled,
                "opening": _slots(pair.opening), "learner": _side(pair.learner), "reference": _side(pair.reference),
            }
            for pair in mine
        ],
        "papers": [
            {
                "paper": paper.id, "title": paper.title, "attempt": attempt.id, "form": attempt.form,
                "begun_at": attempt.begun_at, "how": attempt.how, "counts": attempt.counts, "marked": attempt.marked,
            }
            for paper in papers.papers_of(part, room)
            for attempt in paper.of(who)
        ],
        "technique": [
            {"performance": one.id, "begun_at": one.begun_at, "sheets": [_slots(each) for each in one.sheets.values()]}
            for one in technique.performances(part, room, learner=who)
        ],
        "caution": judging.CAUTION,
    }  # fmt: skip


def _shown(then: Evidence) -> dict[str, Any]:
    return {
        "verdict": then.verdict,
        "reasons": list(then.reasons),
        "missing": list(then.missing),
        "pieces": [_slots(piece) for piece in then.pieces],
    }


def _side(side: pairs.Side) -> dict[str, Any]:
    return {**_slots(side), "corrections": [_slots(one) for one in side.corrections], "counts": side.counts}


def _slots(value: Any) -> dict[str, Any]:
    return {name: getattr(value, name) for name in value.__dataclass_fields__}


def _readings(part: FrozenLedger, room: str, who: str) -> Iterator[list[Any]]:
    yield ["measurement", "observer", "systolic", "diastolic", "client", "gauge", "at", "row"]
    for pair in pairs.fair_pairs(part, room, who):
        opening = pair.opening
        for observer, side in (("learner", pair.learner), ("reference", pair.reference)):
            upper, lower = side.counts or (None, None)
            at = opening.taken_at or pair.opened_at
            written = (plain_cell(opening.client), plain_cell(opening.gauge))
            yield [pair.id, observer, upper, lower, *written, at, side.row]


def _marks(rows: Sequence[Row]) -> Iterator[list[Any]]:
    yield ["row", "at", "kind", "of", "systolic", "diastolic", "what"]
    for row in rows:
        body = row.body
        if body is None:
            yield [row.seq, row.at, row.kind, row.who, "", "", "erased on request"]
        elif row.kind is Kind.TECHNIQUE_MARKED:
            for step in sorted({*body["marks"], *body["notes"]}):
                mark, note = body["marks"].get(step, "not seen"), body["notes"].get(step, "")
                yield [
                    row.seq,
                    row.at,
                    row.kind,
                    body["assessor"],
                    "",
                    "",
                    f"{step}: {mark}{'; ' + note if note else ''}",
                ]
        elif row.kind is Kind.PAPER_MARKED:
            for line in body["lines"]:
                key = f"form {body['form']}, {line['place']}: key {line['systolic_key']}/{line['diastolic_key']}"
                yield [row.seq, row.at, row.kind, row.who, line["systolic"], line["diastolic"], key]
        elif row.kind in _IN_MARKS:
            what = {name: value for name, value in body.items() if name not in ("systolic", "diastolic", "rule_text")}
            told = json.dumps(what, sort_keys=True, ensure_ascii=False)
            of = body.get("observer", row.who)
            yield [row.seq, row.at, row.kind, of, body.get("systolic"), body.get("diastolic"), told]


_IN_MARKS = frozenset(
    {
        Kind.PAIR_SEALED, Kind.PAIR_CANCELLED, Kind.READING_TAKEN, Kind.READING_AMENDED, Kind.PAPER_ANSWERED,
        Kind.DECISION_SIGNED, Kind.DECISION_AMENDED, Kind.DECISION_APPEALED, Kind.KIT_CHECKED,
    }
)  # fmt: skip


def _rules(told: Sequence[decisions.Decision]) -> list[list[Any]]:
    """Return the rules decisions were signed by, each once, under the heading of the shipped file."""
    rows: list[list[Any]] = []
    for one in told:
        for cells in csv.reader(io.StringIO(one.body["rule_text"], newline="")):
            if cells not in rows:
                rows.append(cells)
    return rows


def _printed(rows: Sequence[Row], about: Mapping[str, Any], name: str) -> dict[str, Any]:
    part = FrozenLedger(rows)
    room, who = about["room"], about["learner"]
    told = decisions.decisions_of(part, room, who)
    info = classes.find_class(part, room)
    mine = pairs.book_of(part, room).of(who)
    return {
        "name": name,
        "class": f"{info.name} ({info.code})",
        "learner": who,
        "made": str(about["made_at"])[:16].replace("T", " "),
        "version": __version__,
        "head": about["journal_head"],
        "journal_rows": about["journal_rows"],
        "invented": about["invented"],
        "caution": judging.CAUTION,
        "decisions": [_decision_printed(part, one) for one in told],
        "pairs": [_pair_printed(pair) for pair in mine],
        "papers": [
            [paper.title, attempt.begun_at[:10], str(attempt.form), "yes" if attempt.counts else "no",
             "; ".join(attempt.marked["reasons"]) if attempt.marked else "not handed in"]
            for paper in papers.papers_of(part, room)
            for attempt in paper.of(who)
        ],
        "sheets": [
            [one.begun_at[:10], sheet.assessor, str(len(sheet.steps("done"))),
             ", ".join(f"{step.number} {step.short}" for step in sheet.steps("missed")) or "none",
             sheet.overall or "none"]
            for one in technique.performances(part, room, learner=who)
            for sheet in one.sheets.values()
        ],
    }  # fmt: skip


def _decision_printed(part: FrozenLedger, one: decisions.Decision) -> dict[str, Any]:
    body, then, rule = one.body, decisions.evidence_then(part, one), one.rule
    conditions = (decisions.SETTINGS[one.now("setting")], one.now("noise"), one.now("place"))
    facts = [
        ("Signed", f"{body['signed_on']}, row {one.row}, by {body['assessor']} {one.now('credential')}".strip()),
        ("Rule", f"{rule.name}: {rule.text}. {rule.source} ({rule.provenance}); {rule.note}"),
        ("Judged on", "fair pairs" if body["basis"] == "pairs" else f"listening paper, attempt {body['basis']}"),
        ("Attempt", str(body["attempt"])),
        ("Conditions", ", ".join(filter(None, conditions))),
        ("Adjustment", one.now("adjustment") or "none"),
        ("Second assessor", f"{one.now('second_assessor') or 'none'} {one.now('second_says')}".strip()),
        ("Identity checked", "yes" if body["identity_checked"] else "not said"),
        ("Learner declares own work", "yes" if body["learner_declares"] else "not said"),
        ("Feedback", one.now("feedback_on") or "not yet"),
        ("Current until", body["current_until"] or "not signed competent"),
        ("Keep until", body["retain_until"]),
    ]  # fmt: skip
    shown = judging.SHOWN[then.verdict]
    return {
        "decision": decisions.DECISIONS[one.now("decision")],
        "reasons": one.now("reasons"),
        "against": one.against,
        "shown": f"{shown[0].upper()}{shown[1:]}",
        "why": [*then.reasons, *(f"missing: {each}" for each in then.missing)],
        "facts": [list(each) for each in facts],
        "pieces": [[piece.what, piece.says, _ranges(piece.rows)] for piece in then.pieces],
        "later": [
            *(f"{each.at[:10]}, row {each.row}: {each.field} amended from “{each.old}” to “{each.new}” by {each.by}: "
              f"{each.why}" for each in one.amendments),
            *(f"{each.at[:10]}, row {each.row}: appeal by {each.by}, {decisions.OUTCOMES[each.outcome]}: {each.grounds}"
              for each in one.appeals),
        ],
    }  # fmt: skip


def _pair_printed(pair: pairs.Pair) -> list[str]:
    def numbers(side: pairs.Side) -> str:
        if side.written is None:
            return "not in"
        first = _written(side.written)
        return first + "".join(f" → {_written(one.numbers)} ({one.by})" for one in side.corrections)

    gap = " / ".join(
        "—" if end is None else "0" if end == 0 else f"{end:+d}".replace("-", "\N{MINUS SIGN}")
        for end in pairs.difference(pair)
    )
    why = pair.opening.unfair or pair.why_cancelled or ("fair" if pair.fair else "open")
    return [
        str(pair.number), (pair.opening.taken_at or pair.opened_at)[:10], pair.opening.client or "—",
        numbers(pair.learner), numbers(pair.reference), gap, why, f"{pair.learner.row}, {pair.reference.row}",
    ]  # fmt: skip


def _written(numbers: pairs.Numbers) -> str:
    return "/".join("not heard" if end is None else str(end) for end in numbers)


def _ranges(rows: Sequence[int]) -> str:
    return ", ".join(map(str, rows)) or "none"


def _line(one: Stored, before: str) -> str:
    row = one.row
    record = {
        "row": [row.seq, row.at, str(row.kind), row.version, row.room, row.who, row.ref, row.digest, row.chain],
        "before": before,
        "payload": None if one.text is None else [one.salt, one.text],
    }
    return _bytes_of(record).decode() + "\n"


def _bytes_of(record: Mapping[str, Any]) -> bytes:
    return json.dumps(record, ensure_ascii=True, separators=(",", ":")).encode()


def _json(value: Mapping[str, Any]) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()


def _object(data: bytes) -> dict[str, Any]:
    try:
        value = json.loads(data)
    except (ValueError, RecursionError):
        return {}
    return value if isinstance(value, dict) else {}


def _csv(rows: Iterator[list[Any]] | list[list[Any]]) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()


def _zip(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as packed:
        for name in NAMES:
            info = zipfile.ZipInfo(name, _DAY)
            info.external_attr = 0o600 << 16
            packed.writestr(info, files[name])
    return out.getvalue()
