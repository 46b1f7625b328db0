"""Bad readings files: one clear line, status 2, nothing on standard output, no picture, never a traceback."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from hushpoint.cli.agree import digits_file
from hushpoint.cli.main import run
from hushpoint.errors import BadInputError

HEADER = b"measurement,observer,systolic,diastolic\n"
GOOD = b"1,J,120,80\n1,R,122,80\n"

NOT_PRESSURES = [
    "abc", "12o", "O", "l20", "nan", "NaN", "-nan", "inf", "-inf", "Infinity", "1e2", "1E2", "1e400", "0x78", "0b1",
    "0o17", "1_20", "12;5", "120/80", "120-80", "120 80", "120mmHg", "120 mmHg", "~120", ">120",
    "<120", "=120", "+", "-", "--120", "++120", "+-120", ".", ".5", "5.", "1.2.3", "120.", "१२०", "１２０", "²", "½",
    "Ⅻ", "∞", "−120", "None", "null", "true", "?", "!", "#N/A", "#REF!", "=1+1", "@SUM(A1)", "'120", "$120", "12%",
    "(120)", "[120]", "{120}", "120:80", "12:00", "2020-01-01", "\\120", "\x07", "\x1b[31m", "\x7f120", "1\t20", "é",
    "👍", "\u202e120", "\ufeff120", "not heard", "x" * 41, "x" * 10_000, "9" * 100_000, "120" + "0" * 17, "1" * 17,
]  # fmt: skip
OUT_OF_RANGE = [
    "-1", "-0.1", "-120", "301", "300.1", "400", "999", "1000", "12000", "2147483648", "9223372036854775807",
    "9223372036854775808", "18446744073709551616", "1" * 40, "-9223372036854775809", "300.000001",
]  # fmt: skip


def table(*rows: bytes, header: bytes = HEADER) -> bytes:
    """A file of a header and rows."""
    return header + b"".join(row + b"\n" for row in rows)


def cases() -> dict[str, tuple[bytes, tuple[str, ...]]]:
    """Each kind of bad file, with words that its line must hold."""
    kinds: dict[str, tuple[bytes, tuple[str, ...]]] = {}
    for place, value in enumerate(NOT_PRESSURES + OUT_OF_RANGE):
        cell = value.encode()
        where = ("row 3", "0 to 300")
        kinds[f"systolic-{place}"] = table(b"1,J,120,80", b"1,R," + cell + b",80"), (*where, "column systolic")
        kinds[f"diastolic-{place}"] = table(b"1,J,120,80", b"1,R,120," + cell), (*where, "column diastolic")
    for place, cell in enumerate([b"", b" ", b"0", b"0.0", b"-0", b"00"]):
        kinds[f"no-systolic-{place}"] = (
            table(b"1,R," + cell + b",0", b"1,J,120,80"),
            ("row 2", "column systolic", "300"),
        )
    for place, (upper, lower) in enumerate([(b"80", b"120"), (b"119", b"120"), (b"119.9", b"120"), (b"1", b"300")]):
        kinds[f"order-{place}"] = (
            table(b"1,J," + upper + b"," + lower),
            ("row 2", "column diastolic", "above the systolic"),
        )
    for place, cell in enumerate([b"", b" ", b"\t", b"x" * 81, b"a\x07b", b"\x1b[2J", "\u202eJ".encode(), b'"a\nb"']):
        kinds[f"measurement-{place}"] = table(cell + b",J,120,80"), ("row 2", "column measurement", "1 to 80")
        kinds[f"observer-{place}"] = table(b"1," + cell + b",120,80"), ("row 2", "column observer", "1 to 80")
    for place, row in enumerate([b"1", b"1,J", b"1,J,120", b"1,J,120,80,", b"1,J,120,80,1,2,3", b"1;J;120;80", b"1,,"]):
        kinds[f"fields-{place}"] = table(b"1,J,120,80", row), ("row 3", "fields where the header has 4")
    for place, header in enumerate([
        b"measurement,observer,systolic", b"observer,systolic,diastolic", b"measurement,systolic,diastolic",
        b"measurement,observer,diastolic", b"a,b,c,d", b"measurement;observer;systolic;dia", b"1,J,120,80",
        b"measurement\tobserver\tdiastolic", b"measurement,observer,sys,dia", b",,,x", b"{}", b"<html>",
        b"measurement,observer,systolic,diastolic mmHg", b"\x1b]0;x\x07", b"%PDF-1.7", b"x" * 5000,
    ]):  # fmt: skip
        kinds[f"header-{place}"] = table(b"1,J,120,80", header=header + b"\n"), ("row 1", "no column", "header needs")
    for name in (b"measurement", b"observer", b"systolic", b"diastolic"):
        doubled = HEADER.strip() + b"," + name + b"\n"
        kinds[f"twice-{name.decode()}"] = table(b"1,J,120,80,1", header=doubled), ("row 1", name.decode(), "twice")
    for place, data in enumerate([b"", b"\n", b" ", b"\r\n\r\n", b"\t\n"]):
        kinds[f"empty-{place}"] = data, ("the file is empty",)
    for place, data in enumerate([b"\xef\xbb\xbf", b",,,\n", b"\xef\xbb\xbf\n"]):
        kinds[f"blank-{place}"] = data, ("row 1", "no column")
    for place, data in enumerate(
        [HEADER, HEADER.strip(), HEADER + b"\n\n", HEADER + b",,,\n", b"\xef\xbb\xbf" + HEADER]
    ):
        kinds[f"no-rows-{place}"] = data, ("at least 1 row",)
    for place, broken in enumerate(
        [b"\xff", b"\xfe", b"\xc3", b"\xe9", b"\xed\xa0\x80", b"\xc0\xaf", b"\xf8", b"\x80"]
    ):
        kinds[f"not-utf8-{place}"] = table(b"1,J,120,80", b"1,R" + broken + b",120,80"), ("row 3", "not UTF-8")
    kinds["utf16"] = "measurement,observer\n".encode("utf-16"), ("row 1", "zero byte")
    kinds["zero-byte"] = table(b"1,J,120,80", b"1,R\0,120,80"), ("row 3", "zero byte")
    kinds["png"] = b"\x89PNG\r\n\x1a\n" + bytes(20), ("zero byte",)
    kinds["open-quote"] = table(b"1,J,120,80", b'1,"R,120,80'), ("row 3", "quotation marks")
    kinds["open-quote-at-end"] = table(b"1,J,120,80", b'1,R,120,"'), ("row 3", "quotation marks")
    kinds["text-after-quote"] = table(b"1,J,120,80", b'1,"R"x,120,80'), ("row 3", "quotation marks")
    kinds["open-quote-in-header"] = b'"measurement,observer', ("row 1", "quotation marks")
    kinds["huge-field"] = table(b"1,J,120,80", b"1," + b"x" * 200_000 + b",120,80"), ("row 3", "not readable as CSV")
    kinds["bare-return"] = table(b"1,J,120,80", b"1,R\r,120,80"), ("row 3",)
    kinds["repeat"] = table(b"1,J,120,80", b"1,R,120,80", b"1,J,124,80"), ("row 4", "as row 2")
    kinds["repeat-spaced"] = table(b"1,J,120,80", b" 1 , J ,124,80"), ("row 3", "as row 2")
    kinds["one-observer"] = table(b"1,J,120,80", b"2,J,120,80"), ("at least 2 observers",)
    kinds["nothing-shared"] = table(b"1,J,120,80", b"2,R,120,80"), ("at least 1 shared measurement",)
    kinds["row-after-quoted-newline"] = (
        table(b'1,J,120,80,"a\nb"', b"1,R,x,80,c", header=HEADER.strip() + b",note\n"),
        ("row 4", "column systolic"),
    )
    return kinds


CASES = cases()


def one_line(told: str, words: tuple[str, ...]) -> None:
    """The text is one printable line of moderate length that holds `words`."""
    assert told.endswith("\n")
    line = told[:-1]
    assert line.startswith("hushpoint: ")
    assert line.isprintable(), line
    assert len(line) < 300, line
    for word in words:
        assert word in line, line


def refused(arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    """Run the command in this process; it must end with status 2 and an empty standard output."""
    monkeypatch.setattr(sys, "argv", ["hushpoint", *arguments])
    with pytest.raises(SystemExit) as ended:
        run()
    said = capsys.readouterr()
    assert ended.value.code == 2
    assert said.out == ""
    return said.err


@pytest.mark.parametrize("kind", CASES)
def test_bad_readings_are_told_in_one_line(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every kind of bad file is refused with file, place and what is asked, and nothing is written."""
    data, words = CASES[kind]
    readings, picture = tmp_path / "readings.csv", tmp_path / "picture.png"
    readings.write_bytes(data)
    told = refused(["agree", str(readings), "--json", "--picture", str(picture)], monkeypatch, capsys)
    one_line(told, ("readings.csv", *words))
    assert not picture.exists()


