"""`hushpoint visit` writes the sheets asked for, all or none; `hushpoint policy` lists, writes out and checks."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from hushpoint.cli.main import run

VISIT = {
    "policy": "NHFA_2016",
    "readings": [
        {"systolic": 178, "diastolic": 104},
        {"systolic": 164, "diastolic": 98},
        {"systolic": 162, "diastolic": 96},
    ],
}


def said(
    arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> tuple[object, str, str]:
    """Status, standard output and standard error of a command in this process."""
    monkeypatch.setattr(sys, "argv", ["hushpoint", *arguments])
    with pytest.raises(SystemExit) as ended:
        run()
    out, err = capsys.readouterr()
    return ended.value.code, out, err


def test_all_five_files_are_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Letter, client's page and record as PDF, the bundle as JSON, the readings as CSV."""
    (tmp_path / "visit.json").write_text(json.dumps(VISIT), encoding="utf-8")
    files = {"letter": "l.pdf", "client-page": "c.pdf", "record": "r.pdf", "fhir": "f.json", "csv": "t.csv"}
    options = [part for option, name in files.items() for part in (f"--{option}", str(tmp_path / name))]
    status, _, err = said(["visit", str(tmp_path / "visit.json"), *options], monkeypatch, capsys)
    assert (status, err) == (0, "")
    for name in ("l.pdf", "c.pdf", "r.pdf"):
        assert (tmp_path / name).read_bytes().startswith(b"%PDF")
    assert json.loads((tmp_path / "f.json").read_text(encoding="utf-8"))["resourceType"] == "Bundle"
    assert len((tmp_path / "t.csv").read_text(encoding="utf-8").splitlines()) == 4


def test_a_letter_that_does_not_go_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An emergency has no letter: one line, status 2, and no other file either."""
    visit = {**VISIT, "symptoms": ["chest_pain"]}
    (tmp_path / "visit.json").write_text(json.dumps(visit), encoding="utf-8")
    options = ["--record", str(tmp_path / "r.pdf"), "--letter", str(tmp_path / "l.pdf")]
    status, out, err = said(["visit", str(tmp_path / "visit.json"), *options], monkeypatch, capsys)
    assert (status, out) == (2, "")
    assert "letter" in err
    assert not list(tmp_path.glob("*.pdf"))


@pytest.mark.parametrize(("option", "name"), [("--letter", "l.txt"), ("--fhir", "f.pdf"), ("--csv", "none/t.csv")])
def test_a_name_that_cannot_be_is_refused(
    option: str, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line names the option and what is needed."""
    (tmp_path / "visit.json").write_text(json.dumps(VISIT), encoding="utf-8")
    status, out, err = said(["visit", str(tmp_path / "visit.json"), option, str(tmp_path / name)], monkeypatch, capsys)
    assert (status, out) == (2, "")
    assert option in err
    assert len(err.splitlines()) == 1


def test_a_policy_written_out_and_changed_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The policy file is listed, written, checked, and judges a visit under its own id."""
    status, listed, _ = said(["policy"], monkeypatch, capsys)
    assert status == 0
    assert "NHFA_2016" in listed
    _, text, _ = said(["policy", "NHFA_2016", "--own-id", "OUR_COLLEGE"], monkeypatch, capsys)
    own = tmp_path / "ours.csv"
    own.write_text(text.replace("step,C,,,,160,100", "step,C,,,,164,100"), encoding="utf-8")
    status, checked, _ = said(["policy", str(own)], monkeypatch, capsys)
    assert status == 0
    assert "OUR_COLLEGE can be used. Changed from NHFA_2016: 1." in checked
    (tmp_path / "visit.json").write_text(json.dumps(VISIT), encoding="utf-8")
    _, out, _ = said(["visit", str(tmp_path / "visit.json"), "--policy", str(own), "--json"], monkeypatch, capsys)
    action = json.loads(out)["action"]
    assert (action["policy"], action["limit"]["step"], action["when"]) == ("OUR_COLLEGE", "D", "within 2 months")


def test_a_broken_policy_file_gives_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """File, row, value and legal range; status 2."""
    own = tmp_path / "ours.csv"
    _, text, _ = said(["policy", "NHFA_2016"], monkeypatch, capsys)
    own.write_text(text.replace("rest_s,300", "rest_s,forever"), encoding="utf-8")
    status, out, err = said(["policy", str(own)], monkeypatch, capsys)
    assert (status, out) == (2, "")
    assert err == "hushpoint: ours.csv row 6, value 'forever': must be a number from 0 to 3600\n"
