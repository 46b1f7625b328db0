"""The recordings page by an in-process client: good ones, bad ones, kept ones, observers, erasure."""

from __future__ import annotations

import io
import os
import re
import stat
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from hushpoint import __version__
from hushpoint.arm import Person, render_measurement
from hushpoint.desk import recordings
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.ledger.store import FILE_NAME
from hushpoint.recording import write_recording
from hushpoint.web import guard
from hushpoint.wiring import Settings, build

PASSWORD = "ten letters or more"
HTML = {"accept": "text/html"}


@dataclass
class Laptop:
    """An app over a folder of its own, with the lecturer's browser."""

    data: Path
    ledger: MemoryLedger
    lecturer: TestClient

    def send(self, sound: tuple[str, bytes] | None, pressure: tuple[str, bytes] | None) -> Any:
        """Send a recording by the form."""
        both = {"sound": sound, "pressure": pressure}
        chosen = {name: file for name, file in both.items() if file is not None}
        return self.lecturer.post("/recordings", files=chosen, follow_redirects=False)

    def lies(self) -> list[str]:
        """Return every file of recordings, kept or not."""
        return sorted(str(path.relative_to(self.data)) for path in self.data.rglob("*") if path.is_file())


@pytest.fixture
def laptop(tmp_path: Path) -> Iterator[Laptop]:
    """The app after the lecturer's first run."""
    ledger = MemoryLedger()
    app = build(Settings(data_dir=tmp_path), ledger)
    with TestClient(app, headers=HTML, client=("127.0.0.1", 40000)) as lecturer:
        assert lecturer.post("/class/first-run", data={"password": PASSWORD}).status_code == 200
        yield Laptop(tmp_path, ledger, lecturer)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, bytes, dict[str, Any]]:
    """A rendered recording: WAV, CSV and truth."""
    person = Person(systolic_mmhg=128, diastolic_mmhg=82, pulse_per_min=72)
    rendered = render_measurement(person, release_mmhg_per_s=2.5, seed=40)
    sound, pressure, _ = write_recording(
        tmp_path_factory.mktemp("made"),
        "one",
        samples=rendered.samples,
        rate_hz=rendered.rate_hz,
        time_s=rendered.time_s,
        pressure_mmhg=rendered.pressure_mmhg,
        made=rendered.made,
    )
    return sound.read_bytes(), pressure.read_bytes(), rendered.made


