"""`hushpoint leak`: worked numbers, the words, and one line for what cannot be judged."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import pytest

from hushpoint.cli.main import run

PUBLISHED = Path(__file__).resolve().parents[1] / "published" / "leak_worked.csv"


def leak(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, *words: str) -> tuple[int, str, str]:
    """Run the command; return status, output and error output."""
    monkeypatch.setattr(sys, "argv", ["hushpoint", "leak", *words])
    with pytest.raises(SystemExit) as end:
        run()
    told = capsys.readouterr()
    return int(str(end.value.code)), told.out, told.err


def rows() -> list[dict[str, str]]:
    """Return the worked numbers."""
    with PUBLISHED.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["case"])
def test_worked_leaks(
    row: dict[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rate, interval and verdict as derived by hand (tests/published/leak_worked.csv)."""
    pairs = zip(row["times_s"].split(), row["pressures_mmhg"].split(), strict=True)
    file = tmp_path / "times.csv"
    file.write_text("time_s,reading_mmhg\n" + "".join(f"{at},{mmhg}\n" for at, mmhg in pairs), encoding="utf-8")
    status, out, _ = leak(capsys, monkeypatch, str(file), "--rule", row["rule"], "--json")
    found = json.loads(out)
    assert (status, found["verdict"], found["unit"]) == (0, row["verdict"], "mmHg/min")
    assert found["value"] == pytest.approx(float(row["rate_per_min"]), abs=0.001)
    low, high = found["interval"]
    assert (high - low) / 2 == pytest.approx(float(row["half_per_min"]), abs=0.001)


def test_valve_and_exhaust_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A valve at 2.5 a second passes; an exhaust from 270 to 10 in 26 s is too slow: 24.5 s from 260 to 15."""
    file = tmp_path / "v.csv"
    file.write_text("time_s,reading_mmhg\n" + "".join(f"{at},{180 - 2.5 * at}\n" for at in range(0, 41, 4)), "utf-8")
    status, out, _ = leak(capsys, monkeypatch, str(file), "--test", "valve")
    assert status == 0
    assert "Release valve: PASS" in out
    file.write_text("time_s,reading_mmhg\n0,270\n26,10\n", encoding="utf-8")
    status, out, _ = leak(capsys, monkeypatch, str(file), "--test", "exhaust")
    assert status == 0
    assert "FAIL" in out
    assert "24.5 s" in out
    assert "from memory" in out


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("time_s\n1\n", "no column reading_mmhg"),
        ("time_s,reading_mmhg\n0,200\n60,abc\n", 'row 3, column reading_mmhg: "abc"'),
        ("time_s,reading_mmhg\n0,200\n0,199\n", "times that rise"),
        ("time_s,reading_mmhg\n0,200\n9999,199\n", "0 to 3600"),
        ("time_s,reading_mmhg\n0,200\n60,199\n", "3 to 10000 are needed"),
    ],
)
def test_bad_files_are_one_line(
    text: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 2, one line on standard error that names the file, nothing on standard output."""
    file = tmp_path / "times.csv"
    file.write_text(text, encoding="utf-8")
    status, out, told = leak(capsys, monkeypatch, str(file))
    assert (status, out) == (2, "")
    assert len(told.splitlines()) == 1
    assert "times.csv" in told
    assert words in told


@pytest.mark.parametrize("words", [("--test", "squeak"), ("--rule", "best")])
def test_bad_options_are_one_line(
    words: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An unknown test or rule is refused with the list."""
    status, _, told = leak(capsys, monkeypatch, str(tmp_path / "none.csv"), *words)
    assert status == 2
    assert "must be" in told
