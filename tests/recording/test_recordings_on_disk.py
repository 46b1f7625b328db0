"""Recordings on disk: written whole or not at all, read back as they were, refused in one line."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from hushpoint.arm import Person, render_measurement
from hushpoint.errors import BadInputError
from hushpoint.recording import read_pressure, read_sound, write_recording


def write(folder: Path, name: str = "one", **change: object) -> tuple[Path, Path, Path]:
    values: dict[str, object] = {
        "samples": np.sin(np.arange(4000) / 20).astype(np.float32) * 0.5,
        "rate_hz": 4000,
        "time_s": np.array([0.0, 0.5, 1.0]),
        "pressure_mmhg": np.array([0.0, 120.5, 80.25]),
        "made": {"systolic_mmhg": None, "seed": 1},
    }
    return write_recording(folder, name, **(values | change))


def test_a_recording_comes_back_as_it_was(tmp_path: Path) -> None:
    """Sound within a 16-bit step, pressure to 0.01 mmHg, truth to the letter."""
    rendered = render_measurement(Person(), release_mmhg_per_s=5, seed=3)
    wav, pressure, truth = write_recording(
        tmp_path / "new" / "folder",
        "arm",
        samples=rendered.samples,
        rate_hz=rendered.rate_hz,
        time_s=rendered.time_s,
        pressure_mmhg=rendered.pressure_mmhg,
        made=rendered.made,
    )
    sound, cuff = read_sound(wav), read_pressure(pressure)
    assert sound.rate_hz == rendered.rate_hz
    assert np.abs(sound.samples - rendered.samples).max() <= 1 / 32768
    assert np.array_equal(cuff.time_s, rendered.time_s)
    assert np.array_equal(cuff.pressure_mmhg, rendered.pressure_mmhg)
    kept = json.loads(truth.read_text())
    assert kept == json.loads(json.dumps(rendered.made))
    assert {"systolic_mmhg", "diastolic_mmhg", "arm", "seed"} <= set(kept)
    assert pressure.read_text().splitlines()[0] == "time_s,pressure_mmHg"


def test_writing_leaves_three_files_and_nothing_else(tmp_path: Path) -> None:
    """No half-written file stays beside the three, and writing again replaces them with the same bytes."""
    first = [path.read_bytes() for path in write(tmp_path)]
    second = [path.read_bytes() for path in write(tmp_path)]
    assert first == second
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.csv", "one.json", "one.wav"]


def test_a_truth_that_cannot_be_told_leaves_nothing(tmp_path: Path) -> None:
    """Where the JSON cannot be made, no sound and no pressure stay behind."""
    with pytest.raises(ValueError, match="JSON"):
        write(tmp_path, made={"systolic_mmhg": float("nan")})
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_a_file_is_refused(tmp_path: Path) -> None:
    """The refusal names the folder in one line."""
    (tmp_path / "here").write_text("a file")
    with pytest.raises(BadInputError, match="choose a folder") as refusal:
        write(tmp_path / "here")
    assert "\n" not in str(refusal.value)
    assert (tmp_path / "here").read_text() == "a file"


BAD_PRESSURE = {
    "empty": b"",
    "header only": b"time_s,pressure_mmHg\n",
    "wrong header": b"t,p\n0,1\n1,2\n",
    "one row": b"time_s,pressure_mmHg\n0,1\n",
    "text": b"time_s,pressure_mmHg\n0,1\n1,high\n",
    "three columns": b"time_s,pressure_mmHg\n0,1,2\n1,2,3\n",
    "one column": b"time_s,pressure_mmHg\n0\n1\n",
    "nan": b"time_s,pressure_mmHg\n0,1\n1,nan\n",
    "infinite": b"time_s,pressure_mmHg\n0,1\ninf,2\n",
    "too high": b"time_s,pressure_mmHg\n0,1\n1,4000\n",
    "too low": b"time_s,pressure_mmHg\n0,1\n1,-50\n",
    "time back": b"time_s,pressure_mmHg\n0,1\n2,2\n1,3\n",
    "time stands": b"time_s,pressure_mmHg\n0,1\n0,2\n",
    "not text": bytes(range(256)),
    "huge number": b"time_s,pressure_mmHg\n0,1\n1," + b"9" * 400 + b"\n",
    "a nul": b"time_s,pressure_mmHg\n0,1\n\x001,2\n",
}


@pytest.mark.parametrize("content", BAD_PRESSURE.values(), ids=BAD_PRESSURE.keys())
def test_a_pressure_file_that_makes_no_sense_is_refused(tmp_path: Path, content: bytes) -> None:
    """One line that names the file; where a row is at fault, the row."""
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    with pytest.raises(BadInputError, match=r"bad\.csv") as refusal:
        read_pressure(path)
    assert "\n" not in str(refusal.value)


def test_the_refusal_names_the_row(tmp_path: Path) -> None:
    """Rows are counted as a spreadsheet does, the header being row 1."""
    path = tmp_path / "bad.csv"
    path.write_text("time_s,pressure_mmHg\n0,1\n2,2\n1,3\n")
    with pytest.raises(BadInputError, match="row 4"):
        read_pressure(path)


def test_blank_lines_and_a_byte_order_mark_are_let_pass(tmp_path: Path) -> None:
    """A file saved by a spreadsheet reads like any other."""
    path = tmp_path / "good.csv"
    path.write_bytes("\ufefftime_s,pressure_mmHg\r\n0,1\r\n\r\n1,2\r\n".encode())
    assert read_pressure(path).pressure_mmhg.tolist() == [1, 2]


def test_sound_files_that_cannot_be_read_are_refused(tmp_path: Path) -> None:
    """Slow, empty, broken and missing files each give one line that names the file."""
    loud = np.zeros(3000)
    made = {
        "slow.wav": lambda path: soundfile.write(path, loud, 1000),
        "empty.wav": lambda path: soundfile.write(path, np.zeros(0), 4000),
        "broken.wav": lambda path: path.write_bytes(b"RIFF0000WAVEjunk"),
        "missing.wav": lambda path: None,
    }
    for name, make in made.items():
        make(tmp_path / name)
        with pytest.raises(BadInputError, match=name) as refusal:
            read_sound(tmp_path / name)
        assert "\n" not in str(refusal.value)


def test_flac_is_read_too(tmp_path: Path) -> None:
    """A lossless packed file gives the samples it was made from."""
    samples = np.round(np.sin(np.arange(4000) / 30) * 16000) / 32768
    soundfile.write(tmp_path / "one.flac", samples, 4000, subtype="PCM_16")
    assert np.array_equal(read_sound(tmp_path / "one.flac").samples, samples)


def test_two_channels_are_averaged(tmp_path: Path) -> None:
    """A stereo file is read as the mean of its channels."""
    soundfile.write(tmp_path / "two.wav", np.tile([[0.5, 0.25]], (3000, 1)), 4000, subtype="PCM_24")
    assert np.allclose(read_sound(tmp_path / "two.wav").samples, 0.375)


def test_an_empty_pressure_cell_is_no_measurement(tmp_path: Path) -> None:
    """A cell left empty, or `nan`, stands for pressure that was not measured."""
    path = tmp_path / "holes.csv"
    path.write_text("time_s,pressure_mmHg\n0,1\n1,\n2,nan\n3,4\n")
    assert np.array_equal(read_pressure(path).pressure_mmhg, [1, np.nan, np.nan, 4], equal_nan=True)
