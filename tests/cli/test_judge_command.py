"""`hushpoint judge`: its contract, its words, and one clear line for whatever cannot be judged."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

from hushpoint.agreement import digits
from hushpoint.cli.main import run


def readings(folder: Path, systolic: list[int], diastolic: list[int | None]) -> Path:
    """A file of learner S and reference L on measurements from 100/60 up by 4/2; S is off by these."""
    lines = ["measurement,observer,systolic,diastolic"]
    for place, (upper, lower) in enumerate(zip(systolic, diastolic, strict=True)):
        below = "" if lower is None else 60 + 2 * place + lower
        lines += [f"m{place},L,{100 + 4 * place},{60 + 2 * place}", f"m{place},S,{100 + 4 * place + upper},{below}"]
    made = folder / "pairs.csv"
    made.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return made


def called(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    """Run the command line as typed; return its exit status."""
    monkeypatch.setattr(sys, "argv", ["hushpoint", "judge", *words])
    with pytest.raises(SystemExit) as ended:
        run()
    return int(ended.value.code or 0)


def judged(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    """The JSON object the command prints."""
    assert called(monkeypatch, *words, "--json") == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    found: dict[str, Any] = json.loads(printed.out)
    return found


WHO = ("--learner", "S", "--reference", "L", "--rule")
SCENE_NINE = ([0] * 18 + [8, -8], [2] * 19 + [10])


def test_scene_nine_through_the_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Twenty pairs, 18 and 19 within 5: competent by 90/95, rule, source, counts, odds and caution beside it."""
    found = judged(monkeypatch, capsys, str(readings(tmp_path, *SCENE_NINE)), *WHO, "OBRIEN_90_95")
    assert found["verdict"] == "competent"
    assert (found["learner"], found["reference"], found["missing"]) == ("S", "L", [])
    assert found["rule"]["id"] == "OBRIEN_90_95"
    assert found["rule"]["mark"] == "SEEN"
    assert [(c["found"], c["needed"], c["met"]) for c in found["counts"]] == [
        (18, 18, True), (20, 19, True), (19, 18, True), (20, 19, True),
    ]  # fmt: skip
    assert found["agreement"]["systolic"]["within"]["5"] == 90.0
    icc = found["reliability"]["systolic"]["icc_2_1"]
    assert 0.98 < icc["ci"][0] < icc["value"] < icc["ci"][1] < 1
    assert found["coverage"]["systolic_mmhg"] == [100.0, 176.0]
    assert all(0 <= row["passes"] <= 1 for row in found["odds"])
    assert "lecturer decides" in found["caution"]