def words(page: str) -> str:
    """Return a page's text without marks and doubled spaces."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page))


def taken_in(laptop: Laptop, made: tuple[bytes, bytes, dict[str, Any]]) -> str:
    """Take the rendered recording in and return its page."""
    answer = laptop.send(("one.wav", made[0]), ("one.csv", made[1]))
    assert answer.status_code == 303
    return str(answer.headers["location"])


def kept(laptop: Laptop, made: tuple[bytes, bytes, dict[str, Any]], label: str = "K17") -> str:
    """Keep the rendered recording and return its page."""
    page = taken_in(laptop, made)
    assert laptop.lecturer.post(f"{page}/keep", data={"label": label}).status_code == 200
    return page


def test_what_was_heard_is_shown_with_ranges_and_nothing_is_kept(laptop: Laptop, made: Any) -> None:
    """Both ends near the truth with their ranges, pulse, rates and beats; the journal stays as it was."""
    before = laptop.ledger.last()
    page = laptop.lecturer.get(taken_in(laptop, made)).text
    for end in ("systolic", "diastolic"):
        shown = re.search(rf'data-end="{end}">([\d.]+)', page)
        assert shown
        assert abs(float(shown[1]) - made[2][f"{end}_mmhg"]) <= 5
    told = words(page)
    assert "with 95 % chance" in told
    assert "72 a minute" in told or "73 a minute" in told
    assert "Every beat as a table" in told
    assert "no judgement of a person's health" in told or "no judgement of a person&#39;s health" in told
    assert laptop.ledger.last() == before


def test_a_reading_laid_beside_is_told_in_words_and_kept_nowhere(laptop: Laptop, made: Any) -> None:
    """The difference from the ear in words with its side, and whether it lies in the range; nonsense is refused."""
    page, before = taken_in(laptop, made), laptop.ledger.last()
    told = words(laptop.lecturer.get(page, params={"systolic": "150", "diastolic": ""}).text)
    assert re.search(r"Systolic: yours 150 is [\d.]+ above the ear(&#39;|')s 1[\d.]+, outside its range", told)
    assert re.search(r"Diastolic: yours not heard; the ear heard it at \d", told)
    for nonsense in ("301", "-1", "abc", "12.5", "9999", "１２０"):
        answer = laptop.lecturer.get(page, params={"systolic": nonsense})
        assert answer.status_code == 422
        assert "0 to 300" in answer.text
    assert laptop.ledger.last() == before


def test_the_picture_in_three_forms_with_a_reading_beside(laptop: Laptop, made: Any) -> None:
    """PNG, SVG and PDF begin as such; a reading laid beside changes the picture; another form is not there."""
    page = taken_in(laptop, made)
    for form, start in (("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")):
        answer = laptop.lecturer.get(f"{page}/picture.{form}")
        assert answer.content.startswith(start)
    plain, beside = (
        laptop.lecturer.get(f"{page}/picture.png", params=given).content for given in ({}, {"systolic": "120"})
    )
    assert plain != beside
    assert laptop.lecturer.get(f"{page}/picture.gif").status_code == 404


def test_the_sound_sent_is_the_sound_recorded(laptop: Laptop, made: Any) -> None:
    """The WAV that the page plays holds the recording's samples, mono and 16 bit."""
    answer = laptop.lecturer.get(f"{taken_in(laptop, made)}/sound.wav")
    sent, rate = soundfile.read(io.BytesIO(answer.content))
    own, own_rate = soundfile.read(io.BytesIO(made[0]))
    assert soundfile.info(io.BytesIO(answer.content)).subtype == "PCM_16"
    every = rate // own_rate  # a browser plays nothing below 8 kHz
    assert rate == every * own_rate >= 8000
    assert np.abs(sent[::every] - own).max() < 0.01 * np.abs(own).max()


@pytest.mark.parametrize("rate", [2000, 96000])
def test_odd_rates_are_played_at_one_every_browser_takes(rate: int, tmp_path: Path) -> None:
    """A tone of 100 Hz is one of 100 Hz afterwards, between 8 and 48 kHz."""
    from hushpoint.recording import Sound, played_wav

    tone = 0.5 * np.sin(2 * np.pi * 100 * np.arange(2 * rate) / rate)
    samples, played = soundfile.read(io.BytesIO(played_wav(Sound(tone, float(rate)))))
    assert 8000 <= played <= 48000
    strength = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    assert abs(strength.argmax() * played / len(samples) - 100) < 1


def test_the_needle_follows_the_sounds_clock(laptop: Laptop, made: Any) -> None:
    """Pressure recorded on a clock 2 s late is sent on the sound's: the needle stands where it stood."""
    page = taken_in(laptop, made)
    straight = laptop.lecturer.get(f"{page}/pressure.json").json()
    rows = [line.split(",") for line in made[1].decode().splitlines()[1:]]
    late = "time_s,pressure_mmHg\n" + "".join(f"{float(at) + 2:.3f},{mmhg}\n" for at, mmhg in rows)
    answer = laptop.send(("one.wav", made[0]), ("one.csv", late.encode()))
    moved = laptop.lecturer.get(f"{answer.headers['location']}/pressure.json").json()
    told = words(laptop.lecturer.get(answer.headers["location"]).text)
    assert "put right by the pulse" in told
    at = np.arange(15, 40, 0.5)
    stand, stood = (np.interp(at, one["time_s"], one["mmhg"]) for one in (moved, straight))
    assert np.abs(stand - stood).max() < 2.0


