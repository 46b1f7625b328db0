"""`hushpoint judge --rules`: an institution's own rule, named and dated, and what a wrong file is told."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from hushpoint.cli.main import run

HEADER = "id,name,dated,compared,criteria,set_size,ends,clients_least,renew_months,source,provenance,note\n"
OWN = HEADER + (
    "COLLEGE_2026,College rule,2026-02-01,learner and lecturer,within 4: 90 %; within 8: 100 %,10,each,0,12,"
    "staff meeting,CHOICE,invented for this test\n"
)


def called(monkeypatch: pytest.MonkeyPatch, folder: Path, rules: bytes, *more: str) -> int:
    """Judge ten pairs, one of them 6 high, by a file of rules; return the exit status."""
    lines = ["measurement,observer,systolic,diastolic"]
    for place in range(10):
        off = 6 if place == 9 else 0
        lines += [
            f"{place},L,{100 + 8 * place},{60 + 6 * place}",
            f"{place},S,{100 + 8 * place + off},{60 + 6 * place}",
        ]
    readings, own = folder / "pairs.csv", folder / "own.csv"
    readings.write_text("\n".join(lines) + "\n", encoding="utf-8")
    own.write_bytes(rules)
    words = ["hushpoint", "judge", str(readings), "--learner", "S", "--reference", "L", "--rules", str(own), *more]
    monkeypatch.setattr(sys, "argv", words)
    with pytest.raises(SystemExit) as ended:
        run()
    return int(ended.value.code or 0)


def test_an_own_rule_is_named_dated_and_applied(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nine of ten within 4, all within 8: competent by the college's rule, with its date and mark."""
    assert called(monkeypatch, tmp_path, OWN.encode(), "--rule", "college_2026", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    assert found["verdict"] == "competent"
    assert (found["rule"]["dated"], found["rule"]["mark"]) == ("2026-02-01", "CHOICE")
    assert [(count["found"], count["needed"]) for count in found["counts"]][:2] == [(9, 9), (10, 10)]


@pytest.mark.parametrize(
    ("rules", "told"),
    [
        (b"", "own.csv row 1: the heading must be id,name,dated"),
        (HEADER.encode(), "own.csv: no rows"),
        (OWN.replace("COLLEGE_2026", "CHAT").encode(), "id CHAT is a shipped rule"),
        (OWN.replace("COLLEGE_2026", "my rule").encode(), "own.csv row 2, id 'my rule'"),
        (OWN.replace(",10,each", ",9.5,each").encode(), "a whole number from 1 to 1000"),
        (OWN.replace("within 8: 100 %", "within 8: 101 %").encode(), "up to 100 %"),
        (OWN.replace("within 8: 100 %", "within 8: 50 %").encode(), "nearest first"),
        (OWN.replace("staff meeting", "").encode(), "source '': must be some text"),
        (OWN.replace("CHOICE", "x" * 200_000).encode(), "own.csv"),
        (OWN.replace("each", "\x1b[31m").encode(), "own.csv row 2"),
        (b"\xff\xfe\x00", "own.csv: not UTF-8"),
    ],
)
def test_a_wrong_file_of_rules_gives_one_line_and_status_two(
    rules: bytes, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The line names the file and what is legal; nothing is printed as a result."""
    assert called(monkeypatch, tmp_path, rules, "--rule", "COLLEGE_2026") == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert told in printed.err
    assert printed.err.count("\n") == 1
    assert "\x1b" not in printed.err
    assert len(printed.err) < 500


def test_an_unknown_id_lists_own_rules_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The list of what can be asked for ends with the institution's own."""
    assert called(monkeypatch, tmp_path, OWN.encode(), "--rule", "OTHER") == 2
    assert capsys.readouterr().err.rstrip().endswith("AAMI_2002, COLLEGE_2026")
