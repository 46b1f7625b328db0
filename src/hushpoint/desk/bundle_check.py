"""Checking an evidence bundle without the ledger, also years later and by another version of the program.

Two questions, answered apart. *Is it as it was made?* The manifest's digests, the rows' digests and chains and the
ZIP's own frame have one exact answer that no version changes. *Do its conclusions follow from its rows?* They are made
again by the running version. By the very build that made the bundle every byte must be the same; by any other the
figures, verdicts, row numbers and codes must be (`FIELDS`), while wordings may differ and further fields may stand
beside them: both are told, none is called altered. The format, for auditors: docs/bundle-format.md.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import hushpoint
from hushpoint.desk import classes, decisions
from hushpoint.desk.bundle import (
    ABOUT,
    DERIVED,
    FORMAT,
    FORMAT_VERSION,
    MANIFEST,
    NAMES,
    PDF,
    ROWS,
    build,
    derived_files,
    line_bytes,
    printed,
    printed_with,
    zipped,
)
from hushpoint.errors import HushpointError
from hushpoint.ledger.chain import chained, payload_digest
from hushpoint.ledger.frozen import FrozenLedger
from hushpoint.ledger.records import Kind, Ledger, Row

_SIDE = ("observer", "written", "ref", "at", "row", "corrections", "counts")
_CORRECTION = ("numbers", "by", "why", "at")
FIELDS: Mapping[int, Mapping[str, Sequence[str]]] = {
    1: {
        "evidence.json": ("about", "name", "decisions", "pairs", "papers", "technique", "caution"),
        "decisions[]": ("row", "at", "stands", "amendments", "appeals", "recomputed"),
        "decisions[].stands": (
            "decision", "reasons", "setting", "noise", "place", "adjustment", "credential",
            "second_assessor", "second_says", "feedback_on",
        ),
        "decisions[].amendments[]": ("row", "at", "field", "old", "new", "by", "why"),
        "decisions[].appeals[]": ("row", "at", "by", "grounds", "outcome"),
        "decisions[].recomputed": ("verdict", "reasons", "missing", "pieces"),
        "decisions[].recomputed.pieces[]": ("what", "says", "stands", "rows"),
        "pairs[]": (
            "pair", "number", "state", "fair", "unfair_because", "set_aside_because", "opening",
            "learner", "reference",
        ),
        "pairs[].opening": (
            "learner", "reference", "same_inflation", "two_gauges", "gauge", "reference_gauge", "cuff",
            "stethoscope", "client", "arm", "taken_at", "via", "label",
        ),
        "pairs[].learner": _SIDE,
        "pairs[].reference": _SIDE,
        "pairs[].learner.corrections[]": _CORRECTION,
        "pairs[].reference.corrections[]": _CORRECTION,
        "papers[]": ("paper", "title", "attempt", "form", "begun_at", "how", "counts", "marked"),
        "technique[]": ("performance", "begun_at", "sheets"),
        "technique[].sheets[]": ("assessor", "marks", "notes", "overall", "at", "again"),
        "readings.csv": (
            "measurement", "observer", "systolic", "diastolic", "client", "gauge", "at", "row",
        ),
        "marks.csv": ("row", "at", "kind", "of", "systolic", "diastolic", "what"),
    },
    2: {
        "decisions[].recomputed": ("rows", "figures"),
        "decisions[].recomputed.figures": ("counts", "coverage"),
        "decisions[].recomputed.figures.counts[]": ("end", "within_mmhg", "found", "n", "needed"),
        "decisions[].recomputed.figures.coverage": (
            "systolic_mmhg", "diastolic_mmhg", "at_or_above_140", "at_or_above_160",
        ),
        "marks.csv": ("place", "mark", "systolic_key", "diastolic_key"),
    },
}  # fmt: skip
"""The fields of each format version, those of the earlier ones included; a decision also has every field of its row.

