"""`hushpoint read` as a person and a script call it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

PROGRAM = Path(sys.executable).with_name("hushpoint")
KEYS = {"file", "systolic", "diastolic", "pulse_per_min", "release_mmhg_per_s", "gap", "phase_iv_mmhg", "notes"}


def hushpoint(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run([PROGRAM, *map(str, words)], capture_output=True, text=True, check=False)


@pytest.fixture(scope="module")
def arms(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three rendered recordings."""
    folder = tmp_path_factory.mktemp("arms")
    assert hushpoint("render", "--count", 3, "--seed", 40, "--out", folder).returncode == 0
    return folder


def lines(answer: subprocess.CompletedProcess[str]) -> list[dict[str, object]]:
    return [json.loads(line) for line in answer.stdout.splitlines()]


def test_a_folder_gives_one_object_a_line(arms: Path) -> None:
    """The documented keys; verdicts heard with a range; within 5 of the truth beside the file."""
    answer = hushpoint("read", arms, "--json")
    assert answer.returncode == 0
    found = lines(answer)
    assert len(found) == 3
    for one in found:
        assert set(one) >= KEYS
        truth = json.loads(Path(str(one["file"])).with_suffix(".json").read_text())
        for end in ("systolic", "diastolic"):
            verdict = one[end]
            assert isinstance(verdict, dict)
            assert set(verdict) == {"verdict", "mmhg", "low", "high"}
            assert verdict["low"] <= verdict["mmhg"] <= verdict["high"]
            assert abs(verdict["mmhg"] - truth[f"{end}_mmhg"]) <= 5


def test_words_for_a_person_carry_the_caution(arms: Path) -> None:
    """Results on standard output, the caution on standard error, no JSON."""
    answer = hushpoint("read", next(arms.glob("*.wav")))
    assert "systolic 1" in answer.stdout
    assert "(range 1" in answer.stdout
    assert "not a judgement of a person's health" in answer.stderr


def test_two_processes_say_the_same_in_the_same_order(arms: Path) -> None:
    """--jobs changes nothing but time."""
    assert hushpoint("read", arms, "--json", "--jobs", 2).stdout == hushpoint("read", arms, "--json").stdout


def test_one_bad_file_never_stops_the_rest(arms: Path, tmp_path: Path) -> None:
    """The bad one gets an object with `error`, the others their answers, the status is 2."""
    for path in arms.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "aa.wav").write_text("no sound")
    (tmp_path / "aa.csv").write_text("time_s,pressure_mmHg\n0,1\n1,2\n")
    answer = hushpoint("read", tmp_path, "--json")
    assert answer.returncode == 2
    found = lines(answer)
    assert "aa.wav" in str(found[0]["error"])
    assert all("systolic" in one for one in found[1:])
    assert len(found) == 4
    assert "Traceback" not in answer.stderr


