"""EDF+, WFDB, OGG, odd formats and broken files: read as one recording or refused in one line."""

from __future__ import annotations

from pathlib import Path

import edfio
import numpy as np
import pytest
import soundfile

from hushpoint.errors import BadInputError
from hushpoint.recording import find_recordings, read_recording

CSV = "time_s,pressure_mmHg\n0,0\n5,180\n30,60\n"


def write_edf(path: Path, labels: tuple[str, str] = ("Sound", "Cuff"), unit: str = "mmHg") -> None:
    time = np.arange(0, 10, 1 / 2000)
    sound = edfio.EdfSignal(np.sin(time * 300) * 0.5, 2000, label=labels[0], physical_range=(-1, 1))
    cuff = edfio.EdfSignal(
        np.linspace(160, 60, 500), 50, label=labels[1], physical_dimension=unit, physical_range=(0, 300)
    )
    edfio.Edf([sound, cuff]).write(path)


def test_an_edf_file_holds_both_channels(tmp_path: Path) -> None:
    """Sound scaled to full scale, pressure in mmHg on its own times."""
    write_edf(tmp_path / "one.edf")
    found = read_recording(tmp_path / "one.edf")
    assert found.sound.rate_hz == 2000
    assert abs(float(np.abs(found.sound.samples).max()) - 0.5) < 0.01
    assert np.allclose(found.pressure.pressure_mmhg, np.linspace(160, 60, 500), atol=0.01)
    assert np.allclose(np.diff(found.pressure.time_s), 0.02)


def test_an_edf_file_without_pressure_is_refused(tmp_path: Path) -> None:
    """The refusal says what must be there."""
    write_edf(tmp_path / "two.edf", labels=("Sound", "Other"), unit="mV")
    with pytest.raises(BadInputError, match="cuff pressure"):
        read_recording(tmp_path / "two.edf")


def test_a_wfdb_record_holds_both_channels(tmp_path: Path) -> None:
    """The extra reads header and signals; the unit names the pressure."""
    wfdb = pytest.importorskip("wfdb")
    time = np.arange(0, 10, 1 / 2000)
    signals = np.column_stack((np.sin(time * 300), np.linspace(160, 60, len(time))))
    wfdb.wrsamp(
        "one", fs=2000, units=["mV", "mmHg"], sig_name=["sound", "cuff"], p_signal=signals, fmt=["16", "16"],
        write_dir=str(tmp_path),
    )  # fmt: skip
    found = read_recording(tmp_path / "one.hea")
    assert found.sound.rate_hz == 2000
    assert abs(found.pressure.pressure_mmhg[0] - 160) < 0.1
    assert abs(found.pressure.pressure_mmhg[-1] - 60) < 0.1


def test_a_wfdb_record_without_descriptions_is_read_by_its_units(tmp_path: Path) -> None:
    """A description is optional in a WFDB header."""
    wfdb = pytest.importorskip("wfdb")
    time = np.arange(0, 10, 1 / 2000)
    signals = np.column_stack((np.sin(time * 300), np.linspace(160, 60, len(time))))
    wfdb.wrsamp(
        "one", fs=2000, units=["mV", "mmHg"], sig_name=["a", "b"], p_signal=signals, fmt=["16", "16"],
        write_dir=str(tmp_path),
    )  # fmt: skip
    header = tmp_path / "one.hea"
    first, *lines = header.read_text().splitlines()
    header.write_text("\n".join([first, *(line.rsplit(" ", 1)[0] for line in lines if line)]) + "\n")
    assert abs(read_recording(header).pressure.pressure_mmhg[0] - 160) < 0.1


@pytest.mark.parametrize("kind", [("wav", "PCM_U8"), ("wav", "PCM_24"), ("wav", "PCM_32"), ("wav", "FLOAT"),
                                  ("wav", "DOUBLE"), ("flac", "PCM_24"), ("ogg", "VORBIS")])  # fmt: skip
def test_every_sample_format_is_read(tmp_path: Path, kind: tuple[str, str]) -> None:
    """8 to 32 bit, float, FLAC and OGG come in as the same wave."""
    wave = 0.5 * np.sin(np.arange(16000) / 8000 * 2 * np.pi * 100)
    path = tmp_path / f"one.{kind[0]}"
    soundfile.write(path, wave, 8000, subtype=kind[1])
    path.with_suffix(".csv").write_text(CSV)
    samples = read_recording(path).sound.samples
    assert np.abs(samples[100:15000] - wave[100:15000]).max() < 0.05


def wav_of(path: Path, samples: np.ndarray, rate: int) -> None:
    soundfile.write(path, samples, rate)
    path.with_suffix(".csv").write_text(CSV)


def test_files_that_are_no_recording_are_refused_in_one_line(tmp_path: Path) -> None:
    """Empty, text, truncated, one kind for another: each names the file, on one line."""
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "text.wav").write_text("this is no sound\n")
    (tmp_path / "junk.edf").write_bytes(bytes(range(256)) * 10)
    (tmp_path / "empty.edf").write_bytes(b"")
    (tmp_path / "junk.hea").write_text("no header\n")
    (tmp_path / "notes.txt").write_text("words")
    for name in ("empty", "text"):
        (tmp_path / f"{name}.csv").write_text(CSV)
    wav_of(tmp_path / "lonely.wav", np.zeros(8000), 8000)
    (tmp_path / "lonely.csv").unlink()
    for path in sorted(tmp_path.iterdir()):
        if path.suffix == ".csv":
            continue
        with pytest.raises(BadInputError, match=path.stem) as refusal:
            read_recording(path)
        assert "\n" not in str(refusal.value)


def test_ten_hours_are_refused_before_they_are_read(tmp_path: Path) -> None:
    """A header that promises ten hours is enough to say no."""
    path = tmp_path / "long.flac"
    with soundfile.SoundFile(path, "w", 2000, 1, "PCM_16") as file:
        block = np.zeros(2000 * 600)
        for _ in range(60):
            file.write(block)
    path.with_suffix(".csv").write_text(CSV)
    with pytest.raises(BadInputError, match="3600 s"):
        read_recording(path)


def test_a_folder_gives_what_has_its_pressure(tmp_path: Path) -> None:
    """Sound without pressure and other files are left alone; folders within are looked into."""
    deep = tmp_path / "deep"
    deep.mkdir()
    wav_of(deep / "b.wav", np.zeros(8000), 8000)
    wav_of(tmp_path / "a.wav", np.zeros(8000), 8000)
    wav_of(tmp_path / "alone.wav", np.zeros(8000), 8000)
    (tmp_path / "alone.csv").unlink()
    (tmp_path / "a.json").write_text("{}")
    assert [path.name for path in find_recordings([tmp_path])] == ["a.wav", "b.wav"]
    with pytest.raises(BadInputError, match="no such file"):
        list(find_recordings([tmp_path / "missing"]))