An object that is not named here is a row's own: it has those fields and no others.
"""
WORDED = frozenset(
    {
        "caution", "decisions[].recomputed.reasons[]", "decisions[].recomputed.missing[]",
        "decisions[].recomputed.pieces[].what", "decisions[].recomputed.pieces[].says", "pairs[].unfair_because",
    }
)  # fmt: skip
"""Texts that the program words: another version may word them otherwise."""
MOST_NOTES, MOST_NAMES = 5, 12
"""So many wordings with other numbers are told in full, and so many fields named that are not known."""
_LONGEST_SHOWN = 60
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_KINDS = frozenset(Kind)


@dataclass(slots=True)
class Checked:
    """What `verify_bundle` found.

    `altered` names what is not as it was made, `unfounded` what does not follow from the rows, a line each; `notes` say
    what was not compared and why. `decisions` tell what may be said of each.
    """

    learner: str = ""
    invented: bool = False
    rows: int = 0
    erased: int = 0
    head: str = ""
    made_by: str = ""
    format: int = 0
    altered: list[str] = field(default_factory=list)
    unfounded: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    altered_rows: list[int] = field(default_factory=list)
    decisions: list[dict[str, Any]] = field(default_factory=list)
    chains: dict[int, str] = field(default_factory=dict)

    @property
    def problems(self) -> list[str]:
        """Everything that is wrong, first what was altered."""
        return self.altered + self.unfounded

    def as_json(self) -> dict[str, Any]:
        """The object that `hushpoint verify BUNDLE --json` prints (docs/evidence.md)."""
        return {
            "whole": not self.problems, "invented": self.invented, "rows": self.rows, "erased": self.erased,
            "altered_rows": self.altered_rows, "problems": self.problems, "altered": self.altered,
            "does_not_follow": self.unfounded, "notes": self.notes, "decisions": self.decisions, "head": self.head,
            "format": self.format, "made_by": self.made_by, "checked_by": hushpoint.__version__,
        }  # fmt: skip


def verify_bundle(data: bytes) -> Checked:
    """Recompute every digest, every figure and every verdict of a bundle, without the ledger."""
    found = Checked()
    files = _opened(data, found)
    if files is None:
        return found
    about = _object(files[ABOUT])
    version = about.get("version")
    told = about.get("format") == FORMAT and type(version) is int and version > 0
    found.format = version if told and version else FORMAT_VERSION
    found.made_by = str(about.get("hushpoint", ""))[:_LONGEST_SHOWN]
    found.head = str(about.get("journal_head", ""))
    found.invented = about.get("invented") is True
    _as_listed(files, found)
    if zipped(files) != data:
        found.altered.append("the ZIP itself was altered outside its files")
    same_build = (found.format, found.made_by, about.get("build")) == (FORMAT_VERSION, hushpoint.__version__, build())
    rows, unknown = _rows(files[ROWS], found)
    if found.altered_rows:
        return found
    if unknown and same_build:
        found.unfounded.append(f"{ROWS}: row {unknown[0]} is of a kind that this very build does not know")
    if not same_build:
        found.notes.append(_other_maker(found))
    if unknown and not same_build:
        found.notes.append(f"rows of kinds that this version does not know, whole but not looked at: {len(unknown)}")
    if further := [name[:_LONGEST_SHOWN] for name in files if name not in NAMES]:
        found.notes.append(f"files that this version does not know, whole but not looked at: {', '.join(further)}")
    try:
        made = derived_files(rows, about)
        for name in DERIVED:
            _compared(name, made[name], files[name], rows, found, exact=same_build)
        _decided(rows, about, found)
        if same_build and not found.problems:
            _printed_alike(rows, about, files[PDF], found)
    except (HushpointError, LookupError, TypeError, ValueError, AttributeError, StopIteration):
        found.unfounded.append(
            f"{ROWS} or {ABOUT}: nothing can be recomputed from what they say"
            if found.format <= FORMAT_VERSION
            else f"format {found.format} is newer than this version reads ({FORMAT_VERSION}): take version "
            f"{found.made_by} or a later one to recompute it"
        )
    return found


def otherwise(ledger: Ledger, found: Checked) -> list[int]:
    """Return which rows of a checked bundle the ledger says otherwise."""
    stands = {one.row.seq: one.row.chain for one in ledger.kept(found.chains)}
    return [seq for seq, chain in found.chains.items() if stands.get(seq) != chain]


def _other_maker(found: Checked) -> str:
    """Say by whom it was made and what was therefore not compared."""
    here = hushpoint.__version__
    if found.format != FORMAT_VERSION:
        maker = f"version {found.made_by} in format {found.format}, checked by {here} with format {FORMAT_VERSION}"
    elif found.made_by != here:
        maker = f"version {found.made_by}, checked by {here}"
    else:
        maker = f"another build of version {here}"
    return f"made by {maker}: wordings and the PDF were not compared; figures were"


def _opened(data: bytes, found: Checked) -> dict[str, bytes] | None:
    """Return the files as they lie there, whatever their checksums say; None where it is no bundle."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            files = {info.filename: _raw(data, info) for info in packed.infolist()}
            names = [info.filename for info in packed.infolist()]
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OverflowError, EOFError, OSError, RuntimeError):
        found.altered.append("the ZIP itself was altered, or is no evidence bundle: it cannot be opened")
        return None
    newer = set(NAMES) <= set(names) and _object(files[ABOUT]).get("version") not in (*FIELDS,)
    if names != list(NAMES) and not (newer and len(names) == len(files) and "".join(names).isascii()):
        found.altered.append("the ZIP itself was altered, or is no evidence bundle: its files are others")
        return None
    return files


