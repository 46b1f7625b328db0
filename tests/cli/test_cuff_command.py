"""`hushpoint cuff`: the bladder for an arm, the traps, and one line for what is no arm."""

from __future__ import annotations

import json
import sys

import pytest

from hushpoint.cli.main import run


def said(
    arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> tuple[object, str, str]:
    """Status, standard output and standard error of the command in this process."""
    monkeypatch.setattr(sys, "argv", ["hushpoint", "cuff", *arguments])
    with pytest.raises(SystemExit) as ended:
        run()
    out, err = capsys.readouterr()
    return ended.value.code, out, err


@pytest.mark.parametrize("columns", [80, 120])
def test_words_for_36_cm(columns: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Large adult 16 × 36; the adult cuff passes the percentages yet is not named, and would add 4.8 and 1.8."""
    monkeypatch.setenv("COLUMNS", str(columns))
    status, out, err = said(["36"], monkeypatch, capsys)
    assert (status, err) == (0, "")
    assert all(len(line) <= columns for line in out.splitlines())
    told = " ".join(out.split())
    for words in (
        "Arm 36 cm: large adult, bladder 16 × 36 cm", "44 % 100 %", "table differs 16 × 30 cm 44 % 83 %",
        "16 × 30 cm here: adult cuff where large adult is needed: +4.8 systolic, +1.8 diastolic", "local policy",
    ):  # fmt: skip
        assert words in told


def test_the_bladder_in_hand_is_refused_at_64_percent(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A 13 × 23 bladder on 36 cm, whatever its label, is refused and large adult named."""
    status, out, _ = said(["36", "--bladder", "13x23", "--json"], monkeypatch, capsys)
    assert status == 0
    found = json.loads(out)
    assert (found["verdict"], found["cuff"]) == ("cuff", "large_adult")
    assert (found["in_hand"]["verdict"], found["in_hand"]["length_percent"]) == ("refused", 63.9)
    assert found["in_hand"]["effects"][0]["systolic_mmhg"] == [4.8, 4.8]
    assert [size["verdict"] for size in found["sizes"]] == ["refused", "another", "fits", "another"]
    _, told, _ = said(["36 cm", "--bladder", "13×23"], monkeypatch, capsys)
    assert "In hand, 13 × 23 cm: covers 64 % of the way round the arm" in " ".join(told.split())


@pytest.mark.parametrize("arm", ["15", "21", "53", "60", "21.4", "52.5"])
def test_arms_outside_the_table_are_referred(
    arm: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No cuff is named outside 22 to 52 cm; the work is done, so the status is 0."""
    status, out, _ = said([arm, "--json"], monkeypatch, capsys)
    assert status == 0
    found = json.loads(out)
    assert (found["verdict"], found["cuff"]) == ("refer", None)
    assert {size["verdict"] for size in found["sizes"]} == {"refer"}
    status, told, _ = said([arm], monkeypatch, capsys)
    assert status == 0
    assert "refer to a trained clinician" in " ".join(told.split())


def test_a_gap_between_two_sizes_is_noted(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """34.5 cm lies in the table's gap: rounded to 35, large adult, and the note says so."""
    _, out, _ = said(["34.5", "--json"], monkeypatch, capsys)
    found = json.loads(out)
    assert found["cuff"] == "large_adult"
    assert found["notes"] == [
        "the table leaves 34 to 35 cm open; rounded to the nearest whole centimetre, halves up, this is large adult: "
        "measure again, in doubt take large adult"
    ]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["abc"], ('arm "abc"', "10 to 80")),
        (["nan"], ("arm", "10 to 80")),
        (["inf"], ("arm", "10 to 80")),
        (["1e2"], ("arm", "10 to 80")),
        ([""], ("arm", "10 to 80")),
        (["9"], ("arm 9 cm", "10 to 80")),
        (["81"], ("arm 81 cm", "10 to 80")),
        (["3" * 10_000], ("arm", "10 to 80")),
        (["\x1b[2J"], ("arm", "10 to 80")),
        (["३६"], ("arm", "10 to 80")),
        (["36", "--bladder", "13"], ("--bladder", "WIDTHxLENGTH")),
        (["36", "--bladder", "xx"], ("--bladder",)),
        (["36", "--bladder", "13x23x3"], ("--bladder length",)),
        (["36", "--bladder", "1x23"], ("bladder width 1 cm", "2 to 30")),
        (["36", "--bladder", "13x99"], ("bladder length 99 cm", "4 to 60")),
        ([], ("CM",)),
    ],
)
def test_what_is_no_arm_or_bladder_is_told_in_one_line(
    arguments: list[str],
    words: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Text, nan, huge and impossible sizes: status 2, one printable line, nothing on standard output."""
    status, out, err = said(arguments, monkeypatch, capsys)
    assert (status, out) == (2, "")
    line = err.removesuffix("\n")
    assert line.startswith("hushpoint: ")
    assert line.isprintable()
    assert len(line) < 300
    for word in words:
        assert word in line
