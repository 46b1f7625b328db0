"""The command `agree` on 85 people read three times by two observers and a machine (Bland & Altman 1999, Table 1)."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest

from hushpoint.cli.agree import agree_file, digits_file

PUBLISHED = Path(__file__).resolve().parents[1] / "published"

pytestmark = pytest.mark.shared_data


def published(name: str) -> list[dict[str, str]]:
    """The rows of one table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def tidy(shared_data: Path, folder: Path, which: str) -> Path:
    """The wide table as tidy rows: first readings only, or all three."""
    with (shared_data / "bland-altman-sbp" / "sbp_wide.csv").open(encoding="utf-8", newline="") as table:
        people = list(csv.DictReader(table))
    lines = ["measurement,observer,systolic,diastolic"]
    for person in people:
        for turn in "1" if which == "first" else "123":
            lines += [f"{person['subject']}.{turn},{who},{person[who + turn]}," for who in "JRS"]
    tidied = folder / f"{which}.csv"
    tidied.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return tidied


def field(found: Any, path: str) -> float:
    """The number at a dotted path such as limits_mmhg.0."""
    for step in path.split("."):
        found = found[int(step)] if isinstance(found, list) else found[step]
    return float(found)


@pytest.mark.parametrize(
    "row",
    published("agreement_bland_altman_1999.csv"),
    ids=lambda row: f"{row['which']}-{row['observer']}{row['reference']}-{row['field']}",
)
def test_figures_come_out_to_every_printed_digit(
    row: dict[str, str], shared_data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bias, SD, limits, intervals and shares equal the outside value at its own number of decimals."""
    readings = tidy(shared_data, tmp_path, row["which"])
    agree_file(readings, reference=row["reference"], as_json=True, picture=None)
    found = json.loads(capsys.readouterr().out)
    pair = next(pair for pair in found["pairs"] if pair["observer"] == row["observer"])
    assert pair["diastolic"] is None
    decimals = len(row["printed"].partition(".")[2])
    assert round(field(pair["systolic"], row["field"]), decimals) == float(row["printed"])


@pytest.mark.parametrize("row", published("digits_even_bland_altman_1999.csv"), ids=lambda row: row["observer"])
def test_last_digits_are_counted_as_published(
    row: dict[str, str], shared_data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The five even counts and the odd one come out, and neither observer's zeros stand out."""
    digits_file(tidy(shared_data, tmp_path, "all"), as_json=True)
    observers = {found["observer"]: found for found in json.loads(capsys.readouterr().out)["observers"]}
    systolic = observers[row["observer"]]["systolic"]
    assert systolic["digits"][0::2] == [int(row[d]) for d in ("zeros", "twos", "fours", "sixes", "eights")]
    assert sum(systolic["digits"][1::2]) == int(row["odd"])
    assert not any("zeros" in flag for flag in systolic["flags"])


def test_every_pair_stands_in_order_of_first_appearance(
    shared_data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a reference the later-named observer is compared with each earlier-named one."""
    agree_file(tidy(shared_data, tmp_path, "all"), reference=None, as_json=True, picture=None)
    found = json.loads(capsys.readouterr().out)
    assert [(p["observer"], p["reference"]) for p in found["pairs"]] == [("R", "J"), ("S", "J"), ("S", "R")]


@pytest.mark.parametrize("row", published("agreement_limit_standard_error.csv"), ids=lambda row: row["observer"])
def test_intervals_of_the_limits_have_the_published_standard_error(
    row: dict[str, str], shared_data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Half an interval divided by t is the standard error of a limit, within the table's tolerance."""
    agree_file(tidy(shared_data, tmp_path, row["which"]), reference=row["reference"], as_json=True, picture=None)
    pairs = json.loads(capsys.readouterr().out)["pairs"]
    (systolic,) = (pair["systolic"] for pair in pairs if pair["observer"] == row["observer"])
    for low, high in systolic["limits_ci_mmhg"]:
        error = (high - low) / 2 / float(row["t_975"])
        assert error == pytest.approx(float(row["standard_error_mmhg"]), abs=float(row["tolerance_mmhg"]))


def test_agreement_in_full_through_the_command(
    shared_data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With clients told: limits of section 5.1 (as S minus J), repeatability of section 4; ICC of first readings."""
    readings = tidy(shared_data, tmp_path, "all").read_text(encoding="utf-8").splitlines()
    coded = [readings[0] + ",client", *(f"{line},{line.partition('.')[0]}" for line in readings[1:])]
    file = tmp_path / "coded.csv"
    file.write_text("\n".join(coded) + "\n", encoding="utf-8")
    agree_file(file, reference="J", as_json=True, picture=None)
    by_name = {pair["observer"]: pair["systolic"]["in_full"] for pair in json.loads(capsys.readouterr().out)["pairs"]}
    machine = by_name["S"]["single_readings"]
    assert [round(end, 1) for end in machine["limits_mmhg"]] == [-25.4, 56.7]
    assert round(machine["sd_mmhg"], 2) == 20.95
    assert round(machine["observer_repeatability_mmhg"], 4) == 25.2743
    assert round(machine["reference_repeatability_mmhg"], 4) == 16.9532
    agree_file(tidy(shared_data, tmp_path, "first"), reference="J", as_json=True, picture=None)
    by_name = {pair["observer"]: pair["systolic"]["in_full"] for pair in json.loads(capsys.readouterr().out)["pairs"]}
    assert round(by_name["R"]["icc"]["two_one"]["value"], 6) == 0.997704
    assert round(by_name["S"]["concordance"]["value"], 6) == 0.725893
    assert by_name["R"]["single_readings"] is None
