"""Spoilt files to every command that reads one: one line where refused, no traceback, nothing made."""

from __future__ import annotations

import io
import json
import random
import sys
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from hushpoint.cli.main import run
from hushpoint.desk import bundle, classes
from hushpoint.guideline.clinical_policies import clinical_policy
from hushpoint.guideline.own_policy import policy_text
from hushpoint.ledger.backup import write_backup
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Entry, Kind
from hushpoint.ledger.store import FILE_NAME, open_sqlite

FEW, MANY, SOUNDS = 5, 1500, 300
"""Spoilt files of each kind: in `make test`, in `make hard`, and there of sounds, which take longer."""
HERE = ["--data", "{out}"]
COMMANDS: dict[str, tuple[str, list[str]]] = {
    "agree": ("readings.csv", ["agree", "{file}", "--json"]),
    "digits": ("readings.csv", ["digits", "{file}", "--json"]),
    "judge": ("readings.csv", ["judge", "{file}", "--learner", "R", "--reference", "J", "--rule", "NHANES_2003"]),
    "gauge": ("check.csv", ["gauge", "{file}", "--json"]),
    "leak": ("times.csv", ["leak", "{file}", "--json"]),
    "visit": ("visit.json", ["visit", "{file}", "--json"]),
    "policy": ("policy.csv", ["policy", "{file}"]),
    "bundle": ("bundle.zip", ["verify", "{file}", "--json"]),
    "backup": ("kept.hushpoint.gz", ["restore", "{file}", *HERE]),
    "wav": ("one.wav", ["read", "{file}", "--json"]),
    "pressure": ("one.csv", ["read", "{folder}/one.wav", "--json"]),
    "flac": ("one.flac", ["read", "{file}", "--json"]),
    "ogg": ("one.ogg", ["read", "{file}", "--json"]),
    "edf": ("one.edf", ["read", "{file}", "--json"]),
    "wfdb": ("one.hea", ["read", "{file}", "--json"]),
}


