"""Last digits and copied pairs of real readings: a survey, a clinic of zeros and fives, two observers."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from hushpoint.agreement import PairedReading, digits, digits_by_observer, same_pairs

pytestmark = pytest.mark.shared_data


def survey(shared_data: Path) -> list[dict[str, str]]:
    """The rows of the NHANES file."""
    with (shared_data / "nhanes-2009-2012" / "nhanes_bp.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def clinic(shared_data: Path) -> list[PairedReading]:
    """The clinic's readings in order of the file, the visit as client."""
    with (shared_data / "pregnancy-clinic-digits" / "bp_preg_long.csv").open(encoding="utf-8", newline="") as file:
        return [
            PairedReading(f"{row['id']}.{row['minute']}", "clinic", float(row["sbp"]), float(row["dbp"]), row["id"])
            for row in csv.DictReader(file)
        ]


def test_digits_of_the_survey_are_even_and_well_spread(shared_data: Path) -> None:
    """README: counts, chi-squares; though these are large, no zeros are flagged: shares are 18.4 and 20.3 %."""
    rows = survey(shared_data)
    for end, counts, value, share in (
        ("sbp", (7967, 8039, 9910, 9235, 8120), 352.48, 18.4),
        ("dbp", (8783, 8897, 8947, 8292, 8352), 44.35, 20.3),
    ):
        found = digits(float(row[f"{end}{turn}"]) for row in rows for turn in "123" if row[f"{end}{turn}"])
        assert found.counts[0::2] == counts
        assert sum(found.counts[1::2]) == 0
        assert found.chi_square is not None
        assert round(found.chi_square.value, 2) == value
        assert round(100 * (found.zeros_of_even or 0), 1) == share
        assert found.flags == ()
        assert found.p_fives is None


def test_identical_first_and_second_pairs_of_the_survey(shared_data: Path) -> None:
    """Of adults with three readings and no diastolic of 0, 2.50 % wrote the same pair twice: the usual share."""
    adults = [
        row
        for row in survey(shared_data)
        if float(row["age"]) >= 18
        and all(row[f"{end}{turn}"] for end in ("sbp", "dbp") for turn in "123")
        and all(float(row[f"dbp{turn}"]) > 0 for turn in "123")
    ]
    assert len(adults) == 10486
    found = same_pairs(
        [
            PairedReading(f"{row['id']}.{turn}", "N", float(row[f"sbp{turn}"]), float(row[f"dbp{turn}"]), row["id"])
            for row in adults
            for turn in "12"
        ]
    )
    assert (found.n, round(100 * found.same / found.n, 2)) == (10486, 2.50)
    assert found.flags == ()


def test_zeros_fives_and_copies_of_the_clinic(shared_data: Path) -> None:
    """README: digit counts, 60.2 % zeros, 24.7 % fives, ten-digit chi-squares, 8.4 % of 3 048 pairs copied."""
    (found,) = digits_by_observer(clinic(shared_data))
    assert found.systolic.counts == (2407, 8, 237, 9, 30, 986, 33, 27, 256, 5)
    assert found.diastolic.counts == (2478, 2, 157, 4, 24, 1098, 18, 12, 199, 6)
    for one, value in ((found.systolic, 13236.71), (found.diastolic, 14539.86)):
        assert one.chi_square is not None
        assert round(one.chi_square.value, 2) == value
        assert any(flag.startswith("zeros stand out clearly") for flag in one.flags)
        assert any(flag.startswith("fives stand out") for flag in one.flags)
        assert any(flag.startswith("odd digits") for flag in one.flags)
    assert round(100 * found.systolic.counts[0] / 3998, 1) == 60.2
    assert round(100 * found.systolic.counts[5] / 3998, 1) == 24.7
    assert any("stand out clearly" in flag for flag in found.pairs.flags)


def test_copies_of_the_clinic_thirty_minutes_apart(shared_data: Path) -> None:
    """README: the next available reading of the visit, identical in both values: 8.4 % of 3 048."""
    timed = [row for row in clinic(shared_data) if row.measurement.rpartition(".")[2].isdigit()]
    found = same_pairs(timed)
    assert (found.n, round(100 * found.same / found.n, 1)) == (3048, 8.4)


def test_two_good_observers_show_no_habit(shared_data: Path) -> None:
    """J and R: even counts of the README, chi-squares 0.882 and 3.244, one odd digit each, nothing else."""
    with (shared_data / "bland-altman-sbp" / "sbp_wide.csv").open(encoding="utf-8", newline="") as file:
        people = list(csv.DictReader(file))
    for who, counts, value in (("J", (54, 50, 54, 46, 50), 0.882), ("R", (49, 41, 51, 57, 56), 3.244)):
        found = digits([float(row[f"{who}{turn}"]) for row in people for turn in "123"], (140, 160, 180))
        assert found.counts[0::2] == counts
        assert found.chi_square is not None
        assert round(found.chi_square.value, 3) == value
        assert [flag.split(":")[0] for flag in found.flags] == ["odd digits"]