def test_learning_curve_and_intervals_stand_beside_the_rule(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Seven clean pairs: eleven more would show it; of seven within, the exact interval starts at 59 %; no trend."""
    file = readings(tmp_path, [0] * 7, [0] * 7)
    found = judged(monkeypatch, capsys, str(file), *WHO, "OBRIEN_90_95")
    assert found["curve"]["missing"] == ["eleven more clean readings would show it"]
    assert (found["curve"]["limit"], len(found["curve"]["scores"])) == (3.1, 7)
    # Clopper-Pearson of 7 of 7: 0.025 to the power 1/7.
    assert found["counts"][0]["percent_ci"] == [pytest.approx(100 * 0.025 ** (1 / 7), abs=1e-4), 100.0]
    assert found["trend"]["systolic"]["slope"] == 0
    assert found["limits_exact_ci_mmhg"]["systolic"] == [[0.0, 0.0], [0.0, 0.0]]
    assert called(monkeypatch, str(file), *WHO, "OBRIEN_90_95") == 0
    assert "Learning curve: eleven more clean readings would show it; someone wrong in 25 %" in " ".join(
        capsys.readouterr().out.split()
    )


def test_scene_three_zeros_are_a_habit_to_review(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """14 of 30 even systolics end in 0, p 0.0009: "review the reading habit", and the verdict is untouched."""
    zeros, others = [100, 110, 120, 130, 140, 150, 160] * 2, [102, 114, 126, 138, 142, 154, 166, 118] * 2
    lines = ["measurement,observer,systolic,diastolic"]
    for place, value in enumerate(zeros + others):
        lines += [f"{place},L,{value},{60 + 2 * (place % 9)}", f"{place},S,{value},{60 + 2 * (place % 9)}"]
    file = tmp_path / "zeros.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = judged(monkeypatch, capsys, str(file), *WHO, "OBRIEN_90_95")
    assert found["verdict"] == "competent"
    (habit,) = (note for note in found["notes"] if "habit" in note)
    assert habit.startswith("review the reading habit, systolic: zeros stand out clearly: 14 of 30 even readings")
    assert round(digits(zeros + others).p_zeros or 0, 4) == 0.0009


def test_a_clear_trend_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A learner ever lower as pressures rise is told by how much for every 10 mmHg."""
    file = readings(tmp_path, [-place // 2 for place in range(20)], [0] * 20)
    assert called(monkeypatch, str(file), *WHO, "OBRIEN_90_95") == 0
    assert "It changes by −1.3 mmHg for every 10 mmHg of pressure" in " ".join(capsys.readouterr().out.split())


def test_words_are_kind_and_say_what_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Three wide of twenty: "not yet" and how many more clean readings would show it; never "failed"."""
    file = readings(tmp_path, [0] * 17 + [8] * 3, [0] * 20)
    assert called(monkeypatch, str(file), *WHO, "obrien-90-95") == 0
    told = capsys.readouterr().out
    assert "S beside L: not yet." in told
    assert "Missing: ten more clean readings would show it." in told
    assert "fail" not in told.lower()


def test_variety_can_be_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --variety a set that ends at 156 lacks one at or above 160."""
    file = readings(tmp_path, [0] * 15, [0] * 15)
    found = judged(monkeypatch, capsys, str(file), *WHO, "CHAT", "--variety")
    assert found["verdict"] == "too_few"
    assert found["missing"] == ["one reading at or above 160 is missing"]


def test_one_pair_is_too_few_and_has_no_spread(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A single pair is answered, in words and in JSON."""
    file = readings(tmp_path, [2], [0])
    found = judged(monkeypatch, capsys, str(file), *WHO, "BHS_1993")
    assert found["verdict"] == "too_few"
    assert found["reliability"]["systolic"] == {
        "icc_2_1": None, "icc_3_1": None, "concordance": None, "single_readings": None,
    }  # fmt: skip
    assert called(monkeypatch, str(file), *WHO, "BHS_1993") == 0
    assert "too few to say" in capsys.readouterr().out


@pytest.mark.parametrize("diastolic", [None, 0])
def test_a_learner_without_diastolics_is_answered(
    diastolic: int | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Empty diastolics where the reference wrote them are not within; written ones are."""
    file = readings(tmp_path, [0] * 20, [diastolic] * 20)
    found = judged(monkeypatch, capsys, str(file), *WHO, "OBRIEN_85_95")
    assert found["verdict"] == ("competent" if diastolic == 0 else "not_yet")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--learner", "X", "--reference", "L", "--rule", "CHAT"), '--learner "X" has no readings; observers are "L"'),
        (("--learner", "S", "--reference", "", "--rule", "CHAT"), '--reference "" has no readings'),
        (("--learner", "S", "--reference", "S", "--rule", "CHAT"), "another observer than the learner"),
        (("--learner", "S", "--reference", "L", "--rule", "BEST"), '--rule "BEST": must be one of NHANES_2003'),
        (("--learner", "S", "--reference", "L", "--rule", "\x1b[31m\n"), "must be one of"),
        (("--learner", "S", "--reference", "L"), "rule"),
        (("--learner", "N", "--reference", "L", "--rule", "CHAT"), "share no measurement"),
    ],
)
def test_bad_words_give_one_line_and_status_two(
    words: tuple[str, ...],
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each refusal is one line on standard error, nothing on standard output."""
    file = readings(tmp_path, [0], [0])
    with file.open("a", encoding="utf-8") as more:
        more.write("elsewhere,N,120,80\n")
    assert called(monkeypatch, str(file), *words) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert told in printed.err
    assert printed.err.count("\n") == 1
    assert "\x1b" not in printed.err


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "empty"),
        (b"measurement,observer\n1,S\n", "no column systolic, diastolic"),
        (b"measurement,observer,systolic,diastolic\n1,S,400,80\n", "row 2, column systolic"),
        (b"measurement,observer,systolic,diastolic\n1,S,120,80\n1,S,120,80\n", "row 3"),
        (b"\xff\xfe", "not UTF-8"),
    ],
)
def test_bad_files_give_one_line_and_status_two(
    data: bytes, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The line names the file and what is wrong in it."""
    file = tmp_path / "bad.csv"
    file.write_bytes(data)
    assert called(monkeypatch, str(file), *WHO, "CHAT") == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith("hushpoint: bad.csv")
    assert told in printed.err
    assert printed.err.count("\n") == 1
