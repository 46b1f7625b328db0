"""Cuff fit: every whole centimetre from 15 to 60, the traps, and what a wrong bladder does."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from hushpoint.errors import BadInputError
from hushpoint.guideline import (
    AnotherCuff,
    CuffFits,
    CuffRefused,
    CuffSize,
    bladder_fit,
    cuff_sizes,
    edge_note,
    fit_shares,
    size_for,
)
from hushpoint.guideline.cuffs import read_cuff_swaps, read_fit_shares
from hushpoint.guideline.tables import TableError, package_text
from hushpoint.measure.verdict import Withheld

PUBLISHED = Path(__file__).resolve().parents[1] / "published"
VERDICTS = {"fits": CuffFits, "another": AnotherCuff, "refused": CuffRefused, "refer": Withheld}


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_centimetre_stands_in_the_table() -> None:
    """The outside table holds each of 15 to 60 cm once."""
    assert [int(row["arm_cm"]) for row in rows("cuff_fit_by_centimetre.csv")] == list(range(15, 61))


@pytest.mark.parametrize("row", rows("cuff_fit_by_centimetre.csv"), ids=lambda row: row["arm_cm"])
def test_bladder_for_every_whole_centimetre(row: dict[str, str]) -> None:
    """Each arm has its bladder with the shares it covers, or is referred."""
    arm_cm = float(row["arm_cm"])
    named = size_for(arm_cm)
    if row["cuff"] == "refer":
        assert isinstance(named, Withheld)
        assert "refer to a trained clinician" in named.reason
        return
    assert isinstance(named, CuffSize)
    assert (named.id, named.bladder_width_cm, named.bladder_length_cm) == (
        row["cuff"],
        float(row["width_cm"]),
        float(row["length_cm"]),
    )
    fit = bladder_fit(arm_cm, named.bladder_width_cm, named.bladder_length_cm)
    assert fit.width_percent == pytest.approx(float(row["width_percent"]), abs=0.051)
    assert fit.length_percent == pytest.approx(float(row["length_percent"]), abs=0.051)
    assert isinstance(fit.verdict, CuffFits)
    assert fit.effects == ()
    assert ("under 40 %" in fit.verdict.reason) is (fit.width_percent < 40)


@pytest.mark.parametrize(
    "row", rows("cuff_fit_traps.csv"), ids=lambda row: f"{row['arm_cm']}-{row['width_cm']}x{row['length_cm']}"
)
def test_traps_of_label_percentage_and_gap(row: dict[str, str]) -> None:
    """Where label, percentages and table disagree, the verdict and the shares are as derived."""
    fit = bladder_fit(*(float(row[column]) for column in ("arm_cm", "width_cm", "length_cm")))
    assert isinstance(fit.verdict, VERDICTS[row["verdict"]])
    assert round(fit.width_percent) == int(row["width_percent"])
    assert round(fit.length_percent) == int(row["length_percent"])


def test_refusal_names_share_and_the_cuff_to_take() -> None:
    """36 cm with 13 x 23: 64 %, refused, large adult named; 16 x 30 passes the percentages and is still not the one."""
    assert bladder_fit(36, 13, 23).verdict.reason == (
        "covers 64 % of the way round the arm, at least 80 % is asked: take large adult, 16 × 36 cm"
    )
    assert bladder_fit(36, 16, 30).verdict.reason == (
        "covers 83 % and passes the percentages, yet the table differs: take large adult, 16 × 36 cm"
    )


@pytest.mark.parametrize(
    "row",
    rows("cuff_fit_wrong_sizes.csv"),
    ids=lambda row: f"{row['used_width_cm']}x{row['used_length_cm']}-on-{row['arm_cm']}",
)
def test_what_the_wrong_bladder_does(row: dict[str, str]) -> None:
    """The first effect told is the published one for that pair of sizes, or for that side."""
    fit = bladder_fit(float(row["arm_cm"]), float(row["used_width_cm"]), float(row["used_length_cm"]))
    assert fit.effects[0].systolic_mmhg == (float(row["systolic_low"]), float(row["systolic_high"]))
    assert fit.effects[0].diastolic_mmhg == (float(row["diastolic_low"]), float(row["diastolic_high"]))
    assert fit.effects[0].provenance == row["provenance"]


def test_too_small_reads_high_and_too_large_reads_low() -> None:
    """On every arm of the table each other size errs to its own side."""
    for arm_cm in range(22, 53):
        named = size_for(arm_cm)
        assert isinstance(named, CuffSize)
        for size in cuff_sizes():
            effects = bladder_fit(arm_cm, size.bladder_width_cm, size.bladder_length_cm).effects
            signs = {math.copysign(1, end) for effect in effects for end in effect.systolic_mmhg}
            expected = set() if size == named else {1 if size.arm_to_cm < named.arm_from_cm else -1}
            assert signs == expected


def test_edges_and_gaps_are_noted() -> None:
    """At 26 and 27, and between them, the larger is advised; inside a size nothing is."""
    for arm_cm in (26, 26.4, 26.5, 27):
        assert "in doubt take adult" in (edge_note(arm_cm) or "")
    for arm_cm in (22, 30, 36, 52, 15, 60):
        assert edge_note(arm_cm) is None
    assert "this is large adult" in (edge_note(34.5) or "")


def test_shares_asked_are_those_of_the_source() -> None:
    """AHA 2005: width 40 % (46 ideal), length 80 %."""
    asked = fit_shares()
    assert (asked.width_least, asked.width_ideal, asked.length_least) == (40, 46, 80)


@pytest.mark.parametrize("arm_cm", [9.9, 80.1, 0, -36, math.nan, math.inf])
def test_a_slip_of_the_tape_is_refused(arm_cm: float) -> None:
    """An arm that no tape gives is refused with the range."""
    with pytest.raises(BadInputError, match="10 to 80 cm"):
        size_for(arm_cm)


@pytest.mark.parametrize("bladder", [(1.9, 23), (31, 23), (13, 3), (13, 61), (math.nan, 23), (13, math.nan)])
def test_an_impossible_bladder_is_refused(bladder: tuple[float, float]) -> None:
    """A bladder that nobody makes is refused with the range."""
    with pytest.raises(BadInputError, match=r"bladder (width|length)"):
        bladder_fit(36, *bladder)


@pytest.mark.parametrize(
    ("name", "old", "new", "told"),
    [
        ("cuff_fit.csv", "width_least,40", "width_least,0", "row 2, percent '0': must be a number from 1 to 100"),
        ("cuff_fit.csv", "width_least", "width_most", "row 2, id 'width_most': must be one of"),
        ("cuff_fit.csv", "length_least,80,AHA 2005: length at least 80 % of the arm,SEEN\n", "", "no row length_least"),
        ("cuff_swaps.csv", "adult,small_adult", "adult,tiny", "row 2, needed 'tiny': must be one of small_adult"),
        ("cuff_swaps.csv", "4.8,1.8", "48,1.8", "row 3, systolic_mmhg '48': must be a number from -23.6 to 33"),
    ],
)
def test_a_wrong_fit_table_is_refused_in_one_line(name: str, old: str, new: str, told: str) -> None:
    """The refusal names table, row, column and what is legal."""
    text = package_text(name)
    assert old in text
    read = {"cuff_fit.csv": read_fit_shares, "cuff_swaps.csv": read_cuff_swaps}[name]
    with pytest.raises(TableError) as refused:
        read(text.replace(old, new, 1), name)
    assert told in str(refused.value)
