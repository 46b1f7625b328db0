"""`hushpoint whose` as a person runs it: tables, JSON, words, refusals."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from drawn_class import LECTURER, drawn_class
from drawn_term import drawn_term
from hushpoint.cli.whose import whose_file
from hushpoint.errors import BadInputError


@pytest.fixture
def class_file(tmp_path: Path) -> Path:
    """A drawn class as a readings file, with a slip of 40 and two people whom nobody can be compared with."""
    rows = ["measurement,observer,systolic,diastolic,gauge"]
    for place, row in enumerate(drawn_class(np.random.default_rng(3)).readings):
        systolic = row.systolic_mmhg + (40 if place == 20 else 0)
        rows.append(f"{row.measurement},{row.observer},{systolic:g},,{row.gauge}")
    rows += ["900,solo,120,80,G1"]
    file = tmp_path / "class.csv"
    file.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return file


def test_text_names_errors_slips_and_what_is_untold(class_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The table holds everybody, the slip is named with its values, the loner is told what to do."""
    whose_file(class_file, reference=LECTURER, as_json_text=False)
    printed = " ".join(capsys.readouterr().out.split())
    assert "Each observer's own error, systolic (zero: lecturer; mmHg)" in printed
    assert "Each gauge against the mean of the others (mmHg)" in printed
    assert "measurement 10 (" in printed
    assert "nobody else read a measurement of solo" in printed
    assert "not a judgement of anybody's health" in printed


def test_json_is_whole_and_stable(class_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both runs print the same object; its fields are those of docs/agreement.md."""
    texts = []
    for _ in range(2):
        whose_file(class_file, reference=LECTURER, as_json_text=True)
        texts.append(capsys.readouterr().out)
    assert texts[0] == texts[1]
    found = json.loads(texts[0])
    assert found["diastolic"] is None
    assert found["systolic"]["reference"] == LECTURER
    page = (Path(__file__).resolve().parents[2] / "docs" / "agreement.md").read_text(encoding="utf-8")
    for field in {*found["systolic"], *found["systolic"]["observers"][0], *found["systolic"]["gauges"][0]}:
        assert f"`{field}`" in page
    for field in {*found["systolic"]["outlying"][0], *found["systolic"]["untold"][0]}:
        assert f"`{field}`" in page


def test_one_clear_line_where_nothing_is_shared(tmp_path: Path) -> None:
    """A file without pairs is refused with its name and what is needed."""
    file = tmp_path / "alone.csv"
    file.write_text("measurement,observer,systolic,diastolic\n1,T,120,80\n2,A,124,80\n", encoding="utf-8")
    with pytest.raises(BadInputError, match=r"alone\.csv: .* too few to tell whose error") as refusal:
        whose_file(file, reference=None, as_json_text=True)
    assert "\n" not in str(refusal.value)


def test_a_gauge_that_is_off_is_told_with_its_odds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Three weeks of a gauge 8 low: one sentence with size, odds and what to do; its fields are documented."""
    term = drawn_term(np.random.default_rng(5), {"G4": -8.0}, 3)
    rows = [f"{r.measurement},{r.observer},{r.systolic_mmhg:g},,{r.gauge},{r.at}" for week in term for r in week]
    file = tmp_path / "term.csv"
    file.write_text("\n".join(["measurement,observer,systolic,diastolic,gauge,at", *rows]) + "\n", encoding="utf-8")
    whose_file(file, reference=None, as_json_text=False)
    printed = " ".join(capsys.readouterr().out.split())
    assert "gauge G4 seems to read about" in printed
    assert "check it today beside a reference" in printed
    whose_file(file, reference=None, as_json_text=True)
    watch = json.loads(capsys.readouterr().out)["systolic"]["watch"]
    page = (Path(__file__).resolve().parents[2] / "docs" / "agreement.md").read_text(encoding="utf-8")
    assert all(f"`{field}`" in page for field in {*watch, *watch["gauges"][0]})


def test_a_time_that_is_none_is_refused_with_its_row(tmp_path: Path) -> None:
    """Row, column, value and what is needed."""
    file = tmp_path / "times.csv"
    file.write_text(
        "measurement,observer,systolic,diastolic,at\n1,T,120,80,2026-03-02\n1,A,124,80,yesterday\n", encoding="utf-8"
    )
    with pytest.raises(BadInputError, match=r'times\.csv, row 3, column at: "yesterday"; ISO 8601'):
        whose_file(file, reference=None, as_json_text=True)
