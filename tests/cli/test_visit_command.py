"""`hushpoint visit`: the documented object, words for a person, and the scenes through the command."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from hushpoint.cli.main import run

SCENE_8 = {
    "policy": "NHFA_2016",
    "client": {"code": "K7", "age": 68},
    "pulse": {"per_min": 76, "regular": False},
    "readings": [
        {"at": "2026-03-02T09:30:00", "arm": "right", "systolic": 138, "diastolic": 84},
        {"at": "2026-03-02T09:31:10", "arm": "right", "systolic": 150, "diastolic": 78},
        {"at": "2026-03-02T09:32:20", "arm": "right", "systolic": 144, "diastolic": 82},
    ],
}
TODAY = [{"systolic": 118, "diastolic": 76}, {"systolic": 122, "diastolic": 78}]


def said(
    arguments: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> tuple[object, str, str]:
    """Status, standard output and standard error of the command in this process."""
    monkeypatch.setattr(sys, "argv", ["hushpoint", "visit", *arguments])
    with pytest.raises(SystemExit) as ended:
        run()
    out, err = capsys.readouterr()
    return ended.value.code, out, err


def written(tmp_path: Path, visit: dict[str, object]) -> str:
    """A visit as a file."""
    path = tmp_path / "visit.json"
    path.write_text(json.dumps(visit), encoding="utf-8")
    return str(path)


def test_the_documented_object(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Scene 8: every documented field, with the values worked out by hand."""
    status, out, err = said([written(tmp_path, SCENE_8), "--json"], monkeypatch, capsys)
    assert (status, err) == (0, "")
    found = json.loads(out)
    assert list(found) == ["next", "value", "category", "also", "action", "readings", "usual", "worked", "cautions"]
    assert found["next"]["do"] == "enough"
    assert found["next"]["seconds"] == 0
    assert (found["value"]["systolic"], found["value"]["diastolic"]) == (144, 81)
    assert found["value"]["unrounded"] == [144, 81.333333]
    assert found["category"]["scheme"] == "NHFA_2016"
    assert found["category"]["name"] == "grade 1"
    assert found["category"]["form"] == "isolated systolic"
    assert found["category"]["nearest_edge"] == {"end": "systolic", "at": 140, "distance": -4}
    assert [each["scheme"] for each in found["also"]] == [
        "ACC_AHA_2017", "AHA_ACC_2025", "ESC_2024", "ESH_2023", "ISH_2020", "NICE_NG136", "AAP_2017",
    ]  # fmt: skip
    assert found["action"]["verdict"] == "refer"
    assert found["action"]["policy"] == "NHFA_2016"
    assert found["action"]["when"] == "within 2 months, and before any exercise"
    assert [each["counted"] for each in found["readings"]] == [True, True, True]
    assert len(found["cautions"]) >= 4
    assert "K7" not in out


def test_the_option_wins_and_standard_input_is_read(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`-` reads standard input; --policy stands above the file's own."""
    data = json.dumps({"policy": "NHFA_2016", "readings": TODAY}).encode()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(data)))
    status, out, _ = said(["-", "--policy", "ACC_AHA_2017", "--json"], monkeypatch, capsys)
    assert status == 0
    found = json.loads(out)
    assert found["action"]["policy"] == "ACC_AHA_2017"
    assert found["next"]["do"] == "enough"
    assert found["action"]["verdict"] == "proceed"
    assert "local policy and licensed practice come first" in found["action"]["reasons"][0]


@pytest.mark.parametrize("columns", [80, 120])
def test_words_for_a_person(
    columns: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The next step first, then the verdict, its reasons, the value, its category and the cautions."""
    monkeypatch.setenv("COLUMNS", str(columns))
    status, out, err = said([written(tmp_path, SCENE_8)], monkeypatch, capsys)
    assert (status, err) == (0, "")
    assert all(len(line) <= columns for line in out.splitlines())
    told = " ".join(out.split())
    order = [
        "Next: enough", "REFER within 2 months", "irregular pulse", "144/81 mmHg, mean of all 3", "low certainty",
        "grade 1", "By other schemes", "Readings by time", "no diagnosis", "Not checked against the printed text",
    ]  # fmt: skip
    places = [told.index(words) for words in order]
    assert places == sorted(places)


def test_emergency_leaves_value_and_category_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Symptoms that stop everything: null value and category, the verdict emergency, now."""
    visit = {"policy": "ESC_2024", "symptoms": ["severe_headache"], "readings": TODAY}
    status, out, _ = said([written(tmp_path, visit), "--json"], monkeypatch, capsys)
    assert status == 0
    found = json.loads(out)
    assert (found["value"], found["category"], found["also"]) == (None, None, [])
    assert (found["next"]["do"], found["action"]["verdict"], found["action"]["when"]) == ("stop", "emergency", "now")


def test_a_file_of_one_visit_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One object a line in the same order; a bad line gives its error, the rest go on, the status is 2."""
    path = tmp_path / "day.jsonl"
    good = json.dumps(SCENE_8)
    path.write_text(f"{good}\n\n{{}}\n" + "x" * 2_500_000 + f"\n{good}", encoding="utf-8")
    status, out, err = said([str(path), "--json"], monkeypatch, capsys)
    assert (status, err) == (2, "")
    found = [json.loads(line) for line in out.splitlines()]
    assert [each.get("line") for each in found] == [None, 3, 4, None]
    assert found[0] == found[3]
    assert found[1]["error"].startswith("day.jsonl, line 3: no readings")
    assert "1 MB" in found[2]["error"]
    path.write_text(good + "\n", encoding="utf-8")
    assert said([str(path), "--json"], monkeypatch, capsys)[0] == 0
    status, out, err = said([str(path)], monkeypatch, capsys)
    assert (status, out) == (2, "")
    assert "--json is needed" in err
    path.write_bytes(b"")
    assert said([str(path), "--json"], monkeypatch, capsys)[:2] == (2, "")


def test_a_value_on_the_edge_lies_on_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """140/86 by a mean of one: on the edge of 140, and no minus nought."""
    readings = [{"systolic": 142, "diastolic": 88}, {"systolic": 140, "diastolic": 86}]
    _, out, _ = said([written(tmp_path, {"policy": "NHFA_2016", "readings": readings})], monkeypatch, capsys)
    assert "Nearest edge: 140 systolic, and the value lies on it." in out


def test_a_low_systolic_is_not_spoken_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """83/49: the caution says that no limit of the policy looks at a low value."""
    readings = [{"systolic": 84, "diastolic": 50}, {"systolic": 82, "diastolic": 48}, {"systolic": 84, "diastolic": 50}]
    _, out, _ = said([written(tmp_path, {"policy": "NHFA_2016", "readings": readings})], monkeypatch, capsys)
    assert "bands and limits here have no lower end" in " ".join(out.split())
