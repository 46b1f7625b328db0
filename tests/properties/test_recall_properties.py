"""What holds of every correction between two checks: it rises with the reading and overwrites nothing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from hushpoint.desk import kit, live
from hushpoint.desk import recall as desk
from hushpoint.guideline import gauge_rule
from hushpoint.instrument import (
    Corrected,
    CorrectionCurve,
    Direction,
    Drift,
    GaugePoint,
    Reach,
    check_gauge,
    correction_curve,
    reach,
)
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.measure.verdict import Withheld
from recall_scene import FOUND, GOOD, checked, reading

AT = (0, 60, 100, 150, 200, 250, 300)
FIRST, SECOND = datetime(2026, 5, 1, tzinfo=UTC), datetime(2026, 5, 22, tzinfo=UTC)


@st.composite
def curves(draw: st.DrawFn) -> CorrectionCurve:
    """A gauge read up and down, off by up to 12 at each step."""
    off = st.integers(-12, 12)
    points = [GaugePoint(at, at + draw(off), Direction.UP) for at in AT]
    points += [GaugePoint(at, at + draw(off), Direction.DOWN) for at in reversed(AT)]
    return correction_curve(check_gauge(points, gauge_rule(), reference_error_mmhg=draw(st.sampled_from([0.0, 1.0]))))


@settings(max_examples=150, deadline=None)
@given(curves(), curves(), st.integers(20, 280), st.floats(0, 1))
def test_a_step_holds_the_slope_and_the_reach_holds_every_estimate(
    first: CorrectionCurve, second: CorrectionCurve, reading_mmhg: int, part: float
) -> None:
    """The slope lies between before and after the step, interval and all; the reach holds all estimates."""
    found = Drift(first, FIRST, second, SECOND).correct(reading_mmhg, FIRST + part * (SECOND - FIRST))
    slope, before, after = found.slope, found.before_step, found.after_step
    assert isinstance(slope, Corrected)
    assert isinstance(before, Corrected)
    assert isinstance(after, Corrected)
    hair = 1e-9
    assert min(before.low_mmhg, after.low_mmhg) - hair <= slope.low_mmhg
    assert slope.high_mmhg <= max(before.high_mmhg, after.high_mmhg) + hair
    assert min(before.mmhg, after.mmhg) - hair <= slope.mmhg <= max(before.mmhg, after.mmhg) + hair
    spans = reach(reading_mmhg, found)
    assert isinstance(spans, Reach)
    for place in (slope.mmhg, before.mmhg, after.mmhg):
        assert spans.low_mmhg <= place <= spans.high_mmhg
    far = after.high_mmhg if after.mmhg >= reading_mmhg else after.low_mmhg
    assert spans.low_mmhg <= far <= spans.high_mmhg


@settings(max_examples=100, deadline=None)
@given(curves(), curves(), st.integers(20, 279), st.floats(0, 1))
def test_a_higher_reading_is_never_corrected_lower(
    first: CorrectionCurve, second: CorrectionCurve, reading_mmhg: int, part: float
) -> None:
    """All three ways rise with the reading."""
    drift, at = Drift(first, FIRST, second, SECOND), FIRST + part * (SECOND - FIRST)
    lower, higher = drift.correct(reading_mmhg, at), drift.correct(reading_mmhg + 1, at)
    for one, other in (
        (lower.slope, higher.slope),
        (lower.before_step, higher.before_step),
        (lower.after_step, higher.after_step),
    ):
        assert isinstance(one, Corrected)
        assert isinstance(other, Corrected)
        assert one.mmhg <= other.mmhg + 1e-9


def test_nothing_is_reached_where_the_check_says_nothing() -> None:
    """Beyond the second check's points the reach is withheld."""
    curve = correction_curve(check_gauge([GaugePoint(at, at, Direction.UP) for at in AT], gauge_rule()))
    found = Drift(curve, FIRST, curve, SECOND).correct(310, SECOND)
    assert isinstance(reach(310, found), Withheld)


PRESSURES = st.tuples(st.integers(80, 200), st.integers(40, 79))


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(PRESSURES, st.integers(-3, 25), st.sampled_from(["visit", "pair"]), st.booleans()), max_size=12),
    st.integers(-12, 12).filter(lambda off: abs(off) > 4),
    st.sampled_from(["annotate", "letter", "void", "open", "nonsense"]),
)
def test_listing_and_deciding_overwrite_nothing(
    taken: list[tuple[tuple[int, int], int, str, bool]], off: int, decision: str
) -> None:
    """Every row there was stays as it was; each reading since the good check stands on one line and one only."""
    ledger = MemoryLedger()
    gauge = kit.add(ledger, {"type": "gauge", "label": "G4"}, by="lecturer")
    checked(ledger, gauge.id, 0.0, GOOD)
    for turn, (pair, day, via, ours) in enumerate(taken):
        one = reading(
            f"m{turn // 2}", f"L{turn}", pair, GOOD + timedelta(days=day), gauge.id if ours else "OTHERS",
            "visit" if via == "visit" else "pair",
        )  # fmt: skip
        ledger.append(live.entry_of(one, room=f"R{turn // 3}", who=f"w{turn}"))
    checked(ledger, gauge.id, float(off), FOUND)
    rows = [(row.seq, row.body, row.chain) for row in ledger.rows()]
    found = desk.recall(ledger, desk.window_of(kit.item(ledger, gauge.id)))
    listed = sorted(each.reading.seq for line in found.lines for each in line.touched)
    assert listed == sorted(
        one.seq for one in live.readings(ledger) if one.gauge == gauge.id and one.taken_at >= GOOD.isoformat()[:19]
    )
    try:
        desk.decide(ledger, found, keys=[line.key for line in found.lines], decision=decision, by="lecturer", why="why")
    except desk.BadInputError:
        assert ledger.last() == len(rows)
    assert [(row.seq, row.body, row.chain) for row in ledger.rows()][: len(rows)] == rows
