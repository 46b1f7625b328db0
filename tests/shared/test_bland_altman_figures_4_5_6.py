"""Repeatability, limits with replicates, a machine beside two observers, ICC and concordance on 85 people x 3."""

from __future__ import annotations

import csv
import json
import math
import statistics
from pathlib import Path
from typing import Any

import pytest

from hushpoint.agreement import PairedReading, agree
from hushpoint.agreement.reliability import concordance, intraclass
from hushpoint.agreement.replicates import repeatability, replicate_limits
from hushpoint.cli.judge import judge_file
from hushpoint.ear.standards import bhs_grade, criterion_2_limit_mmhg

PUBLISHED = Path(__file__).resolve().parents[1] / "published"

pytestmark = pytest.mark.shared_data


def published(name: str) -> list[dict[str, str]]:
    """The rows of one table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table))


def people(shared_data: Path) -> dict[str, list[list[float]]]:
    """Each observer's three readings of each person."""
    with (shared_data / "bland-altman-sbp" / "sbp_wide.csv").open(encoding="utf-8", newline="") as table:
        wide = list(csv.DictReader(table))
    return {who: [[float(row[f"{who}{turn}"]) for turn in "123"] for row in wide] for who in "JRS"}


@pytest.mark.parametrize(
    "row",
    published("reliability_bland_altman_replicates.csv"),
    ids=lambda row: f"{row['observer']}{row['reference']}-{row['field']}",
)
def test_figure_4_and_the_limits_with_replicates(row: dict[str, str], shared_data: Path) -> None:
    """Within-person variance and repeatability of each, corrected limits of pairs, within the printed precision."""
    readings = people(shared_data)
    mine = readings[row["observer"]]
    found: Any = replicate_limits(mine, readings[row["reference"]]) if row["reference"] else repeatability(mine)
    name, _, end = row["field"].partition(".")
    value = getattr(found, name)[int(end)] if end else getattr(found, name)
    assert value == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))


@pytest.mark.parametrize("row", published("reliability_machine_beside_observers.csv"), ids=lambda row: row["field"])
def test_figure_5_machine_minus_mean_of_two_observers(row: dict[str, str], shared_data: Path) -> None:
    """Bias, SD, shares and the SD of the people's means, at the printed decimals."""
    readings = people(shared_data)
    both = [
        (j + r) / 2 for three in zip(readings["J"], readings["R"], strict=True) for j, r in zip(*three, strict=True)
    ]
    machine = [value for three in readings["S"] for value in three]
    rows = [PairedReading(str(place), "two", value) for place, value in enumerate(both)]
    rows += [PairedReading(str(place), "S", value) for place, value in enumerate(machine)]
    found = agree(rows, "two").pairs[0].systolic
    if row["field"] == "people_sd_mmhg":
        off = found.differences_mmhg
        value = statistics.stdev(sum(off[place : place + 3]) / 3 for place in range(0, 255, 3))
    else:
        name, _, distance = row["field"].partition(".")
        value = found.as_json()[name][distance] if distance else found.as_json()[name]
    assert round(value, len(row["printed"].partition(".")[2])) == float(row["printed"])


@pytest.mark.parametrize(
    "row",
    published("reliability_bland_altman_first_readings.csv"),
    ids=lambda row: f"{row['what']}-{row['observer']}",
)
def test_figure_6_first_readings(row: dict[str, str], shared_data: Path) -> None:
    """ICC(2,1) and Lin's concordance of first readings, to six decimals."""
    readings = people(shared_data)
    one, other = ([three[0] for three in readings[row[who]]] for who in ("reference", "observer"))
    if row["what"] == "two_one":
        found = intraclass(list(zip(one, other, strict=True))).two_one
    else:
        found = concordance(one, other)
    assert found.value == pytest.approx(float(row["printed"]), abs=float(row["tolerance"]))
    assert found.ci[0] < found.value < found.ci[1]


@pytest.mark.parametrize(
    ("rule", "verdict"),
    [
        ("OBRIEN_85_95", "competent"),
        ("OBRIEN_90_95", "competent"),
        ("BHS_1993", "competent"),
        ("NHANES_2003", "not_yet"),
        ("CHAT", "not_yet"),
        ("AAMI_2002", "not_yet"),
    ],
)
def test_shipped_rules_on_all_255_pairs(
    rule: str, verdict: str, shared_data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Figure 2: 92.157 % within 2, 97.255 % within 4 and 5, 99.216 % within 10: what that is by each rule."""
    readings = people(shared_data)
    lines = ["measurement,observer,systolic,diastolic,client"]
    for who in "JR":
        for person, three in enumerate(readings[who]):
            lines += [f"{person}.{turn},{who},{value:g},,{person}" for turn, value in enumerate(three)]
    file = tmp_path / "pairs.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    judge_file(file, learner="R", reference="J", rule=rule, rules=None, variety=False, as_json=True)
    found = json.loads(capsys.readouterr().out)
    assert found["verdict"] == verdict
    single = found["reliability"]["systolic"]["single_readings"]
    # Sections 4 and 5 of the paper, through the command: the reference J, and R minus J.
    assert (single["people"], round(single["reference_repeatability_mmhg"], 2)) == (85, 16.95)
    assert [round(end, 2) for end in single["limits_mmhg"]] == [-14.23, 14.05]
    shares = {"2": 92.157, "4": 97.255, "5": 97.255, "10": 99.216}
    for count in found["counts"]:
        assert round(count["percent"], 3) == shares[str(count["within_mmhg"])]


def test_figure_5_grade_and_both_criteria(shared_data: Path) -> None:
    """The machine gets grade D, fails criterion 1 on 255 pairs and criterion 2 on 85 means."""
    readings = people(shared_data)
    off = [
        [s - (j + r) / 2 for j, r, s in zip(*three, strict=True)]
        for three in zip(readings["J"], readings["R"], readings["S"], strict=True)
    ]
    pairs = [value for three in off for value in three]
    shares = [100 * sum(abs(value) <= limit for value in pairs) / 255 for limit in (5, 10, 15)]
    assert bhs_grade((shares[0], shares[1], shares[2])) == "D"
    assert not (abs(statistics.mean(pairs)) <= 5 and statistics.stdev(pairs) <= 8)
    means = [statistics.mean(three) for three in off]
    # Beyond a mean of 5 no spread is allowed at all.
    assert abs(statistics.mean(means)) > 5 or statistics.stdev(means) > criterion_2_limit_mmhg(statistics.mean(means))
    assert round(statistics.stdev(means), 6) == 18.851585


def test_ratio_of_machine_and_observer_from_logarithms(shared_data: Path) -> None:
    """Section 3 of 1999: J over S is 0.886 on the whole, limits 0.685 to 1.146."""
    readings = people(shared_data)
    rows = [
        PairedReading(str(place), who, math.log(three[0])) for who in "SJ" for place, three in enumerate(readings[who])
    ]
    found = agree(rows, "S").pairs[0].systolic
    assert found.limits_mmhg is not None
    assert round(math.exp(found.bias_mmhg), 3) == 0.886
    assert [round(math.exp(end), 3) for end in found.limits_mmhg] == [0.685, 1.146]