def test_there_are_at_least_two_hundred_kinds() -> None:
    """The list of kinds holds at least 200 different files."""
    assert len({data for data, _ in CASES.values()}) >= 200


@pytest.mark.parametrize("kind", ["systolic-0", "utf16", "open-quote", "repeat", "empty-0", "nothing-shared"])
def test_bad_readings_in_a_real_process(kind: str, tmp_path: Path) -> None:
    """The installed command gives the same one line and status 2."""
    data, words = CASES[kind]
    readings, picture = tmp_path / "readings.csv", tmp_path / "picture.svg"
    readings.write_bytes(data)
    ended = subprocess.run(
        [Path(sys.executable).parent / "hushpoint", "agree", readings, "--picture", picture],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (ended.returncode, ended.stdout) == (2, "")
    one_line(ended.stderr, ("readings.csv", *words))
    assert not picture.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere.csv"], ("nowhere.csv", "cannot be read")),
        (["."], ("folder",)),
        (["good.csv", "--reference", "X"], ("good.csv", '"X" has no readings', '"J", "R"')),
        (["good.csv", "--reference", "\x1b[2J" * 99], ("has no readings",)),
        (["good.csv", "--picture", "p.pdf"], ("p.pdf", ".png or .svg")),
        (["good.csv", "--picture", "p"], (".png or .svg",)),
        (["good.csv", "--picture", "nowhere/p.png"], ("folder that exists",)),
        (["good.csv", "--picture", "taken.png"], ("folder that exists",)),
        (["x" * 300], ("cannot be read",)),
    ],
)
def test_bad_arguments_are_told_in_one_line(
    arguments: list[str],
    words: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A missing file, an unknown reference and a picture that cannot be are refused; nothing new appears."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.csv").write_bytes(HEADER + GOOD)
    (tmp_path / "taken.png").mkdir()
    one_line(refused(["agree", *arguments], monkeypatch, capsys), words)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["good.csv", "taken.png"]