def _raw(data: bytes, info: zipfile.ZipInfo) -> bytes:
    start = info.header_offset + 30 + len(info.filename.encode())
    return data[start : start + info.file_size]


def _as_listed(files: Mapping[str, bytes], found: Checked) -> None:
    """Name the files that are not those whose digests the manifest lists."""
    listed = _object(files[MANIFEST])
    others = [name for name in files if name != MANIFEST]
    for name in others:
        if listed.get(name) != hashlib.sha256(files[name]).hexdigest():
            found.altered.append(f"{name}: not as it was made")
    if listed.keys() != set(others):
        found.altered.append(f"{MANIFEST}: not as it was made")
    about = _object(files[ABOUT])
    if about.get("format") != FORMAT or type(about.get("version")) is not int:
        found.altered.append(f"{ABOUT}: tells no format of an evidence bundle")


def _rows(data: bytes, found: Checked) -> tuple[list[Row], list[int]]:
    """Return the rows of known kinds and the numbers of the others; those not as they were appended are named."""
    rows: list[Row] = []
    unknown: list[int] = []
    last, told = "", 0
    for number, line in enumerate(data.split(b"\n")[:-1], start=1):
        try:
            record = json.loads(line)
            seq, at, kind, version, room, who, ref, digest, chain = record["row"]
            salt, text = record["payload"] or (None, None)
            body = None if text is None else json.loads(text)
            whole = text is None or payload_digest(str(salt), text) == digest
            whole = whole and chained(record["before"], seq, at, kind, version, room, who, ref, digest) == chain
            whole = whole and seq > told and (seq != told + 1 or not last or record["before"] == last)
            whole = whole and line_bytes(record) == line
            told, known = int(seq), kind in _KINDS
        except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
            _name(found, number, line)
            last = ""
            continue
        if not whole:
            _name(found, number, line)
        found.rows += 1
        found.erased += text is None
        found.chains[told] = chain
        if known:
            rows.append(Row(told, at, Kind(kind), version, room, who, ref, body, digest, chain))
        else:
            unknown.append(told)
        last = chain if whole else ""
    return rows, unknown


