"""A gauge beside a reference: limits, verdicts, zero, hysteresis, intervals and the lines for bad checks."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from hushpoint.guideline import gauge_rule, gauge_rules, gauge_tests
from hushpoint.guideline.gauges import read_gauge_limits
from hushpoint.guideline.tables import TableError, package_text
from hushpoint.instrument import (
    Direction,
    Failed,
    GaugePoint,
    InstrumentError,
    check_gauge,
)

PUBLISHED = Path(__file__).resolve().parents[1] / "published"
STEPS = (0, 60, 100, 150, 200, 250, 300)


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table of outside values."""
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def loop(up: list[float], down: list[float], at: tuple[float, ...]) -> list[GaugePoint]:
    """A check with these errors, rising then falling; `at` and both lists go from the lowest step up."""
    rising = [GaugePoint(step, step + error, Direction.UP) for step, error in zip(at, up, strict=True)]
    falling = [GaugePoint(step, step + error, Direction.DOWN) for step, error in zip(at, down, strict=True)]
    return rising + falling[::-1]


@pytest.mark.parametrize("row", rows("gauge_limits.csv"), ids=lambda row: f"{row['rule']}-{row['what']}")
def test_limits_are_those_of_the_source_and_carry_its_mark(row: dict[str, str]) -> None:
    """Each shipped limit is the printed or remembered one, and says which."""
    limit = getattr(gauge_rules()[row["rule"]], row["what"])
    assert limit.value == float(row["limit"])
    assert limit.provenance == row["provenance"]
    assert ("not checked against the printed text" in limit.words()) is (row["provenance"] == "FROM MEMORY")


def test_steps_are_those_of_the_check_procedure() -> None:
    """The procedure reads 300, 250, 200, 150, 100, 60 and 0 (a calibration procedure sheet, SEEN)."""
    assert [step.value for step in gauge_tests().steps] == [300, 250, 200, 150, 100, 60, 0]
    assert {step.provenance for step in gauge_tests().steps} == {"SEEN"}


@pytest.mark.parametrize("row", rows("gauge_verdicts.csv"), ids=lambda row: row["case"])
def test_verdicts_at_and_beside_each_limit(row: dict[str, str]) -> None:
    """Verdict, worst error and hysteresis of small worked checks at 0, 100 and 200 mmHg."""
    up, down = ([float(error) for error in row[run].split()] for run in ("up", "down"))
    check = check_gauge(
        loop(up, down, (0, 100, 200)),
        gauge_rule(row["rule"]),
        reference_error_mmhg=float(row["reference_error"]),
    )
    assert ("fail" if isinstance(check.verdict, Failed) else "pass") == row["verdict"]
    assert check.worst.error_mmhg == float(row["worst"])
    assert check.hysteresis is not None
    assert abs(check.hysteresis.falling_minus_rising_mmhg) == float(row["hysteresis"])


def test_a_gauge_six_low_fails_at_every_point() -> None:
    """The gauge of the recall scene: worst -6, zero -6, no hysteresis, one reason for the scale and one for zero."""
    check = check_gauge(loop([-6.0] * 7, [-6.0] * 7, STEPS), gauge_rule("in_use"))
    assert isinstance(check.verdict, Failed)
    assert len(check.verdict.reasons) == 2
    assert check.verdict.reasons[0].startswith("6 low at 60 going up (and 11 more of 14 points)")
    assert not any(error.within for error in check.errors)
    assert check.zero is not None
    assert (check.worst.error_mmhg, check.zero.error_mmhg) == (-6, -6)
    assert check.unread == ()


@pytest.mark.parametrize(("reference_error", "half"), [(0.0, 1.154701), (0.5, 1.290994), (1.0, 1.632993)])
def test_interval_of_an_error(reference_error: float, half: float) -> None:
    """Half the interval is 2 sqrt(r^2/3 + 2^2/12): 2/sqrt 3, then with a half and a whole mmHg of the reference."""
    error = check_gauge(
        loop([1.0, 1.0], [1.0, 1.0], (0, 100)), gauge_rule(), reference_error_mmhg=reference_error
    ).errors[0]
    assert error.high_mmhg - error.error_mmhg == pytest.approx(half, abs=1e-6)
    assert error.error_mmhg - error.low_mmhg == pytest.approx(half, abs=1e-6)


