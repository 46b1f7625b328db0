"""Bundles that a later version checks, or an earlier one: whole where they are, found where a figure was changed."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

import hushpoint
from evidence_scenes import Clock
from frozen_bundle import FROZEN, frozen_path, invented_record
from hushpoint.desk import bundle as bundles
from hushpoint.desk.bundle import ABOUT, FORMAT_VERSION, MANIFEST, NAMES, PDF, ROWS
from hushpoint.desk.bundle_check import FIELDS, WORDED, verify_bundle
from hushpoint.ledger.chain import chained
from hushpoint.ledger.memory import MemoryLedger

MADE_AT = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)
Change = Callable[[Any], None]


def made_now() -> bytes:
    """The invented record as a bundle of whatever version is running."""
    clock = Clock("2026-11-18")
    ledger = MemoryLedger(clock=clock)
    code, who = invented_record(ledger, clock)
    return bundles.bundle(ledger, room=code, who=who, made_at=MADE_AT, invented=True)


@pytest.fixture(scope="module")
def made() -> bytes:
    """A bundle made by this very build."""
    return made_now()


def files_of(data: bytes) -> dict[str, bytes]:
    """The files of a bundle, in order."""
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def forged(data: bytes, changed: Mapping[str, bytes]) -> bytes:
    """A bundle with files changed, and everything made anew that a forger can make anew: manifest and ZIP."""
    files = {**files_of(data), **changed}
    listed = {name: hashlib.sha256(files[name]).hexdigest() for name in files if name != MANIFEST}
    return bundles.zipped({**files, MANIFEST: bundles.json_bytes(listed)})


def with_json(data: bytes, name: str, change: Change) -> bytes:
    """Forge one JSON file."""
    told = json.loads(files_of(data)[name])
    change(told)
    return forged(data, {name: bundles.json_bytes(told)})


def as_of_another_version(data: bytes) -> bytes:
    """The same bundle, said to come from another version, so that wordings are not compared."""
    return with_json(
        with_json(data, ABOUT, lambda about: about.update(hushpoint="0.0.9")),
        "evidence.json",
        lambda told: told["about"].update(hushpoint="0.0.9"),
    )


@pytest.mark.parametrize("version", range(1, FORMAT_VERSION + 1))
def test_the_kept_bundle_of_every_format_is_whole_to_this_version(version: int) -> None:
    """What an auditor kept of each format: whole, its figures recomputed; never to be made again."""
    found = verify_bundle(frozen_path(version).read_bytes())
    assert found.problems == []
    assert (found.format, found.invented, found.learner) == (version, True, "Ines Invented")
    assert (found.rows, found.erased) == (176, 0)
    (one,) = found.decisions
    assert (one["decision"], one["recomputed"], one["follows"]) == ("competent", "competent", True)
    assert "INVENTED" in frozen_path(version).name


def test_no_kept_bundle_is_left_out() -> None:
    """Each format version has its bundle and its fields, and no bundle lies there unlooked at."""
    assert sorted(FROZEN.glob("*.zip")) == [frozen_path(version) for version in sorted(FIELDS)]
    assert max(FIELDS) == FORMAT_VERSION


def reworded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stand in for a later version: other words, a further field at four places, a further column, its own number."""
    shown, side, slots, marks = bundles._shown, bundles._side, bundles._slots, bundles._marks

    def told(then: Any) -> dict[str, Any]:
        """Say it in other words, with a figure more."""
        return {
            **shown(then),
            "reasons": [f"as the later version says: {one}" for one in then.reasons],
            "missing": [f"wanting: {one} (see 4.2)" for one in then.missing],
            "mood": "cheerful",
        }

    def columns(rows: Any) -> Iterator[list[Any]]:
        """Put a column in front."""
        for place, row in enumerate(marks(rows)):
            yield ["weather" if place == 0 else "rain", *row]

    monkeypatch.setattr(hushpoint, "__version__", "0.2.0")
    monkeypatch.setattr(bundles, "_shown", told)
    monkeypatch.setattr(bundles, "_side", lambda one: {**side(one), "shoes": 43})
    monkeypatch.setattr(bundles, "_slots", lambda one: {**slots(one), "further": [1, 2]})
    monkeypatch.setattr(bundles, "_marks", columns)


