"""`hushpoint render` as a person types it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from hushpoint.cli.render import render_files
from hushpoint.errors import BadInputError
from hushpoint.recording import read_pressure, read_sound

GOOD = {"systolic": 128.0, "diastolic": 82.0, "pulse": 72.0, "release": 5.0, "seed": 7}


def hushpoint(*words: str) -> subprocess.CompletedProcess[str]:
    code = "from hushpoint.cli.main import run; run()"
    return subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=False)


def test_the_command_writes_sound_pressure_and_truth(tmp_path: Path) -> None:
    """Three files for every measurement, one line each on standard output, seeds counted on, status 0."""
    done = hushpoint(
        "render", "--systolic", "170", "--diastolic", "95", "--gap", "120:145", "--noise", "ward",
        "--rhythm", "ectopic", "--release", "4", "--seed", "7", "--count", "2", "--out", str(tmp_path / "new"),
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert len(done.stdout.splitlines()) == 2
    names = sorted(path.name for path in (tmp_path / "new").iterdir())
    stems = ["arm-170-95-seed-7", "arm-170-95-seed-8"]
    assert names == [f"{stem}{end}" for stem in stems for end in (".csv", ".json", ".wav")]
    truth = json.loads((tmp_path / "new" / "arm-170-95-seed-7.json").read_text())
    assert truth["seed"] == 7
    assert truth["arm"]["gap_mmhg"] == [120, 145]
    assert 155 < truth["systolic_mmhg"] < 180
    low, high = truth["systolic_range_mmhg"]
    assert low <= truth["systolic_mmhg"] <= high
    sound = read_sound(tmp_path / "new" / "arm-170-95-seed-7.wav")
    cuff = read_pressure(tmp_path / "new" / "arm-170-95-seed-7.csv")
    assert len(sound.samples) / sound.rate_hz == pytest.approx(cuff.time_s[-1], abs=0.1)
    assert cuff.pressure_mmhg.max() > 190


def test_same_seed_same_bytes(tmp_path: Path) -> None:
    """Two runs in two processes write the very same files."""
    for folder in ("a", "b"):
        assert hushpoint("render", "--seed", "9", "--release", "6", "--out", str(tmp_path / folder)).returncode == 0
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()


def test_a_faint_arm_reads_higher_at_the_low_end(tmp_path: Path) -> None:
    """12 dB fainter, the same release ends its sounds earlier."""
    for faint in (0.0, 12.0):
        render_files(**GOOD, out=tmp_path / f"{faint:g}", faint_db=faint)
    usual, faint_truth = (
        json.loads((tmp_path / folder / "arm-128-82-seed-7.json").read_text()) for folder in ("0", "12")
    )
    assert faint_truth["diastolic_mmhg"] > usual["diastolic_mmhg"] + 2


def test_an_arm_that_nobody_hears_has_no_numbers(tmp_path: Path) -> None:
    """The truth is null with a reason, never a zero."""
    render_files(**GOOD, out=tmp_path, faint_db=60.0)
    truth = json.loads((tmp_path / "arm-128-82-seed-7.json").read_text())
    assert truth["systolic_mmhg"] is None
    assert truth["diastolic_mmhg"] is None
    assert "no two sounds" in truth["systolic_withheld"]


BAD = [
    {"systolic": 400.0}, {"systolic": 0.0}, {"systolic": float("nan")}, {"systolic": float("inf")},
    {"systolic": -128.0}, {"systolic": 1e300}, {"diastolic": 0.0}, {"diastolic": 130.0}, {"diastolic": 125.0},
    {"diastolic": float("nan")}, {"pulse": 0.0}, {"pulse": 500.0}, {"pulse": float("nan")}, {"release": 0.0},
    {"release": -2.5}, {"release": 100.0}, {"release": float("inf")}, {"seed": -1}, {"seed": 2**63},
    {"seed": 2**200}, {"seed": 2**63 - 1, "count": 2}, {"count": 0}, {"count": 10_001}, {"count": -5},
    {"count": 2**70}, {"faint_db": -1.0}, {"faint_db": 100.0}, {"faint_db": float("nan")}, {"rhythm": "waltz"},
    {"rhythm": ""}, {"noise": "loud"}, {"noise": ""}, {"gap": "150"}, {"gap": "a:b"}, {"gap": "110:100"},
    {"gap": "60:100"}, {"gap": "100:140"}, {"gap": "1:2:3"}, {"gap": "nan:100"}, {"gap": ""}, {"gap": "100:inf"},
]  # fmt: skip


@pytest.mark.parametrize("change", BAD, ids=[str(one)[:60] for one in BAD])
def test_an_option_outside_its_range_is_refused(tmp_path: Path, change: dict[str, object]) -> None:
    """One line that names the option and what is legal; not even the folder is made."""
    with pytest.raises(BadInputError, match="--") as refusal:
        render_files(**(GOOD | {"out": tmp_path / "out"} | change))
    assert "\n" not in str(refusal.value)
    assert len(str(refusal.value)) < 200
    assert "must" in str(refusal.value)
    assert list(tmp_path.iterdir()) == []


def test_a_slow_release_of_a_wide_arm(tmp_path: Path) -> None:
    """A release that fits into the longest log is written; a slower one is refused before anything is."""
    wide = {"systolic": 260.0, "diastolic": 30.0, "pulse": 30.0, "rhythm": "irregular", "seed": 2**63 - 1}
    with pytest.raises(BadInputError, match="longer than 600 s: release faster"):
        render_files(**wide, release=0.5, out=tmp_path / "out")
    assert list(tmp_path.iterdir()) == []
    render_files(**wide, release=0.6, out=tmp_path / "out")
    assert len(list((tmp_path / "out").iterdir())) == 3


def test_out_may_not_be_a_file(tmp_path: Path) -> None:
    """A file in the way is left as it is."""
    (tmp_path / "out").write_text("mine")
    with pytest.raises(BadInputError, match="--out"):
        render_files(**GOOD, out=tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"


@pytest.mark.parametrize(
    "words", [["--systolic", "high"], ["--seed", "1.5"], ["--count", "many"], ["--pulse", ""], ["--loud", "3"],
              ["--systolic", "90", "--diastolic", "95"], ["--release", "1e400"]]
)  # fmt: skip
def test_bad_words_end_in_one_line_and_status_2(tmp_path: Path, words: list[str]) -> None:
    """No traceback, nothing written."""
    done = hushpoint("render", "--out", str(tmp_path / "out"), *words)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert done.stderr.startswith("hushpoint: ")
    assert done.stdout == ""
    assert list(tmp_path.iterdir()) == []
