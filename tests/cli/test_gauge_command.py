"""`hushpoint gauge`: the contract's JSON, the words, and one line for each bad check."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from hushpoint.cli.main import run

HEADER = b"reference_mmhg,reading_mmhg,direction\n"
GOOD = b"0,0,up\n100,101,up\n"
STEPS = (0, 60, 100, 150, 200, 250, 300)

NOT_NUMBERS = [
    "", " ", "abc", "nan", "NaN", "inf", "-inf", "1e2", "0x64", "1_00", "100 mmHg", "100/80", "--1", ".5", "5.", "१००",
    "None", "=1+1", "\x1b[31m", "9" * 100_000, "1e400", "-", "+",
]  # fmt: skip


def bad_checks() -> dict[str, tuple[bytes, tuple[str, ...]]]:
    """Each kind of bad file, with words that its line must hold."""
    kinds: dict[str, tuple[bytes, tuple[str, ...]]] = {}
    for place, value in enumerate([*NOT_NUMBERS, "-0.1", "321", "9999", "1" * 15]):
        kinds[f"reference-{place}"] = (
            HEADER + GOOD + value.encode() + b",150,up\n",
            ("row 4", "column reference_mmhg", "from 0 to 320"),
        )
    for place, value in enumerate([*NOT_NUMBERS, "-21", "331", "9999"]):
        kinds[f"reading-{place}"] = (
            HEADER + GOOD + b"150," + value.encode() + b",up\n",
            ("row 4", "column reading_mmhg", "from -20 to 330"),
        )
    for place, value in enumerate(["", "sideways", "u", "1", "up down", "\x1b[2J"]):
        kinds[f"direction-{place}"] = (
            HEADER + GOOD + b"150,150," + value.encode() + b"\n",
            ("row 4", "column direction", "up or down"),
        )
    for place, header in enumerate(
        [b"reading_mmhg,direction", b"reference_mmhg,direction", b"reference_mmhg,reading_mmhg", b"a,b,c", b"0,0,up"]
    ):
        kinds[f"header-{place}"] = header + b"\n" + GOOD, ("row 1", "no column", "header needs")
    kinds["twice"] = HEADER.strip() + b",direction\n0,0,up,up\n", ("row 1", "twice")
    kinds["order-up"] = HEADER + GOOD + b"50,50,up\n", ("row 4", "out of order", "above 100")
    kinds["order-down"] = HEADER + b"100,100,down\n150,150,down\n", ("row 3", "out of order", "below 100")
    kinds["order-same"] = HEADER + GOOD + b"100,100,up\n", ("row 4", "out of order")
    kinds["one-point"] = HEADER + b"0,0,up\n", ("1 point", "2 or more")
    kinds["no-point"] = HEADER, ("no points", "2 or more")
    kinds["too-many"] = HEADER + b"".join(b"%d,%d,up\n" % (at, at) for at in range(201)), ("201 points", "at most 200")
    kinds["fields"] = HEADER + GOOD + b"150,150\n", ("row 4", "2 fields where the header has 3")
    kinds["empty"] = b"", ("the file is empty",)
    kinds["prose"] = b"the gauge looks fine to me\n", ("row 1", "no column")
    kinds["not-utf8"] = HEADER + b"\xff,1,up\n", ("row 2", "not UTF-8")
    kinds["zero-byte"] = HEADER + b"0\0,1,up\n", ("row 2", "zero byte")
    kinds["open-quote"] = HEADER + GOOD + b'150,"150,up\n', ("row 4", "quotation marks")
    return kinds


BAD = bad_checks()


def said(
    arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> tuple[object, str, str]:
    """Status, standard output and standard error of the command in this process."""
    monkeypatch.setattr(sys, "argv", ["hushpoint", *arguments])
    with pytest.raises(SystemExit) as ended:
        run()
    out, err = capsys.readouterr()
    return ended.value.code, out, err


def whole_check(error: float) -> bytes:
    """A check at every step of the procedure, off by one amount [mmHg]."""
    rising = [f"{at},{at + error:g},up\n" for at in STEPS]
    falling = [f"{at},{at + error:g},DOWN\r\n" for at in reversed(STEPS)]
    return HEADER + "".join(rising + falling).encode()


def test_json_of_the_gauge_six_low(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The keys of the contract first, then what docs/instrument.md adds; the correction carries its warning."""
    path = tmp_path / "check.csv"
    path.write_bytes(b"\xef\xbb\xbf" + whole_check(-6))
    status, out, err = said(["gauge", str(path), "--json"], monkeypatch, capsys)
    assert (status, err) == (0, "")
    found = json.loads(out)
    assert list(found) == [
        "verdict", "rule", "worst_mmhg", "errors", "hysteresis_mmhg", "hysteresis", "zero_mmhg", "reasons",
        "complete", "reference_error_mmhg", "limits", "correction", "notes", "caution",
    ]  # fmt: skip
    assert (found["verdict"], found["rule"], found["worst_mmhg"], found["hysteresis_mmhg"]) == ("fail", "new", -6, 0)
    assert [(each["at"], each["error"]) for each in found["errors"]][:3] == [(0, -6), (60, -6), (100, -6)]
    assert len(found["errors"]) == 14
    assert found["complete"] is True
    assert "never to hide a failed gauge" in found["correction"]["use"]
    assert found["correction"]["points"][3]["pressure"] == 150
    assert found["limits"]["error"]["mark"] == "FROM MEMORY"