def _name(found: Checked, number: int, line: bytes) -> None:
    """Name an altered row by its number, read from what is left of its line."""
    head = line.partition(b'"row":[')[2].partition(b",")[0]
    seq = int(head) if head.isdigit() and len(head) < 16 else 0
    found.altered_rows.append(seq)
    found.altered.append(f"{ROWS}, line {number}: row {seq or 'unreadable'} is not what was appended")


def _compared(name: str, made: bytes, given: bytes, rows: Sequence[Row], found: Checked, *, exact: bool) -> None:
    """Compare a file with what the rows give: word for word with `exact`, else by meaning."""
    if name.endswith(".json") and not _object(given):
        found.unfounded.append(f"{name}: cannot be read any more")
        return
    comparison = _Comparison(name, found.format, {row.seq: row.body for row in rows if row.body is not None}, exact)
    if name.endswith(".json"):
        comparison.value(json.loads(made), _object(given), "", "")
    elif name == "rules.csv":
        comparison.cells(_table(made), _table(given))
    else:
        comparison.table(_table(made), _table(given))
    found.unfounded += [f"{name}, {one}" for one in comparison.wrong]
    found.notes += comparison.notes()
    if exact and made != given and not comparison.wrong:
        pairs_of = zip(made.split(b"\n"), given.split(b"\n"), strict=False)
        line = next((number for number, (one, other) in enumerate(pairs_of, 1) if one != other), 0)
        found.unfounded.append(f"{name}, line {line}: does not follow from the rows")


@dataclass(slots=True)
class _Comparison:
    """What differs between a file and what the rows give: `wrong` by place, and wordings and fields told in notes."""

    name: str
    version: int
    bodies: Mapping[int, Mapping[str, Any]]
    exact: bool
    wrong: list[str] = field(default_factory=list)
    worded: list[str] = field(default_factory=list)
    other_numbers: list[str] = field(default_factory=list)
    further: dict[str, None] = field(default_factory=dict)

    def fields(self, path: str) -> set[str]:
        """The fields of an object or a table in this format, empty where it is none of ours."""
        known = (told.get(path, ()) for version, told in FIELDS.items() if version <= self.version)
        return {name for names in known for name in names}

    def value(self, made: Any, given: Any, where: str, path: str) -> None:
        """Compare what the rows give with what is written at a place."""
        if path in WORDED and not self.exact:
            self.words(str(made), str(given), where)
        elif isinstance(made, dict) and isinstance(given, dict):
            self.members(made, given, where, path)
        elif isinstance(made, list) and isinstance(given, list):
            if len(made) != len(given):
                self.wrong.append(f"{where}: {len(given)} stand there, the rows give {len(made)}")
            for place, (one, other) in enumerate(zip(made, given, strict=False)):
                self.value(one, other, f"{where}[{place}]", f"{path}[]")
        elif not _same(made, given):
            self.wrong.append(f"{where or 'whole'}: {_shown(given)} is written, the rows give {_shown(made)}")

    def members(self, made: Mapping[str, Any], given: Mapping[str, Any], where: str, path: str) -> None:
        """Compare an object's fields: those of the format must be there, further ones may."""
        asked = self.fields(path or self.name)
        known = bool(asked)
        if path == "decisions[]":
            asked |= self.bodies.get(made["row"], {}).keys()
        for name in made:
            here = f"{where}.{name}".lstrip(".")
            if name in given:
                self.value(made[name], given[name], here, f"{path}.{name}".lstrip("."))
            elif name in asked or not known or self.exact:
                self.wrong.append(f"{here}: missing, the rows give {_shown(made[name])}")
        for name in given:
            if name not in made and known and not self.exact:
                self.further[f"{path}.{name}".lstrip(".")[:_LONGEST_SHOWN]] = None
            elif name not in made:
                self.wrong.append(f"{where}.{name[:_LONGEST_SHOWN]}: does not follow from the rows".lstrip("."))

    def words(self, made: str, given: str, where: str) -> None:
        """Note a text that is worded otherwise, in full where its numbers are others too."""
        if made == given:
            return
        if _NUMBER.findall(made) == _NUMBER.findall(given):
            self.worded.append(where)
        else:
            self.other_numbers.append(f"{where}: {_shown(given)} is written, this version words it {_shown(made)}")

    def table(self, made: Sequence[Sequence[str]], given: Sequence[Sequence[str]]) -> None:
        """Compare two tables by the names of their columns, which may stand in any order."""
        head, columns = (list(one[0]) if one else [] for one in (given, made))
        for column in columns:
            if column not in head and (column in self.fields(self.name) or column == "data" or self.exact):
                self.wrong.append(f"line 1: column {column} is missing")
        for column in head:
            if column not in columns:
                self.further[column[:_LONGEST_SHOWN]] = None
        both = [(column, columns.index(column), head.index(column)) for column in columns if column in head]
        for line, (one, other) in enumerate(zip(made[1:], given[1:], strict=False), start=2):
            if len(other) != len(head):
                self.wrong.append(f"line {line}: {len(other)} cells, the heading has {len(head)}")
                continue
            for column, mine, theirs in both:
                self.value(one[mine], other[theirs], f"line {line}, {column}", f"{self.name}.{column}")
        self.lines(made, given)

    def cells(self, made: Sequence[Sequence[str]], given: Sequence[Sequence[str]]) -> None:
        """Compare two tables cell by cell: each stands in the rows as it is."""
        for line, (one, other) in enumerate(zip(made, given, strict=False), start=1):
            if one != other:
                self.wrong.append(f"line {line}: does not follow from the rows")
        self.lines(made, given)

    def lines(self, made: Sequence[object], given: Sequence[object]) -> None:
        """Say where a table has too many rows or too few."""
        if len(made) != len(given):
            self.wrong.append(f"lines: {len(given)} stand there, the rows give {len(made)}")

    def notes(self) -> Iterator[str]:
        """What is told and not called altered."""
        for one in self.other_numbers[:MOST_NOTES]:
            yield f"{self.name}, {one}"
        if more := len(self.other_numbers[MOST_NOTES:]):
            yield f"{self.name}: further wordings with other numbers: {more}"
        if self.worded:
            yield f"{self.name}: worded otherwise by this version at {len(self.worded)} places, first {self.worded[0]}"
        if self.further:
            yield f"{self.name}: not compared, this version does not know: {', '.join(list(self.further)[:MOST_NAMES])}"


