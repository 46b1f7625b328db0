"""Whose error: an independent library as oracle, coverage by simulation, chains, what cannot be told, slips."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pytest

from drawn_class import LECTURER, drawn_class
from hushpoint.agreement import AgreementError, PairedReading, binomial_upper_tail, whose
from hushpoint.agreement.crossed import fit_one_variance, layout_of
from hushpoint.agreement.fitted import fit_end


@pytest.mark.parametrize("readings", [500, pytest.param(5000, marks=pytest.mark.hard)])
def test_one_variance_equals_an_independent_library(readings: int) -> None:
    """Variances, biases and -2 log restricted likelihood equal statsmodels' MixedLM to 4 digits."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    drawn = drawn_class(np.random.default_rng(11), measurements=readings // 2, one_spread=2.5)
    rows = drawn.readings
    layout, observers, gauges, order = layout_of(
        [r.measurement for r in rows], [r.observer for r in rows], [r.gauge for r in rows],
        np.array([r.systolic_mmhg for r in rows]),
    )  # fmt: skip
    ours = fit_one_variance(layout)
    names = (*observers, *gauges)
    sorted_rows = [rows[place] for place in order]
    design = np.array([[float(name in (r.observer, r.gauge)) for name in names] for r in sorted_rows])[:, layout.kept]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = MixedLM(layout.values, design, groups=layout.measurement).fit(reml=True, method=["lbfgs", "powell"])
    assert math.sqrt(ours.error_variance) == pytest.approx(math.sqrt(theirs.scale), rel=5e-5)
    assert math.sqrt(ours.measurement_variance) == pytest.approx(math.sqrt(theirs.cov_re[0, 0]), rel=5e-5)
    assert ours.minus_two_log_likelihood == pytest.approx(-2 * theirs.llf, abs=1e-3)
    # What each reading's observer and gauge add up to does not hang on the choice of origin.
    mine = ours.effects[layout.observer] + np.append(ours.effects, 0.0)[layout.gauge]
    np.testing.assert_allclose(mine, design @ theirs.fe_params, rtol=2e-5)


def coverage(classes: int, seed: int, **how: float) -> tuple[int, int, int, int]:
    """Of drawn classes: biases told and covered by their intervals, spreads told and covered."""
    rng = np.random.default_rng(seed)
    biases = covered = spreads = spreads_covered = 0
    for _ in range(classes):
        drawn = drawn_class(rng, **how)  # type: ignore[arg-type]
        found = whose(drawn.readings, LECTURER).systolic
        for one in found.observers:
            if one.bias_ci_mmhg and one.against == LECTURER and one.observer != LECTURER:
                truth = drawn.bias[one.observer] - drawn.bias[LECTURER]
                biases += 1
                covered += one.bias_ci_mmhg[0] <= truth <= one.bias_ci_mmhg[1]
            if one.spread_ci_mmhg:
                # Writing to the nearest 2 adds a variance of 2^2 / 12.
                spreads += 1
                truth = math.hypot(drawn.spread[one.observer], 2 / math.sqrt(12))
                spreads_covered += one.spread_ci_mmhg[0] <= truth <= one.spread_ci_mmhg[1]
    return biases, covered, spreads, spreads_covered


def test_intervals_of_bias_and_spread_cover_the_truth_in_some_classes() -> None:
    """Of 60 classes' 1 440 intervals, no fewer hold the truth than a 93 % cover would in 99.9 % of such draws."""
    biases, covered, spreads, spreads_covered = coverage(60, 21)
    assert biases >= 1400
    assert binomial_upper_tail(biases - covered, biases, 0.07) > 0.001
    assert binomial_upper_tail(covered, biases, 0.97) > 0.001
    assert 0.92 < spreads_covered / spreads < 0.98


@pytest.mark.accuracy
@pytest.mark.hard
@pytest.mark.parametrize(
    "how",
    [{}, {"measurements": 72}, {"with_lecturer": 1.0}, {"measurements": 400, "two_gauges": 0.0}],
    ids=["a term", "few pairs", "all with the lecturer", "many pairs"],
)
def test_intervals_of_bias_cover_the_truth_in_2000_classes(how: dict[str, float]) -> None:
    """Of 2 000 classes the 95 % intervals of bias hold the truth in 93 to 97 %, and so do those of spread."""
    biases, covered, spreads, spreads_covered = coverage(2000, 22, **how)
    told = ", ".join(f"{name} {value}" for name, value in how.items()) or "as drawn"
    print(f"{told}: bias {covered / biases:.4f} of {biases}, spread {spreads_covered / spreads:.4f} of {spreads}")
    assert 0.93 <= covered / biases <= 0.97
    assert 0.93 <= spreads_covered / spreads <= 0.97


def pair(
    measurement: str, one: str, first: float, other: str, second: float, gauges: str = "AA"
) -> list[PairedReading]:
    """Two readings of one measurement, with one letter for each gauge."""
    return [
        PairedReading(measurement, one, first, None, gauge=gauges[0]),
        PairedReading(measurement, other, second, None, gauge=gauges[1]),
    ]


