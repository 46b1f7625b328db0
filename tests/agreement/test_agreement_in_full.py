"""Agreement in full: intraclass correlations against an independent library, small n, and what cannot be told."""

from __future__ import annotations

import random
import warnings

import pytest

from hushpoint.agreement import PairedReading, in_full, intraclass


@pytest.mark.parametrize(("people", "raters", "seed"), [(6, 4, 1), (20, 2, 2), (85, 3, 3)])
def test_six_forms_equal_an_independent_library(people: int, raters: int, seed: int) -> None:
    """Values to 1e-6 and intervals to the library's own rounding, for drawn tables with raters of different level."""
    pd = pytest.importorskip("pandas")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pingouin

        draw = random.Random(seed)
        level = [draw.gauss(0, 3) for _ in range(raters)]
        table = []
        for _ in range(people):
            person = draw.gauss(120, 10)
            table.append([person + level[j] + draw.gauss(0, 4) for j in range(raters)])
        long = pd.DataFrame(
            [(i, j, table[i][j]) for i in range(people) for j in range(raters)], columns=["person", "rater", "value"]
        )
        theirs = pingouin.intraclass_corr(long, targets="person", raters="rater", ratings="value")
    ours = intraclass(table)
    forms = (ours.one_one, ours.two_one, ours.three_one, ours.one_k, ours.two_k, ours.three_k)
    interval = next(column for column in theirs.columns if column.startswith("CI95"))
    for form, (_, row) in zip(forms, theirs.iterrows(), strict=True):
        assert form.value == pytest.approx(row["ICC"], abs=1e-6)
        assert form.ci == pytest.approx(tuple(row[interval]), abs=0.0051)


def both(*values: tuple[float, float], client: str = "") -> list[tuple[PairedReading, PairedReading]]:
    """(observer's, reference's) readings."""
    return [
        (PairedReading(str(place), "A", mine, None, client), PairedReading(str(place), "T", theirs, None, client))
        for place, (mine, theirs) in enumerate(values)
    ]


def test_few_pairs_tell_little_and_say_so() -> None:
    """One pair has a pressure and nothing else; two have exact intervals, but no trend."""
    one = in_full(both((124, 120)), "systolic")
    assert one is not None
    assert one.pressures_mmhg == (122, 122)
    assert (one.limits_exact_ci_mmhg, one.trend, one.concordance, one.replicates) == (None, None, None, None)
    two = in_full(both((124, 120), (130, 131)), "systolic")
    assert two is not None
    assert two.limits_exact_ci_mmhg is not None
    assert two.trend is None
    assert in_full(both((124, 120)), "diastolic") is None


def test_people_measured_twice_give_repeatability_and_wider_limits() -> None:
    """Codes of clients bring limits for single readings; without codes there are none."""
    coded = [*both((120, 121), (128, 127), client="a"), *both((110, 112), (118, 120), client="b")]
    found = in_full(coded, "systolic")
    assert found is not None
    assert found.replicates is not None
    assert found.observer_repeatability is not None
    # Within a: 32 / 1, within b: 32 / 1, so variance 32 and 1.96 sqrt(2 32) = 15.68.
    assert found.observer_repeatability.coefficient_mmhg == pytest.approx(15.68)
    plain = in_full(both((120, 121), (128, 127)), "systolic")
    assert plain is not None
    assert plain.replicates is None