def _printed_alike(rows: Sequence[Row], about: Mapping[str, Any], given: bytes, found: Checked) -> None:
    """Compare the PDF, where what printed it is here in the same versions."""
    if about.get("printed_with") != printed_with():
        found.notes.append(f"{PDF}: printed with other versions of its parts, so it was not compared; figures were")
    elif printed(rows, about) != given:
        found.unfounded.append(f"{PDF}: does not follow from the rows")


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
            found.unfounded.append(f"row {one.row}: the record shows {then.verdict}, not {shown['verdict']}")
        found.decisions.append(
            {
                "row": one.row,
                "signed_on": one.body["signed_on"],
                "rule": one.body["rule"],
                "decision": one.now("decision"),
                "recomputed": then.verdict,
                "reasons": list(then.reasons),
                "missing": list(then.missing),
                "follows": one.competent == (then.verdict == "competent"),
                "evidence_erased_since": erased and not same,
            }
        )


def _same(made: object, given: object) -> bool:
    """Whether two plain values say the same; 120 and 120.0 do, 1 and true do not."""
    return made == given and isinstance(made, bool) is isinstance(given, bool)


def _shown(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}…"


def _table(data: bytes) -> list[list[str]]:
    try:
        return list(csv.reader(io.StringIO(data.decode(errors="replace"), newline="")))
    except csv.Error:
        return []


def _object(data: bytes) -> dict[str, Any]:
    try:
        value = json.loads(data)
    except (ValueError, RecursionError):
        return {}
    return value if isinstance(value, dict) else {}