def test_too_large_a_file_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file above 50 MB is refused."""
    readings = tmp_path / "large.csv"
    with readings.open("wb") as sparse:
        sparse.truncate(50_000_001)
    one_line(refused(["agree", str(readings)], monkeypatch, capsys), ("large.csv", "50 MB"))


@pytest.mark.parametrize("kind", ["systolic-0", "utf16", "open-quote", "repeat", "empty-0"])
def test_digits_refuses_the_same_files(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command `digits` reads through the same strict reader."""
    data, words = CASES[kind]
    readings = tmp_path / "readings.csv"
    readings.write_bytes(data)
    one_line(refused(["digits", str(readings)], monkeypatch, capsys), ("readings.csv", *words))


@pytest.fixture
def three_bad(tmp_path: Path) -> Path:
    """Twelve good readings of two observers, then a short row, a word for a number and a second reading of one."""
    rows = [f"{turn},{who},{110 + 2 * turn},70" for turn in range(6) for who in "TA"]
    rows += ["7,T,120", "8,T,abc,70", "0,A,112,70"]
    file = tmp_path / "clinic.csv"
    file.write_text("\n".join(["measurement,observer,systolic,diastolic", *rows]) + "\n", encoding="utf-8")
    return file


def test_every_bad_row_is_named_in_one_line(three_bad: Path) -> None:
    """All three, in order, with row, column, value and what is allowed."""
    with pytest.raises(BadInputError) as refusal:
        digits_file(three_bad, as_json=True)
    told = str(refusal.value)
    assert "\n" not in told
    assert told.startswith("clinic.csv, row 14: 3 fields where the header has 4 | row 15, column systolic: ")
    assert " | row 16: the same measurement and observer as row 3;" in told


def test_bad_rows_are_left_out_where_asked(three_bad: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The rest is counted, what was left out is said on standard error; a file of bad rows alone is refused."""
    digits_file(three_bad, as_json=True, skip_bad_rows=True)
    printed = capsys.readouterr()
    assert sum(one["systolic"]["n"] for one in json.loads(printed.out)["observers"]) == 12
    assert printed.err.startswith("left out 3 bad rows: row 14: 3 fields")
    three_bad.write_text("measurement,observer,systolic,diastolic\n" + "1,T\n" * 22, encoding="utf-8")
    with pytest.raises(BadInputError, match="and 2 more bad rows"):
        digits_file(three_bad, as_json=True, skip_bad_rows=True)
