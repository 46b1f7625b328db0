"""`hushpoint recall`: the scene of the gauge 6 low by command, read only, refusals in one line."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from hushpoint.desk import recall as desk
from hushpoint.desk import recall_sheet as sheet
from hushpoint.ledger.store import open_ledger
from recall_scene import NOTED, furnish


def ran(*typed: str) -> subprocess.CompletedProcess[str]:
    """Run the command as a person would."""
    program = [sys.executable, "-c", "from hushpoint.cli.main import run; run()"]
    return subprocess.run(
        [*program, "recall", *typed], capture_output=True, text=True, check=False, env={**os.environ, "COLUMNS": "200"}
    )


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """A ledger on disk with the scene."""
    ledger = open_ledger(tmp_path, None)
    furnish(ledger)
    ledger.close()
    return tmp_path


def test_scene_by_command(data: Path) -> None:
    """Four to call back, the last one today; fourteen notes; the same as the desk's; nothing is written."""
    answer = ran("G4", "--data", str(data), "--json")
    assert (answer.returncode, answer.stderr) == (0, "")
    told = json.loads(answer.stdout)
    visits = [line for line in told["lines"] if line["sort"] == "visit"]
    assert [(line["code"], line["whole"]["systolic"], line["whole"]["diastolic"]) for line in visits[:4]] == [
        ("K17", 180, 112), ("K09", 162, 98), ("K05", 142, 90), ("K12", 140, 94),
    ]  # fmt: skip
    assert (visits[0]["urgency"], visits[0]["whole"]["when"], visits[0]["policy"]) == ("today", "today", "NHFA_2016")
    assert {line["code"] for line in visits if line["suggested"] == "annotate"} == set(NOTED)
    assert told["moved"]["step_mmhg"] == -6
    ledger = open_ledger(data, None)
    assert told == json.loads(
        json.dumps(sheet.as_json(desk.recall(ledger, desk.window_of(desk.gauge_named(ledger, "G4")))))
    )
    assert not list(ledger.rows(kinds=[desk.Kind.RECALL_OPENED]))
    ledger.close()


def test_words_name_policy_cautions_and_both_ways(data: Path) -> None:
    """The printed list says by which policy, what is from memory, and that a correction is no measurement."""
    answer = ran("g4", "--data", str(data))
    assert answer.returncode == 0
    for words in ("180/112", "179/111", "178–182/110–114", "NHFA_2016", "Not checked against the printed text",
                  "It is no measurement", "no diagnosis", "grade 2 → grade 3"):  # fmt: skip
        assert words in answer.stdout


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        (["G1"], "G1: no check of it was outside its limits"),
        (["G77"], "none in the register"),
        (["G4", "--policy", "MINE"], "must be one of ACC_AHA_2017"),
    ],
)
def test_refusals_are_one_line(data: Path, typed: list[str], line: str) -> None:
    """Status 2, one line, nothing on standard output."""
    answer = ran(*typed, "--data", str(data))
    assert (answer.returncode, answer.stdout) == (2, "")
    assert line in answer.stderr
    assert answer.stderr.count("\n") == 1