def test_one_edf_holds_both(laptop: Laptop, made: Any, tmp_path_factory: pytest.TempPathFactory) -> None:
    """An EDF is read by itself; with a CSV beside it, it is refused."""
    import edfio

    own, rate = soundfile.read(io.BytesIO(made[0]))
    rows = np.array([line.split(b",") for line in made[1].splitlines()[1:]], dtype=float)
    seconds = int(len(own) / rate)
    even = np.interp(np.arange(seconds * 50) / 50, rows[:, 0], rows[:, 1])
    signals = [
        edfio.EdfSignal(own[: seconds * rate], sampling_frequency=rate, label="sound"),
        edfio.EdfSignal(even, sampling_frequency=50, label="cuff", physical_dimension="mmHg"),
    ]
    written = tmp_path_factory.mktemp("edf") / "both.edf"
    edfio.Edf(signals).write(written)
    data = written.read_bytes()
    answer = laptop.send(("both.edf", data), None)
    assert answer.status_code == 303
    assert 'data-end="systolic"' in laptop.lecturer.get(answer.headers["location"]).text
    assert laptop.send(("both.edf", data), ("one.csv", made[1])).status_code == 422
    page = str(answer.headers["location"])
    assert laptop.lecturer.post(f"{page}/keep", data={"label": "E1"}).status_code == 200
    assert [name for name in laptop.lies() if "unkept" not in name] == [f"recordings/{page.rsplit('/', 1)[1]}.edf"]


def flac(samples: np.ndarray, rate: int) -> bytes:
    """Return samples as FLAC."""
    out = io.BytesIO()
    soundfile.write(out, samples, rate, format="FLAC", subtype="PCM_16")
    return out.getvalue()


