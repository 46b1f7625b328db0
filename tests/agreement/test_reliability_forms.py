"""Intraclass correlations, concordance, kappa and exact shares against outside values."""

from __future__ import annotations

import csv
import itertools
import math
import random
from pathlib import Path

import pytest

from hushpoint.agreement import AgreementError
from hushpoint.agreement.reliability import concordance, intraclass, kappa, share_interval

PUBLISHED = Path(__file__).resolve().parents[1] / "published"


def published(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def ratings() -> list[list[float]]:
    """The six people and four judges of Shrout & Fleiss."""
    return [
        [float(row[f"judge{judge}"]) for judge in "1234"] for row in published("reliability_shrout_fleiss_ratings.csv")
    ]


@pytest.mark.parametrize("row", published("reliability_shrout_fleiss.csv"), ids=lambda row: row["field"])
def test_shrout_fleiss_to_every_printed_digit(row: dict[str, str]) -> None:
    """Mean squares, six forms and three intervals, at the printed number of decimals."""
    name, _, end = row["field"].partition(".")
    found = getattr(intraclass(ratings()), name)
    value = found if isinstance(found, float) else found.ci[end == "high"] if end else found.value
    assert round(value, len(row["printed"].partition(".")[2])) == float(row["printed"])


def test_equal_columns_are_perfect_and_shifted_ones_are_not() -> None:
    """A rater 10 higher throughout is consistent (form 3) but does not agree (form 2)."""
    people = [100.0, 120.0, 140.0, 125.0]
    same = intraclass([[p, p] for p in people])
    assert (same.one_one.value, same.two_one.value, same.three_one.value) == (1, 1, 1)
    assert same.two_one.ci == (1.0, 1.0)
    shifted = intraclass([[p, p + 10] for p in people])
    assert shifted.three_one.value == 1
    # Between people 2 * var = 2 * 272.9167; raters 200; people four: bms / (bms + 2 * 200 / 4).
    assert shifted.two_one.value == pytest.approx(545.8333 / 645.8333, abs=1e-6)
    assert shifted.two_one.ci[0] < shifted.two_one.value < shifted.two_one.ci[1]


def test_interval_of_agreement_covers_the_truth() -> None:
    """Of 400 drawn tables of 20 people and 6 raters, form (2,1)'s interval holds the true value in 92 to 98 %."""
    draw, runs, covered = random.Random(4), 400, 0
    truth = 100 / (100 + 9 + 16)
    for _ in range(runs):
        raters = [draw.gauss(0, 3) for _ in range(6)]
        people = [draw.gauss(0, 10) for _ in range(20)]
        low, high = intraclass([[p + r + draw.gauss(0, 4) for r in raters] for p in people]).two_one.ci
        covered += low <= truth <= high
    assert 0.92 <= covered / runs <= 0.98


@pytest.mark.parametrize("table", [[], [[1.0, 2.0]], [[1.0], [2.0]], [[1.0, 2.0], [3.0]], [[5.0, 5.0], [5.0, 5.0]]])
def test_tables_that_tell_nothing_are_refused(table: list[list[float]]) -> None:
    """Too small, ragged or all of one value."""
    with pytest.raises(AgreementError, match="needed"):
        intraclass(table)


def test_concordance_by_hand() -> None:
    """1, 2, 3, 4 beside 2, 3, 4, 5: variances 1.25, shift 1, so 2.5 / 3.5."""
    found = concordance([1, 2, 3, 4], [2, 3, 4, 5])
    assert found.value == pytest.approx(2.5 / 3.5)
    assert found.ci[0] <= found.value <= found.ci[1]
    assert concordance([1, 2, 3, 4], [1, 2, 3, 4]).value == 1


def test_interval_of_concordance_covers_the_truth() -> None:
    """Of 500 drawn studies of 60 pairs with a shift, the interval holds the true value in 92 to 98 %."""
    draw, runs, covered = random.Random(6), 500, 0
    # Variances 100 + 16 and 100 + 9, covariance 100, shift 4.
    truth = 2 * 100 / (116 + 109 + 16)
    for _ in range(runs):
        people = [draw.gauss(120, 10) for _ in range(60)]
        found = concordance([p + 4 + draw.gauss(0, 4) for p in people], [p + draw.gauss(0, 3) for p in people])
        covered += found.ci[0] <= truth <= found.ci[1]
    assert 0.92 <= covered / runs <= 0.98


@pytest.mark.parametrize(("mine", "theirs"), [([1, 2, 3], [1, 2, 3]), ([1, 2, 3, 4], [5, 5, 5, 5]), ([1] * 4, [1, 2])])
def test_concordance_without_spread_or_pairs_is_refused(mine: list[float], theirs: list[float]) -> None:
    """At least four pairs that differ."""
    with pytest.raises(AgreementError, match="needed"):
        concordance(mine, theirs)


@pytest.mark.parametrize("row", published("reliability_kappa.csv"), ids=lambda row: row["id"])
def test_kappas_of_the_textbook(row: dict[str, str]) -> None:
    """Agreement, chance and kappa of two-by-two tables."""
    found = kappa([[int(row["a"]), int(row["b"])], [int(row["c"]), int(row["d"])]])
    assert found.kappa == pytest.approx(float(row["kappa"]), abs=float(row["tolerance"]))
    assert found.agreement == pytest.approx(float(row["agreement"]), abs=1e-9)
    if row["by_chance"]:
        assert found.by_chance == pytest.approx(float(row["by_chance"]), abs=1e-9)


def test_exact_p_of_kappa_is_the_share_of_permutations() -> None:
    """Eight judgements: of all 40 320 orders, the share with at least the agreement seen is p."""
    one, two = [1, 1, 1, 1, 0, 0, 0, 0], [1, 1, 1, 0, 1, 0, 0, 0]
    table = [[sum((a, b) == (x, y) for a, b in zip(one, two, strict=True)) for y in (1, 0)] for x in (1, 0)]
    seen = sum(a == b for a, b in zip(one, two, strict=True))
    orders = list(itertools.permutations(two))
    reached = sum(sum(a == b for a, b in zip(one, order, strict=True)) >= seen for order in orders)
    assert kappa(table).p == pytest.approx(reached / len(orders))


def test_kappa_where_all_agree_on_one_mark_is_not_a_number_told() -> None:
    """Two assessors who tick every step: full agreement, but kappa tells nothing and is not given."""
    found = kappa([[33, 0], [0, 0]])
    assert (found.agreement, found.kappa, found.ci) == (1.0, None, None)


def test_kappa_interval_covers_the_truth() -> None:
    """Of 500 drawn tables of 80 judgements, the interval holds the true 0.4 in 92 to 98 %."""
    draw, runs, covered = random.Random(8), 500, 0
    for _ in range(runs):
        cells = draw.choices(range(4), weights=(35, 15, 15, 35), k=80)
        counts = [cells.count(cell) for cell in range(4)]
        ci = kappa([counts[:2], counts[2:]]).ci
        assert ci is not None
        covered += ci[0] <= 0.4 <= ci[1]
    assert 0.92 <= covered / runs <= 0.98


@pytest.mark.parametrize("table", [[], [[1]], [[1, 2], [3]], [[1, -2], [3, 4]], [[0, 0], [0, 0]]])
def test_tables_of_counts_that_are_none_are_refused(table: list[list[int]]) -> None:
    """Square, not negative, not empty."""
    with pytest.raises(AgreementError, match="needed"):
        kappa(table)


@pytest.mark.parametrize(
    "row", published("reliability_exact_shares.csv"), ids=lambda row: f"{row['within']}-{row['n']}"
)
def test_exact_shares(row: dict[str, str]) -> None:
    """Clopper-Pearson ends to four decimals."""
    low, high = share_interval(int(row["within"]), int(row["n"]))
    assert (round(low, 4), round(high, 4)) == (float(row["low"]), float(row["high"]))


def test_exact_share_never_covers_too_little() -> None:
    """For 20 pairs and any true share, the chance that the interval holds it is at least 95 %."""
    for share in (0.5, 0.8, 0.9, 0.95, 0.99):
        covered = sum(
            math.comb(20, k) * share**k * (1 - share) ** (20 - k)
            for k in range(21)
            if share_interval(k, 20)[0] <= share <= share_interval(k, 20)[1]
        )
        assert covered >= 0.95


@pytest.mark.parametrize(("within", "n"), [(-1, 5), (6, 5), (0, 0)])
def test_shares_that_are_none_are_refused(within: int, n: int) -> None:
    """A count from 0 to n."""
    with pytest.raises(AgreementError, match="needed"):
        share_interval(within, n)
