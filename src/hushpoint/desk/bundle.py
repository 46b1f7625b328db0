"""An evidence bundle: one learner's record as a ZIP that a stranger can read, recompute and check without the ledger.

`rows.jsonl` holds every journal row of the evidence with salt, digest and chain; every other file but the read-me
follows from it and from `about.json`. Files are stored uncompressed and in fixed order, so that no byte of the ZIP can
change unseen. How a bundle is checked, also years later by another version: `desk.bundle_check`; the format, for
auditors: docs/bundle-format.md.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import struct
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

import hushpoint
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
FORMAT, FORMAT_VERSION = "hushpoint-evidence", 2
"""A new version where a file, a field that is compared, or its meaning is another; wordings may change without."""
LARGEST_BYTES = 100_000_000
INVENTED = "INVENTED"
_DAY, _UNIX = 1 << 5 | 1, 3
"""1 January 1980 as a ZIP writes a day; the system that a file's rights are told in."""
_INVENTED_LINE = "INVENTED data: nobody in it exists.\n\n"
_READ_ME = """Evidence of one learner, made by Hushpoint.

evidence.pdf   to be read and printed
evidence.json  decisions, what the record showed, pairs, papers, technique sheets, appeals
readings.csv   the fair pairs as they count (an empty end was not heard), in the form of: hushpoint judge readings.csv
               --learner learner --reference reference --rule ID [--rules rules.csv]
marks.csv      every reading, answer, mark, amendment and decision, by its row of the journal
rules.csv      the whole text of every rule a decision was signed by, with its source
rows.jsonl     the rows themselves. Digest: SHA-256 of salt, a line feed and the payload. Chain: SHA-256 of the JSON
               list [chain before, seq, at, kind, version, room, who, ref, digest] as Python's json.dumps writes it
about.json     learner, class, format, version, and the head of the journal when this was made
manifest.json  SHA-256 of every other file, as sha256sum prints them

hushpoint verify BUNDLE.zip recomputes all of it without the ledger, names a row that was altered, and says of each
decision whether it follows from the evidence. hushpoint verify BUNDLE.zip --data DIR also lays it beside the ledger.
A later version compares the figures and verdicts, and says so; every version checks every byte against the manifest.
A screening and teaching aid: it speaks of ways of measuring, never of anyone's health. Keep it private.
"""


class AlteredError(HushpointError):
    """A row of the store is not as it was appended, so that what rests on it cannot be shown."""


def bundle(ledger: Ledger, *, room: str, who: str, made_at: datetime, invented: bool = False) -> bytes:
    """Return a learner's bundle; raises NotFoundError where there is none of this class, or it was erased.

    Raises AlteredError where the store was altered so that rows cannot be understood; other alterations go into the
    bundle as they stand, for `verify_bundle` to name.
    """
    with telling_altered(ledger):
        return _bundle(ledger, room, who, made_at, invented=invented)


def _bundle(ledger: Ledger, room: str, who: str, made_at: datetime, *, invented: bool) -> bytes:
    code = classes.find_class(ledger, room).code
    classes.name_of(ledger, code, who)
    rows = rows_of(ledger, code, who)
    seqs = {row.seq for row in rows}
    last = ledger.last()
    kept = {one.row.seq: one for one in ledger.kept(seqs | {seq - 1 for seq in seqs} | {last})}
    stored = [kept[seq] for seq in sorted(seqs)]
    about = {
        "format": FORMAT, "version": FORMAT_VERSION, "hushpoint": hushpoint.__version__, "made_at": made_at.isoformat(),
        "invented": invented, "room": code, "learner": who, "journal_rows": last, "journal_head": kept[last].row.chain,
        "build": build(), "printed_with": printed_with(),
    }  # fmt: skip
    lines = [_line(one, kept[one.row.seq - 1].row.chain if one.row.seq > 1 else GENESIS) for one in stored]
    derived = derived_files([one.row for one in stored], about)
    files: dict[str, bytes] = {
        README: (_INVENTED_LINE * invented + _READ_ME).encode(),
        PDF: printed([one.row for one in stored], about),
        **derived,
        ROWS: "".join(lines).encode(),
        ABOUT: json_bytes(about),
    }
    files[MANIFEST] = json_bytes({name: hashlib.sha256(data).hexdigest() for name, data in files.items()})
    return zipped(files)