def chain() -> list[PairedReading]:
    """T, then A 4 above T, then B 2 above A: B never met T. Wobbles of 1 cancel in each set of four."""
    rows = []
    for turn in range(4):
        wobble = (1, -1, 1, -1)[turn]
        rows += pair(f"TA{turn}", "T", 110 + turn * 7, "A", 114 + turn * 7 + wobble)
        rows += pair(f"AB{turn}", "A", 120 + turn * 5, "B", 122 + turn * 5 + wobble)
    return rows


def test_a_chain_of_pairs_compares_those_who_never_met() -> None:
    """B never met T, but A met both: 4 + 2 above, two steps away."""
    found = {one.observer: one for one in whose(chain(), "T").systolic.observers}
    assert found["B"].bias_mmhg == pytest.approx(6, abs=0.2)
    assert (found["T"].steps, found["A"].steps, found["B"].steps) == (0, 1, 2)
    assert found["T"].bias_ci_mmhg == (0, 0)
    (_, high_a), (_, high_b) = found["A"].bias_ci_mmhg or (0, 0), found["B"].bias_ci_mmhg or (0, 0)
    assert high_b - 6 > high_a - 4


def test_without_a_reference_the_mean_of_the_group_is_zero() -> None:
    """Biases of a group sum to 0 where nobody is named."""
    observers = whose(chain()).systolic.observers
    assert sum(one.bias_mmhg or 0 for one in observers) == pytest.approx(0, abs=1e-9)
    assert {one.against for one in observers} == {""}


def test_groups_that_never_met_and_loners_are_named() -> None:
    """X and Y read only with one another, Z alone: neither is compared with T, and it is said why."""
    rows = [*chain(), PairedReading("Z1", "Z", 130)]
    for turn in range(3):
        rows += pair(f"XY{turn}", "X", 125 + turn, "Y", 121 + turn)
    found = whose(rows, "T").systolic
    by_name = {one.observer: one for one in found.observers}
    assert (by_name["Z"].bias_mmhg, by_name["Z"].spread_mmhg, by_name["Z"].steps) == (None, None, None)
    assert (by_name["X"].against, by_name["X"].bias_mmhg) == ("", pytest.approx(2, abs=0.5))
    assert {(one.cause, one.groups) for one in found.untold} == {
        ("alone", (("Z",),)),
        ("apart", (("T", "A", "B"), ("X", "Y"))),
        ("spreads", (("T", "B"), ("A",))),
        ("spreads", (("X",), ("Y",))),
    }


def test_an_observer_always_on_a_gauge_of_their_own_is_not_judged() -> None:
    """A always reads gauge 1 and T always gauge 2: a difference may be the gauge's, and no bias is given."""
    rows = []
    for turn in range(5):
        rows += pair(f"m{turn}", "T", 110 + turn * 7, "A", 116 + turn * 7 + turn % 2, "21")
    found = whose(rows, "T").systolic
    assert [one.bias_mmhg for one in found.observers] == [None, None]
    assert ("same gauge", (("T",), ("A",))) in {(one.cause, one.groups) for one in found.untold}
    assert [one.bias_mmhg for one in found.gauges] == [None, None]
    # Once they change gauges, both are told. A on 1 is 6 above T on 2, A on 2 is 2 below T on 1, wobbles of 0.4 aside:
    # A minus T is (6.4 - 1.6) / 2, gauge 1 minus gauge 2 is (6.4 + 1.6) / 2.
    for turn in range(5):
        rows += pair(f"n{turn}", "T", 114 + turn * 7, "A", 112 + turn * 7 + turn % 2, "12")
    found = whose(rows, "T").systolic
    assert {one.cause for one in found.untold} == {"spreads"}
    assert {one.observer: round(one.bias_mmhg or 0, 1) for one in found.observers} == {"T": 0, "A": 2.4}
    assert {one.gauge: round(one.bias_mmhg or 0, 1) for one in found.gauges} == {"2": -4, "1": 4}


def test_a_gauge_shared_by_both_cancels() -> None:
    """Where both read one gauge its bias is part of the measurement: no gauge is told, and biases stand."""
    found = whose(chain(), "T").systolic
    assert found.gauges == ()


def test_a_slip_of_the_pen_is_named_and_left_out() -> None:
    """A 30 too high in one of many pairs is named; of a pair nobody can say who slipped, of three readings one can."""
    drawn = drawn_class(np.random.default_rng(31))
    clean = {one.observer: one.bias_mmhg for one in whose(drawn.readings, LECTURER).systolic.observers}
    rows = list(drawn.readings)
    rows[40] = PairedReading(
        rows[40].measurement, rows[40].observer, rows[40].systolic_mmhg + 30, None, gauge=rows[40].gauge
    )
    found = whose(rows, LECTURER).systolic
    assert [(one.measurement, one.observer) for one in found.outlying] == [(rows[40].measurement, None)]
    for one in found.observers:
        assert one.bias_mmhg == pytest.approx(clean[one.observer], abs=1.5)
    third = next(name for name in drawn.bias if name not in {row.observer for row in rows[40:42]})
    rows.append(PairedReading(rows[40].measurement, third, rows[41].systolic_mmhg, None, gauge=rows[41].gauge))
    (slip,) = whose(rows, LECTURER).systolic.outlying
    assert slip.observer == rows[40].observer
    assert slip.off_mmhg == pytest.approx(30, abs=8)


