"""Averaging rules and bands on real readings of adults: how many change category, to the last one."""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import pytest

from hushpoint.guideline.bands import schemes
from hushpoint.guideline.protocols import Pair, protocols

GROUPS = ("normal", "elevated", "stage 1", "stage 2")


def adults(shared_data: Path) -> list[tuple[Pair, Pair, Pair]]:
    """Three readings of everybody from 18 years on who has all of them and no diastolic of 0."""
    people = []
    with (shared_data / "nhanes-2009-2012" / "nhanes_bp.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            cells = [row[f"{end}{number}"] for number in (1, 2, 3) for end in ("sbp", "dbp")]
            if all(cells) and int(row["age"]) >= 18:
                first, second, third = ((float(cells[at]), float(cells[at + 1])) for at in (0, 2, 4))
                if first[1] and second[1] and third[1]:
                    people.append((first, second, third))
    return people


@pytest.mark.shared_data
def test_averaging_rules_reclassify_as_counted_in_the_data(shared_data: Path) -> None:
    """ACC/AHA 2017 groups by first reading, mean of the last two and mean of all, as the data's notes count them."""
    people = adults(shared_data)
    assert len(people) == 10_486
    scheme = schemes()["ACC_AHA_2017"]
    first = [scheme.category(*readings[0]) for readings in people]
    by_rule = {
        rule: [scheme.category(*protocols()[rule].value_of(readings, irregular=False)[0]) for readings in people]
        for rule in ("ESC_2024", "NHFA_2016", "ACC_AHA_2017")
    }
    assert [Counter(first)[group] for group in GROUPS] == [4475, 1693, 2277, 2041]
    for rule in ("ESC_2024", "NHFA_2016"):
        assert [Counter(by_rule[rule])[group] for group in GROUPS] == [5049, 1711, 1995, 1731]
    assert [Counter(by_rule["ACC_AHA_2017"])[group] for group in GROUPS] == [4997, 1710, 2030, 1749]
    changed = sum(one != two for one, two in zip(first, by_rule["ESC_2024"], strict=True))
    assert round(100 * changed / len(people), 2) == 23.55
    differ = sum(one != two for one, two in zip(by_rule["ACC_AHA_2017"], by_rule["ESC_2024"], strict=True))
    assert round(100 * differ / len(people), 2) == 7.63


@pytest.mark.shared_data
def test_leaving_out_the_first_reproduces_every_real_average(shared_data: Path) -> None:
    """All 14 867 averages, whatever is missing, a diastolic of 0 kept as 0: the first left out by its number."""
    rule = protocols()["NHFA_2016"]
    right = people = 0
    with (shared_data / "nhanes-2009-2012" / "nhanes_bp.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            given = [(row[f"sbp{number}"], row[f"dbp{number}"]) for number in (1, 2, 3)]
            pairs = [(float(upper), float(lower)) for upper, lower in given if upper and lower]
            value, _ = rule.value_of(pairs, irregular=False, first_missing=not given[0][0])
            people += 1
            right += value == (float(row["sbp_ave"]), float(row["dbp_ave"]))
    assert (people, right) == (14_867, 14_867)