@cache
def build() -> str:
    """Return what tells one build of the program from another of the same version: a digest of its files."""
    here = Path(hushpoint.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(here.rglob("*")):
        if path.suffix in (".py", ".csv", ".json", ".typ"):
            digest.update(path.relative_to(here).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


def printed_with() -> dict[str, str]:
    """Return the versions of what sets the PDF: with others the same page is other bytes."""
    return {name: metadata.version(name) for name in ("typst", "matplotlib")}


def altered_rows(ledger: Ledger, seqs: Iterable[int]) -> list[int]:
    """Return which of these rows of the journal are not as they were appended; erased ones count as whole."""
    wanted = set(seqs)
    kept = {one.row.seq: one for one in ledger.kept(wanted | {seq - 1 for seq in wanted}, read=False)}
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


def derived_files(rows: Sequence[Row], about: Mapping[str, Any]) -> dict[str, bytes]:
    """Return the files that follow from the rows alone: whole numbers and words, so the same everywhere."""
    part = FrozenLedger(rows)
    room, who = about["room"], about["learner"]
    told = decisions.decisions_of(part, room, who)
    return {
        "evidence.json": json_bytes(_as_json(part, about, told)),
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
        "rows": list(then.rows),
        "figures": None if then.found is None else {
            "counts": [_slots(count) for count in then.found.counts], "coverage": _slots(then.found.coverage),
        },
    }  # fmt: skip


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
    yield ["row", "at", "kind", "of", "systolic", "diastolic", "place", "mark", "systolic_key", "diastolic_key", "what"]
    for row in rows:
        body, head = row.body, [row.seq, row.at, row.kind]
        if body is None:
            yield [*head, row.who, *[""] * 6, "erased on request"]
        elif row.kind is Kind.TECHNIQUE_MARKED:
            for step in sorted({*body["marks"], *body["notes"]}):
                mark, note = body["marks"].get(step, "not seen"), body["notes"].get(step, "")
                what = f"{step}: {mark}{'; ' + note if note else ''}"
                yield [*head, body["assessor"], "", "", step, mark, "", "", what]
        elif row.kind is Kind.PAPER_MARKED:
            for line in body["lines"]:
                key = f"form {body['form']}, {line['place']}: key {line['systolic_key']}/{line['diastolic_key']}"
                keys = (line["systolic_key"], line["diastolic_key"])
                yield [*head, row.who, line["systolic"], line["diastolic"], line["place"], "", *keys, key]
        elif row.kind in _IN_MARKS:
            rest = {name: value for name, value in body.items() if name not in ("systolic", "diastolic", "rule_text")}
            told = json.dumps(rest, sort_keys=True, ensure_ascii=False)
            of = body.get("observer", row.who)
            yield [*head, of, body.get("systolic"), body.get("diastolic"), *[""] * 4, told]


_IN_MARKS = frozenset(
    {
        Kind.PAIR_SEALED, Kind.PAIR_CANCELLED, Kind.READING_TAKEN, Kind.READING_AMENDED, Kind.PAPER_ANSWERED,
        Kind.DECISION_SIGNED, Kind.DECISION_AMENDED, Kind.DECISION_APPEALED, Kind.KIT_CHECKED, Kind.ACT_UNDONE,
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


def printed(rows: Sequence[Row], about: Mapping[str, Any]) -> bytes:
    """Return the PDF that follows from the rows."""
    made_at = datetime.fromisoformat(about["made_at"])
    return pdf("evidence", _printed(rows, about), made_at=made_at, archival=True)


def _printed(rows: Sequence[Row], about: Mapping[str, Any]) -> dict[str, Any]:
    part = FrozenLedger(rows)
    room, who = about["room"], about["learner"]
    told = decisions.decisions_of(part, room, who)
    info = classes.find_class(part, room)
    mine = pairs.book_of(part, room).of(who)
    return {
        "name": classes.name_of(part, room, who),
        "class": f"{info.name} ({info.code})",
        "learner": who,
        "made": str(about["made_at"])[:16].replace("T", " "),
        "version": about["hushpoint"],
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
    return line_bytes(record).decode() + "\n"


def line_bytes(record: Mapping[str, Any]) -> bytes:
    """Return a line of ROWS, without its end, as it was written."""
    return json.dumps(record, ensure_ascii=True, separators=(",", ":")).encode()


def json_bytes(value: Mapping[str, Any]) -> bytes:
    """Return a JSON file of a bundle."""
    return (json.dumps(value, ensure_ascii=False, indent=1, sort_keys=True) + "\n").encode()


def _csv(rows: Iterator[list[Any]] | list[list[Any]]) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Return the ZIP of files with ASCII names, stored in order, every field of its frame fixed (APPNOTE 6.3, 4.3).

    Written by hand since `zipfile` fills in fields by platform and version: a bundle must be made again years later.
    """
    made, listed = bytearray(), bytearray()
    for name, data in files.items():
        told = struct.pack("<5H3L2H", 20, 0, 0, 0, _DAY, zlib.crc32(data), len(data), len(data), len(name), 0)
        place = struct.pack("<3H2L", 0, 0, 0, 0o600 << 16, len(made))
        listed += b"PK\1\2" + struct.pack("<2B", 20, _UNIX) + told + place + name.encode("ascii")
        made += b"PK\3\4" + told + name.encode("ascii") + data
    end = struct.pack("<4H2LH", 0, 0, len(files), len(files), len(listed), len(made), 0)
    return bytes(made + listed) + b"PK\5\6" + end
