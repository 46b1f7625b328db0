"""What the commands `agree` and `digits` print and draw."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from hushpoint.cli.agree import CAUTION, agree_file, digits_file

ROWS = "measurement,observer,systolic,diastolic,client,note\n" + "".join(
    f"{m},{who},{120 + 2 * m + shift},{80 + shift},C{m % 3},seen\n"
    for who, shift in (("Tutor [a]", 0), ("Learner $x$ with a long name", 2), ("L2", -2))
    for m in range(1, 8)
)


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    """Three observers on seven measurements, invented."""
    path = tmp_path / "readings.csv"
    path.write_text(ROWS, encoding="utf-8-sig")
    return path


def test_json_holds_the_documented_fields(readings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The keys are those of docs/agreement.md, in their order."""
    agree_file(readings, reference="L2", as_json=True, picture=None)
    found = json.loads(capsys.readouterr().out)
    assert list(found) == ["pairs", "notes"]
    pair = found["pairs"][0]
    assert list(pair) == ["observer", "reference", "systolic", "diastolic"]
    assert list(pair["diastolic"]) == [
        "n", "bias_mmhg", "bias_ci_mmhg", "sd_mmhg", "limits_mmhg", "limits_ci_mmhg", "within", "identical",
        "largest_mmhg", "in_full",
    ]  # fmt: skip
    assert list(pair["diastolic"]["in_full"]) == [
        "pressures_mmhg", "limits_exact_ci_mmhg", "trend", "icc", "concordance", "single_readings",
    ]  # fmt: skip
    assert pair["diastolic"]["bias_mmhg"] == 2.0
    assert list(pair["diastolic"]["within"]) == ["2", "4", "5", "10", "15"]
    assert any("more than once" in note for note in found["notes"])


def test_digits_json_holds_the_documented_fields(readings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The keys are those of docs/agreement.md, observers in order of first appearance."""
    digits_file(readings, as_json=True)
    found = json.loads(capsys.readouterr().out)["observers"]
    assert [each["observer"] for each in found] == ["Tutor [a]", "Learner $x$ with a long name", "L2"]
    assert list(found[0]["systolic"]) == [
        "n", "digits", "zeros_of_even", "p_zeros", "p_fives", "chi_square", "under_limits", "flags",
    ]  # fmt: skip
    assert list(found[0]["pairs"]) == ["n", "same", "p", "flags"]
    assert found[0]["diastolic"]["digits"] == [7, 0, 0, 0, 0, 0, 0, 0, 0, 0]


@pytest.mark.parametrize("columns", [80, 120])
def test_table_fits_the_width_and_cuts_no_number(
    columns: int, readings: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No line is wider than the terminal, and no number is cut; the caution stands below."""
    monkeypatch.setenv("COLUMNS", str(columns))
    agree_file(readings, reference=None, as_json=False, picture=None)
    told = capsys.readouterr().out
    assert max(len(line) for line in told.splitlines()) <= columns
    assert "2.00 to 2.00" in told
    assert "pair 1: Learner $x$ with a long name minus Tutor [a]" in told
    assert "\x1b" not in told
    assert " ".join(told.split()).endswith(CAUTION)


def test_digits_table_fits_eighty_columns(
    readings: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every column of the table of digits stands whole at 80 columns."""
    monkeypatch.setenv("COLUMNS", "80")
    digits_file(readings, as_json=False)
    told = capsys.readouterr().out
    assert "p zeros" in told
    assert "0.000" not in told
    assert max(len(line) for line in told.splitlines()) <= 80


def test_a_tiny_chance_is_never_printed_as_zero(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two hundred readings of 120/80: JSON tells the chance of 0.2 to the power 200, the table and words a bound."""
    path = tmp_path / "zeros.csv"
    path.write_text("measurement,observer,systolic,diastolic\n" + "".join(f"{m},R,120,80\n" for m in range(200)))
    digits_file(path, as_json=True)
    (told,) = json.loads(capsys.readouterr().out)["observers"]
    assert told["systolic"]["p_zeros"] == pytest.approx(0.2**200, rel=1e-5)
    chances = [*told["systolic"]["under_limits"], *told["diastolic"]["under_limits"], told["pairs"]]
    assert all(one["p"] > 0 for one in chances)
    digits_file(path, as_json=False)
    printed = " ".join(capsys.readouterr().out.split())
    assert "< 0.001" in printed
    assert "p below 0.0001" in printed


@pytest.mark.parametrize(("name", "start"), [("p.png", b"\x89PNG"), ("p.SVG", b"<?xml")])
def test_picture_is_the_same_bytes_twice(
    name: str, start: bytes, readings: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The picture is drawn in the form that its name asks for, twice the same, and its name told on standard error."""
    drawn = []
    for _ in range(2):
        agree_file(readings, reference=None, as_json=True, picture=tmp_path / name)
        drawn.append((tmp_path / name).read_bytes())
    assert drawn[0] == drawn[1]
    assert drawn[0].startswith(start)
    assert f"picture written: {name}" in capsys.readouterr().err


def test_extreme_differences_are_drawn_on_few_lines(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The widest differences that can be, +299 and -299, still give a short picture."""
    path = tmp_path / "wide.csv"
    path.write_text("measurement,observer,systolic,diastolic\n1,a,1,\n1,b,300,\n2,a,300,\n2,b,1,\n", encoding="utf-8")
    agree_file(path, reference=None, as_json=False, picture=None)
    assert len(capsys.readouterr().out.splitlines()) < 65


def test_short_names_stand_in_the_tables_as_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Names that fit, square brackets included, stand beside the numbers, and bias is told in the picture."""
    path = tmp_path / "short.csv"
    path.write_text("measurement,observer,systolic,diastolic\n1,[b],120,80\n1,a,122,80\n2,[b],130,\n2,a,134,\n")
    agree_file(path, reference=None, as_json=False, picture=None)
    told = capsys.readouterr().out
    assert "a − [b]" in told
    assert "← bias 3.00" in told


def test_a_terminal_without_the_signs_still_gets_its_table(readings: Path) -> None:
    """With an ASCII terminal the numbers come out, status 0, and nothing is said on standard error."""
    ended = subprocess.run(
        [Path(sys.executable).parent / "hushpoint", "agree", readings],
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONIOENCODING": "ascii", "COLUMNS": "80"},
    )
    assert (ended.returncode, ended.stderr) == (0, "")
    assert "2.00 to 2.00" in ended.stdout
