"""Leak, rapid exhaust and release valve from timed readings, on worked numbers."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from hushpoint.guideline import gauge_rule
from hushpoint.instrument import Failed, InstrumentError, Passed, TimedReading, leak, rapid_exhaust, valve
from hushpoint.measure.verdict import Withheld

PUBLISHED = Path(__file__).resolve().parents[1] / "published"
VERDICTS = {"pass": Passed, "fail": Failed, "withheld": Withheld}


def worked() -> list[dict[str, str]]:
    """The worked leaks, each with its derivation."""
    with (PUBLISHED / "leak_worked.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def timed(*pairs: tuple[float, float]) -> list[TimedReading]:
    """Timed readings from (s, mmHg)."""
    return [TimedReading(at_s, mmhg) for at_s, mmhg in pairs]


@pytest.mark.parametrize("row", worked(), ids=lambda row: row["case"])
def test_leak_on_worked_numbers(row: dict[str, str]) -> None:
    """Rate, half interval and verdict are those worked out by hand beside the case."""
    times, pressures = ([float(cell) for cell in row[column].split()] for column in ("times_s", "pressures_mmhg"))
    found = leak(timed(*zip(times, pressures, strict=True)), gauge_rule(row["rule"]))
    assert found.rate == pytest.approx(float(row["rate_per_min"]), abs=5e-4)
    assert found.high - found.rate == pytest.approx(float(row["half_per_min"]), abs=5e-4)
    assert found.rate - found.low == pytest.approx(float(row["half_per_min"]), abs=5e-4)
    assert isinstance(found.verdict, VERDICTS[row["verdict"]])
    assert found.unit == "mmHg/min"


def test_an_unsure_leak_says_what_would_tell() -> None:
    """Where the interval holds the limit the verdict is withheld and asks for more."""
    found = leak(timed((0, 200), (60, 196), (120, 192), (180, 188)), gauge_rule("new"))
    assert isinstance(found.verdict, Withheld)
    assert found.verdict.reason.endswith("holds the limit 4: take more readings over a longer time")


@pytest.mark.parametrize(("rate", "verdict"), [(2.5, Passed), (1.0, Failed), (4.5, Failed), (2.0, Withheld)])
def test_valve_set_to_fall_at_a_steady_rate(rate: float, verdict: type) -> None:
    """A straight fall over a minute: 2.5 passes, 1 and 4.5 do not, 2 lies on the limit."""
    found = valve(timed(*((5 * step, 280 - rate * 5 * step) for step in range(13))))
    assert found.rate == pytest.approx(rate)
    assert isinstance(found.verdict, verdict)
    assert found.unit == "mmHg/s"


def test_rapid_exhaust_on_a_straight_fall() -> None:
    """From 270 to 10 in 13 s, waiting 5 s first: 260 is passed at 5.5 s and 15 at 17.75 s, so 12.25 s, too slow."""
    found = rapid_exhaust(timed((0, 270), (5, 270), (18, 10)))
    assert found.seconds == pytest.approx(12.25)
    assert isinstance(found.verdict, Failed)


def test_rapid_exhaust_of_ten_seconds_passes() -> None:
    """Exactly 260 to 15 in 10 s is allowed."""
    found = rapid_exhaust(timed((0, 260), (10, 15)))
    assert found.seconds == pytest.approx(10)
    assert isinstance(found.verdict, Passed)


@pytest.mark.parametrize(
    ("readings", "told"),
    [
        (timed((0, 200), (60, 198)), "2 timed readings; 3 to"),
        (timed((0, 200), (60, 198), (60, 197)), "timed reading 3: 60 s; a time after 60 s"),
        (timed((0, 200), (60, math.nan), (120, 197)), "timed reading 2: nan mmHg"),
        (timed((0, 200), (math.nan, 199), (120, 197)), "timed reading 2: nan s"),
        (timed((-1, 200), (60, 199), (120, 197)), "timed reading 1: -1 s; 0 to 3600"),
        (timed((0, 900), (60, 199), (120, 197)), "timed reading 1: 900 mmHg"),
    ],
)
def test_bad_timed_readings_are_told_in_one_line(readings: list[TimedReading], told: str) -> None:
    """Too few, out of order, no number or out of range."""
    for act in (lambda: leak(readings, gauge_rule()), lambda: valve(readings)):
        with pytest.raises(InstrumentError) as refused:
            act()
        assert told in str(refused.value)


@pytest.mark.parametrize(
    ("readings", "told"),
    [
        (timed((0, 250), (5, 10)), "from 260 or more to 15 or less"),
        (timed((0, 270), (5, 20)), "from 260 or more to 15 or less"),
        (timed((0, 270), (2, 100), (3, 120), (5, 10)), "rises between readings"),
        (timed((0, 270)), "1 timed readings"),
    ],
)
def test_an_exhaust_that_does_not_reach_is_refused(readings: list[TimedReading], told: str) -> None:
    """The readings must fall all the way from 260 to 15."""
    with pytest.raises(InstrumentError, match=told):
        rapid_exhaust(readings)