@pytest.fixture(scope="module")
def sound_files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one sound file of every kind, each of which is read."""
    import edfio
    import soundfile
    import wfdb

    folder = tmp_path_factory.mktemp("whole")
    rate, seconds = 4000, 6
    sound = 0.1 * np.random.default_rng(1).standard_normal(rate * seconds)
    time_s = np.arange(0, seconds, 0.1)
    pressure = 120 - 10 * time_s
    for kind in ("wav", "flac", "ogg"):
        soundfile.write(folder / f"one.{kind}", sound, rate)
    rows = "".join(f"{at:.2f},{mmhg:.1f}\n" for at, mmhg in zip(time_s, pressure, strict=True))
    (folder / "one.csv").write_text("time_s,pressure_mmHg\n" + rows)
    cuff = np.interp(np.arange(rate * seconds) / rate, time_s, pressure)
    edfio.Edf(
        [
            edfio.EdfSignal(sound, rate, label="Sound"),
            edfio.EdfSignal(cuff, rate, label="Cuff", physical_dimension="mmHg"),
        ]
    ).write(folder / "one.edf")
    wfdb.wrsamp(
        "one", fs=rate, units=["V", "mmHg"], sig_name=["Sound", "Cuff"], fmt=["16", "16"], write_dir=str(folder),
        p_signal=np.column_stack([sound, cuff]),
    )  # fmt: skip
    return folder


@pytest.fixture(scope="module")
def whole(sound_files: Path) -> Path:
    """The same folder with every other file that a command reads."""
    folder = sound_files
    pairs = "".join(f"{n},J,{120 + n % 9 * 2},80\n{n},R,{122 + n % 7 * 2},82\n" for n in range(12))
    (folder / "readings.csv").write_text("measurement,observer,systolic,diastolic\n" + pairs)
    points = "".join(f"{at},{at + 1},down\n" for at in range(250, -1, -50))
    (folder / "check.csv").write_text("reference_mmhg,reading_mmhg,direction\n" + points)
    (folder / "times.csv").write_text("time_s,reading_mmhg\n0,250\n60,248\n120,247\n300,245\n")
    readings = [
        {"at": f"2026-03-02T10:0{n}:00", "arm": "right", "systolic": 150 - n, "diastolic": 90} for n in range(3)
    ]
    (folder / "visit.json").write_text(json.dumps({"policy": "NHFA_2016", "client": {"age": 54}, "readings": readings}))
    (folder / "policy.csv").write_text(policy_text(clinical_policy("NHFA_2016"), "OUR_COLLEGE"))
    ledger = MemoryLedger()
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    who = classes.join(ledger, room=code, name="Ines Invented")
    (folder / "bundle.zip").write_bytes(bundle.bundle(ledger, room=code, who=who, made_at=datetime.now(UTC)))
    kept = open_sqlite(folder / "ledger" / FILE_NAME)
    for number in range(5):
        kept.append(Entry(Kind.FINDING_NOTED, {"note": str(number)}))
    write_backup(kept, folder / "kept.hushpoint.gz")
    kept.close()
    return folder


def _called(words: list[str]) -> tuple[int, str, str]:
    """Run a command in this process; return its status and what it said."""
    said, told = io.StringIO(), io.StringIO()
    before, sys.argv = sys.argv, ["hushpoint", *words]
    try:
        with redirect_stdout(said), redirect_stderr(told):
            run()
        status = 0
    except SystemExit as ended:
        status = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    finally:
        sys.argv = before
    return status, said.getvalue(), told.getvalue()


def _spoilt(draw: random.Random, content: bytes) -> bytes:
    """Change, cut, double or move a few bytes, or cut the file short."""
    spoilt = bytearray(content)
    for _ in range(draw.randint(1, 5)):
        at, act = draw.randrange(len(spoilt) + 1), draw.randrange(6)
        if act == 0:
            spoilt[at : at + 1] = bytes([draw.randrange(256)])
        elif act == 1:
            del spoilt[at : at + draw.randint(1, 12)]
        elif act == 2:
            spoilt[at:at] = spoilt[at : at + 24]
        elif act == 3:
            del spoilt[at:]
        elif act == 4:
            early = draw.randrange(min(400, len(spoilt)) + 1)  # headers lie at the beginning
            spoilt[early : early + 1] = bytes([draw.randrange(256)])
        else:
            spoilt[at:at] = draw.choice(
                (b"\x00", b"\xff", b"-", b"1e999", b"[", b'"', b"\r", b"nan", b",,", b"9" * 400)
            )
    return bytes(spoilt)


def _all_of(kind: str, whole: Path, folder: Path, count: int) -> Iterator[int]:
    name, words = COMMANDS[kind]
    draw, content = random.Random(kind), (whole / name).read_bytes()
    for number in range(count):
        place = folder / str(number)
        place.mkdir(parents=True)
        for beside in whole.glob("one.*"):
            (place / beside.name).symlink_to(beside)
        (place / name).unlink(missing_ok=True)
        (place / name).write_bytes(_spoilt(draw, content) if number else content)
        there = {"file": str(place / name), "folder": str(place), "out": str(place / "out")}
        before = sorted(place.iterdir())
        status, said, told = _called([word.format(**there) for word in words])
        assert status in {0, 1, 2}, (kind, number, status, told)
        assert "Traceback" not in said + told, (kind, number)
        if status == 2:
            lines = told.strip().splitlines()
            if words[0] == "read":  # a file of a batch is refused on its own line of JSON
                lines = [one["error"] for one in map(json.loads, said.splitlines()) if "error" in one]
            assert len(lines) == 1, (kind, number, told)
            assert len(lines[0].splitlines()) == 1, (kind, number, lines)
            left = sorted(place.iterdir())
            assert left == before or not list((place / "out").glob("*.gz")), (kind, number)
        yield status


@pytest.mark.parametrize("kind", COMMANDS)
def test_some_spoilt_files(kind: str, whole: Path, tmp_path: Path) -> None:
    """The whole file is read; a few spoilt ones of each kind are read or refused in one line."""
    told = list(_all_of(kind, whole, tmp_path, 2 if kind in ("flac", "ogg", "edf", "wfdb", "wav", "pressure") else FEW))
    assert told[0] == 0


@pytest.mark.hard
@pytest.mark.parametrize("kind", COMMANDS)
def test_many_spoilt_files(kind: str, whole: Path, tmp_path: Path) -> None:
    """The same with very many, of which some are refused."""
    count = SOUNDS if kind in ("flac", "ogg", "edf", "wfdb", "wav", "pressure") else MANY
    told = list(_all_of(kind, whole, tmp_path, count))
    print(f"{kind}: {len(told)} files, {told.count(2)} refused")
    assert (1 if kind == "bundle" else 2) in told  # an altered bundle can be read, and what was altered is named
