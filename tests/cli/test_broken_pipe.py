"""Whoever reads a command's output may stop reading: the command ends quietly."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from hushpoint.ledger.records import Entry, Kind
from hushpoint.ledger.store import FILE_NAME, open_sqlite
from serving import COMMAND

READINGS = "measurement,observer,systolic,diastolic\n" + "".join(
    f"{n},{who},{120 + n % 7 * 2},{80 + n % 5 * 2}\n" for n in range(40) for who in ("J", "R")
)
VISIT = '{"readings": [{"arm": "right", "systolic": 128, "diastolic": 82}]}'
POINTS = "reference_mmhg,reading_mmhg,direction\n" + "".join(f"{at},{at},up\n" for at in range(0, 301, 50))


@pytest.mark.parametrize(
    "words",
    [
        "--help", "digits r.csv --json",
        *(
            pytest.param(words, marks=pytest.mark.hard)
            for words in (
                "agree r.csv --json", "digits r.csv", "whose r.csv --json", "gauge g.csv --json", "cuff 31 --json",
                "judge r.csv --learner J --reference R --rule CHAT --json", "visit v.json --policy NHFA_2016 --json",
                "policy", "verify --data . --json", "doctor --data . --json", "render --out o", "read o --json",
            )
        ),
    ],
)  # fmt: skip
@pytest.mark.parametrize("stop", ["at once", pytest.param("later", marks=pytest.mark.hard)])
def test_a_reader_that_stops_is_no_fault(tmp_path: Path, words: str, stop: str) -> None:
    """Status 0 or 141, and not a word on standard error but those about the work."""
    (tmp_path / "r.csv").write_text(READINGS)
    (tmp_path / "g.csv").write_text(POINTS)
    (tmp_path / "v.json").write_text(VISIT)
    ledger = open_sqlite(tmp_path / FILE_NAME)
    ledger.append(Entry(Kind.CLASS_OPENED, {"name": "A"}))
    ledger.close()
    (tmp_path / "o").mkdir()
    if words.startswith("read"):
        subprocess.run([*COMMAND, "render", "--out", "o"], cwd=tmp_path, check=True, stdout=subprocess.DEVNULL)
    read_end, write_end = os.pipe()
    if stop == "at once":
        os.close(read_end)
    process = subprocess.Popen(
        [*COMMAND, *words.split()], cwd=tmp_path, stdout=write_end, stderr=subprocess.PIPE, text=True
    )
    os.close(write_end)
    if stop == "later":
        os.read(read_end, 1)
        os.close(read_end)
    _, said = process.communicate(timeout=120)
    found = {1} if words.startswith("doctor") else set()  # its own status, where all of it was read
    assert process.returncode in {0, 141} | found, said
    assert "Traceback" not in said
    assert "Broken pipe" not in said
    assert "Exception ignored" not in said
