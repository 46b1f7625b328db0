"""Commands speak the language that the environment asks for; what a program reads stays English."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

VISIT = {
    "policy": "NHFA_2016",
    "readings": [{"systolic": s, "diastolic": d, "arm": "right"} for s, d in ((178, 104), (164, 98), (162, 96))],
}


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the command with these of the variables that ask for a language, and no other."""
    asked = ("LC_ALL", "LC_MESSAGES", "LANG", "HUSHPOINT_LANGUAGE")
    kept = {name: value for name, value in os.environ.items() if name not in asked}
    return subprocess.run(
        [sys.executable, "-c", "from hushpoint.cli.main import run; run()", *arguments],
        capture_output=True,
        encoding="utf-8",
        env={**kept, "PYTHONIOENCODING": "utf-8", **environment},
        check=False,
    )


@pytest.mark.parametrize(
    ("environment", "german"),
    [
        ({"LANG": "de_AT.UTF-8"}, True),
        ({"LC_ALL": "C", "LANG": "de_DE.UTF-8"}, False),
        ({"LC_ALL": "C", "HUSHPOINT_LANGUAGE": "de"}, True),
        ({"LC_MESSAGES": "de_DE", "LANG": "en_GB.UTF-8"}, True),
        ({"LANG": "fr_FR.UTF-8"}, False),
    ],
)
def test_the_environment_chooses_the_language_of_help(environment: dict[str, str], german: bool) -> None:
    """POSIX: LC_ALL before LC_MESSAGES before LANG; the own variable before them all; unknown ones are English."""
    told = run("--help", **environment)
    assert ("Die Anwendung starten." in told.stdout) is german
    assert ("Start the app." in told.stdout) is not german
    assert ("Befehle:" in told.stdout) is german


def test_a_verdict_and_a_refusal_in_german_and_json_the_same(tmp_path: Path) -> None:
    """Words, table and cautions are German; JSON is the same to the byte; the exit status stays."""
    file = tmp_path / "visit.json"
    file.write_text(json.dumps(VISIT), encoding="utf-8")
    told = run("visit", str(file), LANG="de_DE.UTF-8").stdout
    assert "ÜBERWEISEN innerhalb 1 Monats" in told
    assert "keine Diagnose" in told
    assert "rechts" in told
    assert "refer" not in told.lower()
    assert run("visit", str(file), "--json", LANG="de").stdout == run("visit", str(file), "--json", LANG="C").stdout
    refused = run("render", "--seed", "-1", LANG="de_DE.UTF-8")
    assert refused.returncode == 2
    assert "--seed muss von 0 bis" in refused.stderr
    csv = run("policy", "NHFA_2016", LANG="de_DE.UTF-8").stdout
    assert csv == run("policy", "NHFA_2016", LANG="C").stdout