def test_a_sound_file_cut_off_half_way_is_read_as_far_as_it_goes(arms: Path, tmp_path: Path) -> None:
    """A copy that broke off in its data: no traceback, a note that the sound ends early, no diastolic made up."""
    whole = next(arms.glob("*.wav"))
    data = whole.read_bytes()
    (tmp_path / "cut.wav").write_bytes(data[: len(data) // 2])
    (tmp_path / "cut.csv").write_bytes(whole.with_suffix(".csv").read_bytes())
    answer = hushpoint("read", tmp_path / "cut.wav", "--json")
    assert "Traceback" not in answer.stderr
    (found,) = lines(answer)
    assert any("the sound ends" in str(note) for note in found["notes"])  # type: ignore[attr-defined]
    assert found["diastolic"]["verdict"] == "withheld"  # type: ignore[index]


def test_a_run_goes_on_where_it_stopped(arms: Path, tmp_path: Path) -> None:
    """With --keep a file already answered is not read again; a line cut short is."""
    keep = tmp_path / "kept.jsonl"
    whole = hushpoint("read", arms, "--json", "--keep", keep)
    text = keep.read_text()
    assert text == whole.stdout
    keep.write_text(text[: text.index("\n") + 40])
    again = hushpoint("read", arms, "--json", "--keep", keep)
    assert again.stdout == "\n".join(text.splitlines()[1:]) + "\n"
    assert [line for line in keep.read_text().splitlines() if line in text.splitlines()] == text.splitlines()
    assert hushpoint("read", arms, "--json", "--keep", keep).stdout == ""


@pytest.mark.parametrize(("form", "start"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")])
def test_a_picture_in_each_form(arms: Path, tmp_path: Path, form: str, start: bytes) -> None:
    """One picture a recording, the same bytes every time."""
    sound = min(arms.glob("*.wav"))
    for folder in ("one", "two"):
        assert hushpoint("read", sound, "--picture", tmp_path / folder, "--form", form).returncode == 0
    first, second = (tmp_path / folder / f"{sound.stem}.{form}" for folder in ("one", "two"))
    assert first.read_bytes().startswith(start)
    assert first.read_bytes() == second.read_bytes()


def test_grading_against_the_truth(arms: Path, tmp_path: Path) -> None:
    """Mean, SD, shares, both ISO criteria, BHS grade and how many were withheld; a picture of the differences."""
    answer = hushpoint("read", arms, "--json", "--grade", "--picture", tmp_path)
    graded = lines(answer)[-1]["grade"]
    assert isinstance(graded, dict)
    for end in ("systolic", "diastolic"):
        assert graded[end]["n"] == 3
        assert graded[end]["bhs"] == "A"
        assert graded[end]["criterion_1"]
    assert (tmp_path / "differences.png").read_bytes().startswith(b"\x89PNG")
    words = hushpoint("read", arms, "--grade")
    assert "ISO 81060-2 criterion 1 met" in words.stdout


def test_every_beat_on_demand(arms: Path) -> None:
    """--beats adds the table; without it the line stays short."""
    sound = min(arms.glob("*.wav"))
    beats = lines(hushpoint("read", sound, "--json", "--beats"))[0]["beats"]
    assert isinstance(beats, list)
    assert set(beats[0]) == {"at_s", "mmhg", "over_silence_db", "sounding"}


@pytest.mark.parametrize(
    "words",
    [("missing",), ("{arms}", "--jobs", "0"), ("{arms}", "--form", "gif"), ("{empty}",), ("{empty}", "--grade")],
)
def test_wrong_use_is_one_line(arms: Path, tmp_path: Path, words: tuple[str, ...]) -> None:
    """Status 2 and one line on standard error."""
    empty = tmp_path / "empty"
    empty.mkdir()
    answer = hushpoint("read", *(word.format(arms=arms, empty=empty) for word in words))
    assert answer.returncode == 2
    assert answer.stdout == ""
    assert len(answer.stderr.splitlines()) == 1


def sounds() -> dict[str, tuple[np.ndarray, int]]:
    return {
        "one sample": (np.zeros(1), 8000),
        "all zero": (np.zeros(8000 * 30), 8000),
        "192 kHz": (np.random.default_rng(1).standard_normal(192000 * 30) * 0.01, 192000),
        "a second": (np.ones(8000) * 0.1, 8000),
    }


@pytest.mark.parametrize("name", sounds())
def test_strange_sound_gets_a_clear_answer(tmp_path: Path, name: str) -> None:
    """One sample, all zero, 192 kHz of noise, one second: both ends withheld with a reason."""
    samples, rate = sounds()[name]
    soundfile.write(tmp_path / "strange.wav", samples, rate)
    rows = "".join(f"{at / 10},{max(0, min(at * 3, 170 - at * 0.3)):.1f}\n" for at in range(400))
    (tmp_path / "strange.csv").write_text("time_s,pressure_mmHg\n" + rows)
    answer = hushpoint("read", tmp_path, "--json")
    assert answer.returncode == 0, answer.stderr
    (found,) = lines(answer)
    for end in ("systolic", "diastolic"):
        verdict = found[end]
        assert isinstance(verdict, dict)
        assert verdict["verdict"] == "withheld"
        assert verdict["reason"]