def test_what_was_not_read_is_named() -> None:
    """A check that only falls, over part of the scale, says what it leaves open and has no hysteresis."""
    check = check_gauge([GaugePoint(at, at, Direction.DOWN) for at in (150.0, 100.0, 60.0)], gauge_rule())
    assert check.hysteresis is None
    assert check.zero is None
    assert check.unread == (
        "rising pressure was not read",
        "falling, nothing was read within 10 of 300, 250, 200, 0",
    )


def test_hysteresis_is_compared_where_steps_differ() -> None:
    """Falling read at 100, rising at 80 and 120: halfway between errors 0 and 2 lies 1, against 4 falling: 3."""
    points = [
        GaugePoint(80, 80, Direction.UP),
        GaugePoint(120, 122, Direction.UP),
        GaugePoint(120, 122, Direction.DOWN),
        GaugePoint(100, 104, Direction.DOWN),
        GaugePoint(80, 80, Direction.DOWN),
    ]
    found = check_gauge(points, gauge_rule()).hysteresis
    assert found is not None
    assert (found.at_mmhg, found.falling_minus_rising_mmhg) == (100, 3)


@pytest.mark.parametrize(
    ("points", "told"),
    [
        ([], "no points"),
        ([(0, 0, "up")], "1 point; a check needs 2 or more"),
        ([(0, 0, "up"), (100, 100, "up"), (50, 50, "up")], "point 3: reference_mmhg 50 after 100 going up"),
        ([(100, 100, "down"), (150, 150, "down")], "a number below 100 is needed"),
        ([(100, 100, "up"), (100, 101, "up")], "points out of order"),
        ([(0, 0, "up"), (math.nan, 0, "up")], "reference_mmhg nan"),
        ([(0, 0, "up"), (50, math.inf, "up")], "reading_mmhg inf"),
        ([(0, 0, "up"), (321, 300, "up")], "from 0 to 320"),
        ([(0, -21, "up"), (100, 100, "up")], "from -20 to 330"),
        ([(at / 2, at / 2, "up") for at in range(201)], "at most 200"),
    ],
)
def test_bad_checks_are_told_in_one_line(points: list[tuple[float, float, str]], told: str) -> None:
    """Too few, too many, out of order or out of range: one line with place and need."""
    with pytest.raises(InstrumentError) as refused:
        check_gauge([GaugePoint(at, shown, Direction(way)) for at, shown, way in points], gauge_rule())
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("certificate", [-0.1, 10.1, math.nan, math.inf])
def test_an_impossible_certificate_error_is_refused(certificate: float) -> None:
    """The reference's own error must be from 0 to 10 mmHg."""
    with pytest.raises(InstrumentError, match="from 0 to 10"):
        check_gauge(loop([0, 0], [0, 0], (0, 100)), gauge_rule(), reference_error_mmhg=certificate)


@pytest.mark.parametrize(
    "named", ["", "old", "local=", "local=0.9", "local=6.1", "local=nan", "local=-3", "NEW", "any"]
)
def test_an_unknown_rule_is_refused_with_the_list(named: str) -> None:
    """Unknown names and local limits out of range get the list and the range."""
    with pytest.raises(Exception, match=r"must be new, in_use, local or local=LIMIT from 1 to 6 mmHg"):
        gauge_rule(named)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("new.error,new,error,3", "new.error,new,error,x", "row 2, limit 'x'"),
        ("new.error,new,error,3", "new.error,new,size,3", "row 2, what 'size'"),
        ("new.error,new,error,3", "new.erro,new,error,3", "row 2, what"),
        ("new.leak,new,leak,4,mmHg/min,ISO 81060-1:2007,FROM MEMORY\n", "", "no row new.leak"),
        ("SEEN", "HEARD", "one of SEEN, FROM MEMORY, DERIVED"),
        ("any.exhaust,any", "any.exhaust,every", "one of new, in_use, local, any"),
    ],
)
def test_a_wrong_limit_is_refused_in_one_line(old: str, new: str, told: str) -> None:
    """The table of limits is refused with row, column and what is legal."""
    text = package_text("gauge_limits.csv")
    assert old in text
    with pytest.raises(TableError) as refused:
        read_gauge_limits(text.replace(old, new, 1), "gauge_limits.csv")
    assert told in str(refused.value)