def slipped(rows: tuple[PairedReading, ...], times: int, client: str = "") -> list[PairedReading]:
    """L1's first readings beside somebody else made 30 too high so many times, on one client where named."""
    changed, left = list(rows), times
    for place, row in enumerate(rows):
        if row.observer == "L1" and left:
            changed[place] = PairedReading(row.measurement, "L1", row.systolic_mmhg + 30, None, client, row.gauge)
            left -= 1
    return changed


@pytest.mark.parametrize(
    ("times", "client", "repeated"), [(1, "", False), (2, "", False), (2, "K1", True), (8, "", True)]
)
def test_an_error_made_again_is_no_slip(times: int, client: str, repeated: bool) -> None:
    """Twice on one client, or too often for slips, an error is the observer's own: named, and it counts."""
    drawn = drawn_class(np.random.default_rng(37), measurements=1000, learners=8)
    found = whose(slipped(drawn.readings, times, client), LECTURER).systolic
    far = [one for one in found.outlying if any(name == "L1" and value > 135 for name, value in one.written)]
    assert far
    assert {one.repeated for one in far} == {repeated}
    n = next(one.n for one in found.observers if one.observer == "L1")
    whole = sum(row.observer == "L1" for row in drawn.readings)
    assert n == (whole if repeated else whole - times)


def test_few_slips_are_named_where_there_are_none() -> None:
    """In 100 clean classes, naming at 5 % a class, 15 or more with a name come by chance once in 10 000 times."""
    rng = np.random.default_rng(33)
    classes = [drawn_class(rng, one_spread=2.2, measurements=100) for _ in range(100)]
    assert sum(bool(fit_end(one.readings, "systolic").outlying) for one in classes) < 15


def test_diastolic_is_told_apart_and_may_be_missing() -> None:
    """Both ends where both were written; without a diastolic pair only the systolic."""
    assert whose(chain(), "T").diastolic is None
    both = [PairedReading(r.measurement, r.observer, r.systolic_mmhg, r.systolic_mmhg - 40) for r in chain()]
    found = whose(both, "T")
    assert found.diastolic is not None
    assert [one.bias_mmhg for one in found.diastolic.observers] == pytest.approx(
        [one.bias_mmhg for one in found.systolic.observers]
    )


@pytest.mark.parametrize(
    ("rows", "reference", "told"),
    [
        ([], None, "too few"),
        (
            [PairedReading("1", "T", 120)],
            None,
            "one observer alone cannot be compared",
        ),
        ([PairedReading("1", "T", 120), PairedReading("2", "A", 120)], None, "2 systolic readings are too few"),
        (pair("1", "T", 120, "A", 124), "T", "too few"),
        (chain(), "Q", '"Q" has no readings'),
        ([*chain(), PairedReading("TA0", "T", 120)], None, "stand twice"),
    ],
)
def test_what_cannot_be_told_is_refused_in_one_line(
    rows: list[PairedReading], reference: str | None, told: str
) -> None:
    """Nothing shared, too few, an unknown reference, a repeat."""
    with pytest.raises(AgreementError, match=told) as refusal:
        whose(rows, reference)
    assert "\n" not in str(refusal.value)


def test_readings_that_are_all_equal_make_no_trouble() -> None:
    """Two who write the same throughout have no bias and a small spread."""
    rows = [one for turn in range(6) for one in pair(f"m{turn}", "T", 110 + turn, "A", 110 + turn)]
    found = whose(rows, "T").systolic.observers[1]
    assert found.bias_mmhg == pytest.approx(0, abs=1e-6)
    assert found.spread_mmhg is not None
    assert found.spread_mmhg < 0.5


def test_who_writes_wider_is_found() -> None:
    """Among 19 with a spread of 2, the one of 6 is told as widest, its interval above the others' 2."""
    rng, rows = np.random.default_rng(35), []
    for turn in range(400):
        pressure, places = rng.normal(117, 12), rng.choice(20, 2, False)
        for place in places:
            value = pressure + rng.normal(0, 6 if place == 7 else 2)
            rows.append(PairedReading(str(turn), f"L{place}", float(value)))
    found = whose(rows).systolic
    widest = max(found.observers, key=lambda one: one.spread_mmhg or 0)
    assert widest.observer == "L7"
    assert widest.spread_ci_mmhg is not None
    assert 2 < widest.spread_ci_mmhg[0] < 6 < widest.spread_ci_mmhg[1]
    assert not any(one.cause == "spreads" for one in found.untold)