@pytest.mark.parametrize(
    ("error", "options", "verdict"),
    [
        (3, [], "pass"),
        (4, [], "fail"),
        (3.5, ["--rule", "in_use"], "fail"),
        (3, ["--rule", "in_use"], "pass"),
        (3, ["--rule", "local"], "pass"),
        (3, ["--rule", "local=2.5"], "fail"),
        (3, ["--reference-error", "0.4"], "fail"),
        (2.5, ["--reference-error", "0.4"], "pass"),
    ],
)
def test_rule_and_certificate_decide(
    error: float,
    options: list[str],
    verdict: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Status is 0 whatever the verdict; the rule and the reference's own error decide it (zero is held to 3 in use)."""
    path = tmp_path / "check.csv"
    path.write_bytes(whole_check(error))
    status, out, _ = said(["gauge", str(path), "--json", *options], monkeypatch, capsys)
    assert status == 0
    assert json.loads(out)["verdict"] == verdict


@pytest.mark.parametrize("columns", [60, 80, 120])
def test_words_fit_the_width_and_carry_mark_and_caution(
    columns: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The verdict, the rule, the worst point, what is from memory and what to do next stand in the words."""
    monkeypatch.setenv("COLUMNS", str(columns))
    path = tmp_path / "check.csv"
    path.write_bytes(whole_check(-6))
    status, out, _ = said(["gauge", str(path)], monkeypatch, capsys)
    assert status == 0
    assert all(len(line) <= columns for line in out.splitlines())
    told = " ".join(out.split())
    for words in (
        "FAIL by the rule “new”", "6 low at 60 going up", "Take it out of use", "Worst: −6.0 at 0",
        "never to hide a failed gauge", "not checked against the printed text", "local policy",
    ):  # fmt: skip
        assert words in told
    assert "…" not in out


def test_a_gauge_that_never_moved_is_judged_without_a_curve(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A stuck pointer fails and has no correction, and a note says why."""
    path = tmp_path / "check.csv"
    path.write_bytes(HEADER + b"0,40,up\n100,40,up\n")
    _, out, _ = said(["gauge", str(path), "--json"], monkeypatch, capsys)
    found = json.loads(out)
    assert (found["verdict"], found["correction"]["points"]) == ("fail", [])
    assert any("throughout" in note for note in found["notes"])
    assert found["hysteresis_mmhg"] is None


def test_a_short_check_says_how_far_it_reaches(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A pass on part of the scale names that part, what was not read, and that the reference's error was not given."""
    path = tmp_path / "check.csv"
    path.write_bytes(HEADER + b"0,0,rising\n100,101,rising\n100,101,falling\n0,0,falling\n")
    _, out, _ = said(["gauge", str(path), "--json"], monkeypatch, capsys)
    found = json.loads(out)
    assert (found["verdict"], found["complete"]) == ("pass", False)
    assert found["reasons"] == ["within 3 at every point read, from 0 to 100"]
    assert found["notes"][:2] == [
        "rising, nothing was read within 10 of 300, 250, 200, 150, 60",
        "falling, nothing was read within 10 of 300, 250, 200, 150, 60",
    ]
    assert "--reference-error" in found["notes"][2]
    assert len(found["notes"]) == 3


@pytest.mark.parametrize(("falling", "noted"), [(98, False), (97, True), (103, False)])
def test_falling_below_rising_is_noted(
    falling: int, noted: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An aneroid lags, so falling reads higher; lower by more than the scale's 2 mmHg asks for another look."""
    path = tmp_path / "check.csv"
    path.write_bytes(HEADER + b"0,0,up\n100,100,up\n100,%d,down\n0,0,down\n" % falling)
    _, out, _ = said(["gauge", str(path), "--json"], monkeypatch, capsys)
    assert any("falling reads below rising" in note for note in json.loads(out)["notes"]) is noted


@pytest.mark.parametrize("kind", BAD)
def test_bad_checks_are_told_in_one_line(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every kind of bad check is refused with file, place and need; nothing is written anywhere."""
    data, words = BAD[kind]
    path = tmp_path / "check.csv"
    path.write_bytes(data)
    status, out, err = said(["gauge", str(path), "--json"], monkeypatch, capsys)
    assert (status, out) == (2, "")
    one_line(err, ("check.csv", *words))
    assert [each.name for each in tmp_path.iterdir()] == ["check.csv"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere.csv"], ("nowhere.csv", "cannot be read")),
        (["."], ("folder",)),
        (["good.csv", "--rule", "old"], ("'old'", "new, in_use, local or local=LIMIT")),
        (["good.csv", "--rule", "local=9"], ("from 1 to 6 mmHg",)),
        (["good.csv", "--reference-error", "nan"], ("--reference-error", "0 to 10")),
        (["good.csv", "--reference-error", "11"], ("--reference-error", "0 to 10")),
        (["good.csv", "--reference-error", "\x1b[2J" * 99], ("--reference-error",)),
    ],
)
def test_bad_arguments_of_gauge(
    arguments: list[str],
    words: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A missing file, an unknown rule and an impossible certificate are refused in one line."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.csv").write_bytes(HEADER + GOOD)
    status, out, err = said(["gauge", *arguments], monkeypatch, capsys)
    assert (status, out) == (2, "")
    one_line(err, words)


def test_bad_check_in_a_real_process(tmp_path: Path) -> None:
    """The installed command gives the same one line and status 2."""
    path = tmp_path / "check.csv"
    path.write_bytes(BAD["order-up"][0])
    ended = subprocess.run(
        [Path(sys.executable).parent / "hushpoint", "gauge", path], capture_output=True, text=True, check=False
    )
    assert (ended.returncode, ended.stdout) == (2, "")
    one_line(ended.stderr, ("check.csv", *BAD["order-up"][1]))


def one_line(told: str, words: tuple[str, ...]) -> None:
    """The text is one printable line of moderate length that holds `words`."""
    assert told.endswith("\n")
    line = told[:-1]
    assert line.startswith("hushpoint: ")
    assert line.isprintable(), line
    assert len(line) < 300, line
    for word in words:
        assert word in line, line