CSV = b"time_s,pressure_mmHg\n" + b"".join(b"%g,%g\n" % (at / 2, max(0, 170 - at)) for at in range(200))
BAD: dict[str, tuple[Any, Any, str]] = {
    "no file": (None, None, "choose a sound file"),
    "no pressure": (("a.wav", b"x"), None, "choose the CSV"),
    "another kind": (("a.mp3", b"ID3"), ("a.csv", CSV), "must be a file of kind .wav, .flac, .ogg, .edf"),
    "text as WAV": (("a.wav", b"no sound at all\n" * 50), ("a.csv", CSV), "not a sound file that can be read"),
    "empty WAV": (("a.wav", b""), ("a.csv", CSV), "not a sound file that can be read"),
    "half a FLAC": (
        ("a.flac", flac(np.random.default_rng(1).normal(0, 0.1, 400_000), 8000)[:9000]),
        ("a.csv", CSV),
        "a",
    ),
    "text as EDF": (("a.edf", b"0       nobody"), None, "not an EDF+ file that can be read"),
    "ten hours": (
        ("a.flac", flac(np.zeros(2000 * 36_000, np.int16), 2000)),
        ("a.csv", CSV),
        "must be 1 sample to 3600",
    ),
    "half an hour": (("a.flac", flac(np.zeros(2000 * 1800, np.int16), 2000)), ("a.csv", CSV), "must be 900 s or less"),
    "half a row": (("a.flac", flac(np.zeros(80_000), 8000)), ("a.csv", CSV[:-4] + b"\n1"), "row"),
    "another header": (("a.flac", flac(np.zeros(80_000), 8000)), ("a.csv", b"a,b\n1,2\n"), "the header must be"),
    "a picture as CSV": (
        ("a.flac", flac(np.zeros(80_000), 8000)),
        ("a.csv", b"\x89PNG\xff\x00"),
        "must be CSV in UTF-8",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_one_line_and_leaves_nothing(laptop: Laptop, name: str) -> None:
    """Whatever is wrong with it: status 422, one line that says what, no file and no row left behind."""
    sound, pressure, said = BAD[name]
    before = laptop.ledger.last()
    answer = laptop.send(sound, pressure)
    assert answer.status_code == 422
    (line,) = re.findall(r'<p class="refusal" role="alert">(.*?)</p>', answer.text, re.DOTALL)
    assert "\n" not in line
    assert said in line
    assert "Traceback" not in answer.text
    assert laptop.lies() == []
    assert laptop.ledger.last() == before


SILENT: dict[str, np.ndarray] = {
    "all zero": np.zeros(8000 * 100),
    "one sample": np.zeros(1),
    "cut in the middle of the release": np.random.default_rng(1).normal(0, 0.01, 8000 * 3),
}


@pytest.mark.parametrize("name", SILENT)
def test_sound_with_nothing_in_it_is_withheld_with_the_reason(laptop: Laptop, name: str) -> None:
    """Silent, all zero, or cut short: both ends withheld in words, never 0 and never blank."""
    out = io.BytesIO()
    soundfile.write(out, SILENT[name], 8000, format="WAV", subtype="PCM_16")
    answer = laptop.send(("a.wav", out.getvalue()), ("a.csv", CSV))
    assert answer.status_code == 303
    page = laptop.lecturer.get(answer.headers["location"]).text
    assert len(re.findall(r'class="withheld">withheld</span> \w[^<]{10,}', page)) == 2
    for path in ("picture.svg", "sound.wav", "pressure.json"):
        assert laptop.lecturer.get(f"{answer.headers['location']}/{path}").status_code == 200


def test_a_half_written_wav_is_read_as_far_as_it_goes(laptop: Laptop, made: Any) -> None:
    """A WAV that was cut in mid-release gives no diastolic that nobody recorded."""
    answer = laptop.send(("a.wav", made[0][: len(made[0]) // 2]), ("a.csv", made[1]))
    if answer.status_code == 303:
        page = laptop.lecturer.get(answer.headers["location"]).text
        assert 'data-end="diastolic"' not in page
    else:
        assert answer.status_code == 422
        assert laptop.lies() == []


def test_too_many_bytes_are_refused_in_one_line(laptop: Laptop, made: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the limit stated on the page: status 413, one line, nothing left."""
    monkeypatch.setattr(guard, "RECORDING_BYTES", 100_000)
    answer = laptop.send(("one.wav", made[0]), ("one.csv", made[1]))
    assert answer.status_code == 413
    assert "at most 100000 bytes" in answer.json()["error"]
    assert laptop.lies() == []
    assert "30 MB" in laptop.lecturer.get("/recordings").text


def test_a_kept_recording_is_apart_private_and_whole(laptop: Laptop, made: Any) -> None:
    """Two files of mode 0600 named by the random id alone, as they were sent, with their SHA-256 in the journal."""
    import hashlib

    page = kept(laptop, made)
    recording = page.rsplit("/", 1)[1]
    assert laptop.lies() == [f"recordings/{recording}.csv", f"recordings/{recording}.wav"]
    (row,) = laptop.ledger.rows(kinds=[Kind.RECORDING_KEPT])
    assert row.body is not None
    for kind, data in ((".wav", made[0]), (".csv", made[1])):
        path = laptop.data / "recordings" / f"{recording}{kind}"
        assert path.read_bytes() == data
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert row.body["sha256"][kind] == hashlib.sha256(data).hexdigest()
    assert stat.S_IMODE((laptop.data / "recordings").stat().st_mode) == 0o700
    assert laptop.lecturer.post(f"{page}/keep", data={"label": "K18"}).status_code == 422
    assert "K17" in laptop.lecturer.get("/recordings").text


def test_a_file_altered_or_gone_is_told_and_not_read(laptop: Laptop, made: Any) -> None:
    """A changed byte, then a missing file: the readings are still shown, nothing is read from the file."""
    page = kept(laptop, made)
    path = laptop.data / "recordings" / f"{page.rsplit('/', 1)[1]}.csv"
    path.write_bytes(path.read_bytes() + b"\n")
    assert "are not as they were kept" in laptop.lecturer.get(page).text
    assert laptop.lecturer.get(f"{page}/sound.wav").status_code == 404
    path.unlink()
    answer = laptop.lecturer.get(page)
    assert answer.status_code == 200
    assert "not on this machine" in answer.text
    assert 'data-end="systolic"' in answer.text


def test_read_again_adds_a_row_only_where_something_is_new(
    laptop: Laptop, made: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same version with the same answer adds nothing; a newer version adds a row and the first one stays."""
    page = kept(laptop, made)
    refused = laptop.lecturer.post(f"{page}/read")
    assert "has read it before and says the same" in refused.text
    assert len(list(laptop.ledger.rows(kinds=[Kind.RECORDING_READ]))) == 1
    monkeypatch.setattr(recordings, "__version__", "9.9.9")
    assert laptop.lecturer.post(f"{page}/read").status_code == 200
    first, second = laptop.ledger.rows(kinds=[Kind.RECORDING_READ])
    assert first.body is not None
    assert second.body is not None
    assert (first.body["version"], second.body["version"]) == (__version__, "9.9.9")
    assert "Version 9.9.9" in laptop.lecturer.get(page).text


def observed(laptop: Laptop, page: str, observer: str, systolic: str, diastolic: str, **more: str) -> Any:
    """Add an observer's reading by the form."""
    sent = {"observer": observer, "systolic": systolic, "diastolic": diastolic, **more}
    return laptop.lecturer.post(f"{page}/observed", data=sent, follow_redirects=False)


def test_observers_and_the_ear_agree_by_pairs(laptop: Laptop, made: Any) -> None:
    """Readings of two observers and the ear's make three pairs; a difference is as by hand."""
    page = kept(laptop, made)
    assert "Too little to compare yet" in laptop.lecturer.get("/recordings/agreement").text
    assert observed(laptop, page, "a", "126", "84").status_code == 303
    assert observed(laptop, page, "B", "130", "84").status_code == 303
    told = words(laptop.lecturer.get("/recordings/agreement").text)
    for pair in ("B minus A", "ear minus A", "ear minus B"):
        assert pair in told
    assert "+4.00" in told


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (("Ines Invented", "120", "80"), "code of 1 to 6"),
        (("EAR", "120", "80"), "code of 1 to 6"),
        (("", "120", "80"), "code of 1 to 6"),
        (("A", "301", "80"), "0 to 300"),
        (("A", "80", "120"), "swap them"),
        (("A", "120", ""), "not heard"),
        (("A", "１２０", "80"), "0 to 300"),
    ],
)
def test_a_wrong_observer_or_number_is_refused(laptop: Laptop, made: Any, sent: Any, said: str) -> None:
    """One line, what was typed is still there, nothing is written."""
    page = kept(laptop, made)
    before = laptop.ledger.last()
    answer = observed(laptop, page, *sent)
    assert answer.status_code == 422
    assert said in words(answer.text)
    assert laptop.ledger.last() == before


def test_not_heard_is_an_answer_and_a_correction_names_the_first(laptop: Laptop, made: Any) -> None:
    """Not heard is kept as such; a second reading needs a reason, and the first row stays."""
    page = kept(laptop, made)
    assert observed(laptop, page, "A", "126", "", diastolic_not="yes").status_code == 303
    assert "126/not heard" in laptop.lecturer.get(page).text
    assert "say why" in observed(laptop, page, "A", "128", "84").text
    assert observed(laptop, page, "A", "128", "84", why="misread the dial").status_code == 303
    first, second = laptop.ledger.rows(kinds=[Kind.RECORDING_OBSERVED])
    assert second.body is not None
    assert second.body["corrects"] == first.seq
    assert "128/84, corrected" in laptop.lecturer.get(page).text


def test_an_observer_can_listen_before_the_answer_is_shown(laptop: Laptop, made: Any) -> None:
    """Hidden: neither ends, nor beats, nor the picture, nor what others wrote; the row says that it was hidden."""
    page = kept(laptop, made)
    observed(laptop, page, "A", "126", "84")
    hidden = laptop.lecturer.get(page, params={"answer": "hidden"}).text
    for tells in ("data-end", "picture.svg", "data-before", "126/84", "Readings by the ear", "a minute"):
        assert tells not in hidden
    answer = observed(laptop, page, "B", "128", "84", answer_seen="no")
    assert answer.headers["location"].endswith("?answer=hidden")
    assert list(laptop.ledger.rows(kinds=[Kind.RECORDING_OBSERVED]))[-1].body["answer_seen"] is False  # type: ignore[index]
    assert "before the answer was shown" in laptop.lecturer.get(page).text


def test_erasing_takes_the_files_and_every_word_of_it(laptop: Laptop, made: Any) -> None:
    """Files gone, payloads gone, the journal whole, the page not there; another recording stays."""
    page, other = kept(laptop, made), kept(laptop, made, "K18")
    observed(laptop, page, "A", "126", "84")
    assert laptop.lecturer.post(f"{page}/erase", data={"why": "asked"}).status_code == 422
    assert laptop.lecturer.post(f"{page}/erase", data={"why": "about K17", "sure": "yes"}).status_code == 422
    assert laptop.lecturer.post(f"{page}/erase", data={"why": "asked", "sure": "yes"}).status_code == 200
    assert all(other.rsplit("/", 1)[1] in name for name in laptop.lies())
    who = page.rsplit("/", 1)[1]
    left = [row for row in laptop.ledger.rows(who=who) if row.body is not None]
    assert [row.kind for row in left] == [Kind.PERSON_ERASED]
    assert laptop.ledger.verify().first_altered is None
    assert laptop.lecturer.get(page).status_code == 404
    assert "K18" in laptop.lecturer.get("/recordings").text


def test_what_is_not_kept_goes_by_itself_or_at_once(laptop: Laptop, made: Any) -> None:
    """Deleted on request without a row; an old one is swept when the next comes in."""
    before = laptop.ledger.last()
    page = taken_in(laptop, made)
    assert laptop.lecturer.post(f"{page}/erase", data={"sure": "yes"}).status_code == 200
    assert laptop.lies() == []
    old = taken_in(laptop, made).rsplit("/", 1)[1]
    os.utime(laptop.data / "recordings-unkept" / old, (0, 0))
    new = taken_in(laptop, made).rsplit("/", 1)[1]
    assert {name.split("/")[1] for name in laptop.lies()} == {new}
    assert laptop.ledger.last() == before


def test_a_disk_that_refuses_leaves_nothing_half_kept(laptop: Laptop, made: Any) -> None:
    """Where the folder cannot be made: one line, no row, and the recording still waits to be kept."""
    page = taken_in(laptop, made)
    (laptop.data / "recordings").write_text("in the way")
    answer = laptop.lecturer.post(f"{page}/keep", data={"label": "K17"})
    assert answer.status_code == 422
    assert "nothing was kept" in answer.text
    assert list(laptop.ledger.rows(kinds=[Kind.RECORDING_KEPT])) == []
    (laptop.data / "recordings").unlink()
    assert laptop.lecturer.post(f"{page}/keep", data={"label": "K17"}).status_code == 200


def test_odd_names_of_files_do_no_harm(laptop: Laptop, made: Any) -> None:
    """The name that came with a file is used for its kind alone: it is on no disk and no page."""
    answer = laptop.send(("../../Ines Invented.WAV", made[0]), ("..\\x.csv", made[1]))
    assert answer.status_code == 303
    assert not any("Ines" in name for name in laptop.lies())
    assert "Ines" not in laptop.lecturer.get(answer.headers["location"]).text


@pytest.mark.parametrize("full", ["temporary folder", "data folder"])
def test_a_full_disk_keeps_nothing_of_a_recording(
    small_disk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, full: str
) -> None:
    """Where it comes in, or where it is to lie: one line on the page, no part of it left, and the app goes on."""
    data = small_disk if full == "data folder" else tmp_path / "data"
    app = build(Settings(data_dir=data), MemoryLedger())
    if full == "temporary folder":
        monkeypatch.setattr(tempfile, "tempdir", str(small_disk))
    with TestClient(app, headers=HTML, client=("127.0.0.1", 40000)) as lecturer:
        assert lecturer.post("/class/first-run", data={"password": PASSWORD}).status_code == 200
        long = io.BytesIO()
        soundfile.write(long, np.zeros(1_200_000, dtype=np.int16), 8000, format="WAV")
        sent = {"sound": ("long.wav", long.getvalue()), "pressure": ("long.csv", b"time_s,pressure_mmHg\n0,1\n")}
        answer = lecturer.post("/recordings", files=sent, follow_redirects=False)
        assert answer.status_code == 422
        assert "No space left on device; nothing was kept" in words(answer.text)
        assert [path for path in small_disk.rglob("*") if path.is_file() and path.name != FILE_NAME] == []
        assert lecturer.get("/recordings").status_code == 200