@pytest.mark.parametrize("version", range(1, FORMAT_VERSION + 1))
def test_a_later_version_calls_an_honest_bundle_whole(version: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reworded reasons, further fields and another version number: whole, and one line says what was not compared."""
    reworded(monkeypatch)
    found = verify_bundle(frozen_path(version).read_bytes())
    assert found.problems == []
    assert found.decisions[0]["follows"] is True
    (line,) = [note for note in found.notes if note.startswith("made by")]
    assert line.startswith("made by version 0.1.0")
    assert "checked by 0.2.0" in line
    assert line.endswith(": wordings and the PDF were not compared; figures were")
    assert any("worded otherwise" in note and "reasons" in note for note in found.notes)


def test_an_earlier_version_calls_a_later_ones_bundle_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """The other way round: what it does not know is told, not called altered."""
    with monkeypatch.context() as patched:
        reworded(patched)
        later = made_now()
    found = verify_bundle(later)
    assert found.problems == []
    assert found.notes[0].startswith("made by version 0.2.0, checked by 0.1.0: wordings")
    assert any("does not know: " in note and "recomputed.mood" in note for note in found.notes)
    assert any("weather" in note for note in found.notes)


def test_another_build_of_the_same_version_is_another_version(made: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between two releases words change too: the build is told apart, and the note says so."""
    assert verify_bundle(made).notes == []
    monkeypatch.setattr("hushpoint.desk.bundle_check.build", lambda: "another")
    assert verify_bundle(made).problems == []
    assert verify_bundle(made).notes == [
        "made by another build of version 0.1.0: wordings and the PDF were not compared; figures were"
    ]


def leaves(value: Any, where: str = "", path: str = "") -> Iterator[tuple[str, Change]]:
    """Every figure, code, text and flag that is compared: its place, and what changes it."""
    inner = list(value.items()) if isinstance(value, dict) else list(enumerate(value))
    for name, one in inner:
        listed = isinstance(value, list)
        here = f"{where}[{name}]" if listed else f"{where}.{name}".lstrip(".")
        kind = f"{path}[]" if listed else f"{path}.{name}".lstrip(".")
        if isinstance(one, (dict, list)):
            yield from leaves(one, here, kind)
        elif kind not in WORDED:
            yield here, lambda _=None, value=value, name=name, one=one: value.__setitem__(name, other(one))


def other(value: object) -> object:
    """Another value of the same kind."""
    if isinstance(value, bool) or value is None:
        return not value
    return value + 2 if isinstance(value, (int, float)) else f"{value}x"


def test_a_changed_figure_is_found_by_every_version(made: bytes) -> None:
    """One in every thirty figures of evidence.json, with digests mended, from another version: found by its place."""
    data = as_of_another_version(made)
    count = len(list(leaves(json.loads(files_of(data)["evidence.json"]))))
    assert count > 1000
    for place in range(0, count, count // 30):
        told = json.loads(files_of(data)["evidence.json"])
        where, change = list(leaves(told))[place]
        change(None)
        found = verify_bundle(forged(data, {"evidence.json": bundles.json_bytes(told)}))
        assert found.altered == []
        assert any(where in one for one in found.unfounded), where


@pytest.mark.parametrize(
    ("where", "change"),
    [
        ("decisions[0].recomputed.verdict", lambda told: told["decisions"][0]["recomputed"].pop("verdict")),
        ("decisions[0].recomputed.figures", lambda told: told["decisions"][0]["recomputed"].pop("figures")),
        ("decisions[0].signed_on", lambda told: told["decisions"][0].pop("signed_on")),
        ("pairs: 22 stand there", lambda told: told["pairs"].pop()),
        ("papers[0].marked.met_by", lambda told: told["papers"][0]["marked"].update(met_by="nobody")),
    ],
)
@pytest.mark.parametrize("another", [False, True])
def test_a_field_taken_away_or_put_into_a_row_is_found(made: bytes, where: str, change: Change, another: bool) -> None:
    """A field of the format must be there, a list whole, and what a row says holds no more than the row."""
    data = as_of_another_version(made) if another else made
    (first, *_) = verify_bundle(with_json(data, "evidence.json", change)).unfounded
    assert first.startswith("evidence.json, ")
    assert where in first


@pytest.mark.parametrize("another", [False, True])
@pytest.mark.parametrize("name", ["readings.csv", "marks.csv", "rules.csv"])
def test_a_changed_cell_is_found_by_line(made: bytes, name: str, another: bool) -> None:
    """A figure of each table, digests mended: file, line and, where the columns are ours, column are named."""
    data = as_of_another_version(made) if another else made
    rows = list(csv.reader(io.StringIO(files_of(data)[name].decode(), newline="")))
    column = {"readings.csv": 2, "marks.csv": 4, "rules.csv": 5}[name]
    line = next(place for place, row in enumerate(rows) if place and row[column])
    rows[line][column] += "8"
    found = verify_bundle(forged(data, {name: bundles._csv(rows)}))
    assert found.altered == []
    assert found.unfounded[0].startswith(f"{name}, line {line + 1}")


def test_a_file_that_is_no_json_any_more_is_one_line(made: bytes) -> None:
    """Whatever stands in it, digests mended: one line, not one a field."""
    found = verify_bundle(forged(made, {"evidence.json": b"{" * 5000}))
    assert found.problems == ["evidence.json: cannot be read any more"]


def test_a_reworded_reason_is_found_by_its_build_and_told_by_another(made: bytes) -> None:
    """By the build that made it no word may differ; by another words with other numbers are told beside its own."""

    def change(told: Any) -> None:
        told["decisions"][0]["recomputed"]["reasons"][0] = "99 of 99 within 5"

    assert (
        verify_bundle(with_json(made, "evidence.json", change))
        .unfounded[0]
        .startswith(
            'evidence.json, decisions[0].recomputed.reasons[0]: "99 of 99 within 5" is written, the rows give "'
        )
    )
    found = verify_bundle(with_json(as_of_another_version(made), "evidence.json", change))
    assert found.problems == []
    assert any('"99 of 99 within 5" is written, this version words it' in note for note in found.notes)


def test_a_forged_pdf_is_found_by_its_build(made: bytes) -> None:
    """The PDF is printed again: one of another name does not follow; printed with other parts it is not compared."""
    changed = files_of(made)[PDF].replace(b"/Type", b"/Typo", 1)
    assert verify_bundle(forged(made, {PDF: changed})).problems == ["evidence.pdf: does not follow from the rows"]
    parts = {"typst": "0.0", "matplotlib": "0.0"}
    told = with_json(made, ABOUT, lambda about: about.update(printed_with=parts))
    told = with_json(told, "evidence.json", lambda whole: whole["about"].update(printed_with=parts))
    assert verify_bundle(told).problems == []
    assert verify_bundle(told).notes[0].startswith("evidence.pdf: printed with other versions")


def test_one_altered_byte_is_found_whatever_version_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Kept bundles, a later version: a flipped bit in any of 24 places is an alteration, named by file, row or ZIP."""
    reworded(monkeypatch)
    for version in FIELDS:
        data = frozen_path(version).read_bytes()
        for at in range(0, len(data), len(data) // 24):
            changed = bytearray(data)
            changed[at] ^= 1
            found = verify_bundle(bytes(changed))
            assert found.altered, at
            assert all(one.startswith((*NAMES, "the ZIP itself")) for one in found.altered)


def of_a_newer_format(data: bytes, change: Change) -> bytes:
    """The bundle as a format 9 would have it: a kind of row and a file more."""
    files = files_of(data)
    last = json.loads(files[ROWS].split(b"\n")[-2])
    row = [last["row"][0] + 1, *last["row"][1:]]
    row[2], row[-1] = "moon.seen", ""
    row[-1] = chained(last["row"][-1], *row[:-1])
    line = bundles.line_bytes({"row": row, "before": last["row"][-1], "payload": last["payload"]})
    told = json.loads(files["evidence.json"])
    change(told)
    told["about"] |= {"version": 9, "hushpoint": "3.0.0"}
    return forged(
        data,
        {
            ROWS: files[ROWS] + line + b"\n",
            ABOUT: bundles.json_bytes(told["about"]),
            "evidence.json": bundles.json_bytes(told),
            "letter.txt": b"a file that only format 9 has\n",
        },
    )


def test_a_newer_format_is_checked_as_far_as_it_is_known(made: bytes) -> None:
    """Unknown kinds of rows and files: digests and chain are checked, the known figures too, the rest is told."""
    data = of_a_newer_format(made, lambda told: None)
    found = verify_bundle(data)
    assert found.problems == []
    assert found.notes[:2] == [
        "made by version 3.0.0 in format 9, checked by 0.1.0 with format 2: wordings and the PDF were not compared; "
        "figures were",
        "rows of kinds that this version does not know, whole but not looked at: 1",
    ]
    assert "letter.txt" in " ".join(found.notes)
    changed = data.replace(b"only format 9 has", b"only format 8 has")
    assert verify_bundle(changed).altered[0] == "letter.txt: not as it was made"
    found = verify_bundle(of_a_newer_format(made, lambda told: told["pairs"][0].update(fair="yes")))
    assert found.unfounded == ['evidence.json, pairs[0].fair: "yes" is written, the rows give true']


def test_the_zip_is_what_other_programs_read(made: bytes, tmp_path: Path) -> None:
    """The frame written here is that of the standard library, field by field, and its checksums hold."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as packed:
        for name, data in files_of(made).items():
            info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            info.external_attr, info.create_system = 0o600 << 16, 3
            packed.writestr(info, data)
    assert made == out.getvalue()
    with zipfile.ZipFile(io.BytesIO(made)) as packed:
        assert packed.testzip() is None
