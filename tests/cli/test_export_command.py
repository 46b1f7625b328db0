"""An auditor with a laptop and no network: bundles made and verified; an altered store named."""

from __future__ import annotations

import io
import json
import sqlite3
import zipfile
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from evidence_scenes import REFERENCES, SCENE_NINE, signing, twenty_pairs
from hushpoint.cli.keep import INVENTED_MARK
from hushpoint.cli.main import app
from hushpoint.desk import classes, decisions
from hushpoint.errors import HushpointError
from hushpoint.ledger.store import FILE_NAME, open_ledger


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A store with three signed learners."""
    ledger = open_ledger(tmp_path / "data")
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    for name in ("Ines", "Olu", "Mara"):
        who = classes.join(ledger, room=code, name=name)
        twenty_pairs(
            ledger,
            code,
            who,
            SCENE_NINE[:8] if name != "Ines" else SCENE_NINE,
            REFERENCES[:8] if name != "Ines" else REFERENCES,
        )
        told = signing(ref=name, decision="competent" if name == "Ines" else "not_yet")
        decisions.sign(ledger, room=code, learner=who, signing=told, today=date(2026, 11, 20))
    ledger.close()
    return tmp_path / "data"


def test_three_bundles_for_an_auditor_and_one_altered_byte_in_the_store(data: Path, tmp_path: Path) -> None:
    """Scene 2: three names give three bundles that verify; a byte altered in the store is named by both checks."""
    run = CliRunner()
    out = tmp_path / "out"
    made = run.invoke(app, ["export", "Ines", "olu", "Mara", "--data", str(data), "--out", str(out)])
    assert made.exit_code == 0, made.output
    files = sorted(out.iterdir())
    assert len(files) == 3
    assert not any("ines" in file.name.casefold() for file in files)
    follows = []
    for file in files:
        told = run.invoke(app, ["verify", str(file), "--data", str(data), "--json"])
        assert (told.exit_code, json.loads(told.stdout)["whole"]) == (0, True)
        follows += [one["follows"] for one in json.loads(told.stdout)["decisions"]]
    assert follows == [True, True, True]
    with sqlite3.connect(data / FILE_NAME) as store:
        ((seq, body),) = store.execute(
            "SELECT p.seq, p.body FROM payload p JOIN journal j ON j.seq = p.seq WHERE j.kind = 'reading.taken' "
            "ORDER BY p.seq LIMIT 1"
        )
        store.execute("UPDATE payload SET body = ? WHERE seq = ?", (body.replace('"client":"K0', '"client":"K1'), seq))
    told = run.invoke(app, ["verify", "--data", str(data)])
    assert (told.exit_code, f"altered: row {seq}" in told.stdout) == (1, True)
    again = run.invoke(app, ["export", "Ines", "--data", str(data), "--out", str(tmp_path / "again")])
    assert again.exit_code == 0
    (file,) = (tmp_path / "again").iterdir()
    told = run.invoke(app, ["verify", str(file)])
    assert (told.exit_code, f"row {seq} is not what was appended" in told.stdout) == (1, True)


def test_who_is_not_found_is_told_and_nothing_is_written(data: Path, tmp_path: Path) -> None:
    """One unknown name among three: no bundle at all; the same for files that are there already."""
    run = CliRunner()
    out = tmp_path / "out"
    refused = run.invoke(app, ["export", "Ines", "Nobody", "--data", str(data), "--out", str(out)])
    assert isinstance(refused.exception, HushpointError)
    assert "nobody of this name" in str(refused.exception)
    assert not out.exists()
    assert run.invoke(app, ["export", "Ines", "--data", str(data), "--out", str(out)]).exit_code == 0
    before = [file.read_bytes() for file in out.iterdir()]
    refused = run.invoke(app, ["export", "Ines", "Olu", "--data", str(data), "--out", str(out)])
    assert "is there already" in str(refused.exception)
    assert [file.read_bytes() for file in out.iterdir()] == before


def test_invented_data_says_so_in_every_file_that_is_read(data: Path, tmp_path: Path) -> None:
    """By the mark in the data folder: file name, PDF, JSON and every line of the CSV files; verify tells it too."""
    (data / INVENTED_MARK).touch()
    run, out = CliRunner(), tmp_path / "out"
    assert run.invoke(app, ["export", "Ines", "--data", str(data), "--out", str(out)]).exit_code == 0
    (file,) = out.iterdir()
    assert file.name.startswith("INVENTED-")
    with zipfile.ZipFile(file) as packed:
        assert json.loads(packed.read("evidence.json"))["about"]["invented"] is True
        for name in ("readings.csv", "marks.csv"):
            _, *lines = packed.read(name).decode().splitlines()
            assert lines
            assert all(line.endswith(",INVENTED") for line in lines)
        pages = PdfReader(io.BytesIO(packed.read("evidence.pdf"))).pages
        assert all("INVENTED" in page.extract_text() for page in pages)
    told = run.invoke(app, ["verify", str(file)])
    assert (told.exit_code, told.stdout.splitlines()[0]) == (0, "INVENTED data: nobody in it exists")
