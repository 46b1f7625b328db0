"""What a bad gauge touched: the scene of the gauge 6 low, how lines are sorted, and decisions as rows."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from hushpoint.desk import kit, live
from hushpoint.desk import recall as desk
from hushpoint.desk import recall_sheet as sheet
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.guideline.clinical_policies import clinical_policy
from hushpoint.instrument import Corrected
from hushpoint.ledger.records import Kind, Ledger
from hushpoint.measure import Withheld
from hushpoint.visit import Visit
from recall_scene import FOUND, GOOD, NOTED, RECALLED, checked, furnish, reading, visit

WHY = "another gauge, same arm"


def listed(ledger: Ledger, label: str = "G4", **more: object) -> desk.Recall:
    """The list of a gauge by its label."""
    window = desk.window_of(desk.gauge_named(ledger, label))
    return desk.recall(ledger, window, **more)  # type: ignore[arg-type]


def line(found: desk.Recall, key: str) -> desk.Line:
    """One line of a list."""
    return next(each for each in found.lines if each.key == key)


def whole(end: desk.End | None) -> tuple[float, float, float]:
    """The correction by the whole error with its interval, to six decimals."""
    assert end is not None
    found = end.found.after_step
    assert isinstance(found, Corrected)
    return round(found.mmhg, 6), round(found.low_mmhg, 6), round(found.high_mmhg, 6)


def test_the_scene_recalls_four_of_eighteen_and_the_last_one_today(ledger: Ledger) -> None:
    """job.md, scene 4, by the bands and ladder of NHFA 2016: 142/90, 162/98, 140/94, 180/112; fourteen notes."""
    furnish(ledger)
    found = listed(ledger)
    visits = [each for each in found.lines if each.sort == "visit"]
    recalled = {each.code: sheet.value_words(each.change.whole if each.change else None) for each in visits[:4]}
    assert recalled == {"K17": "180/112", "K09": "162/98", "K05": "142/90", "K12": "140/94"}
    assert [each.urgency for each in visits[:4]] == ["today", "month", "later", "later"]
    assert {each.suggested for each in visits[:4]} == {"recall"}
    assert {each.code for each in visits[4:]} == set(NOTED)
    assert {(each.suggested, each.urgency) for each in visits[4:]} == {("annotate", "note")}
    for each in visits[:4]:
        assert each.change is not None
        assert (each.change.policy, each.change.changes, each.change.by_way["whole"]) == (
            "NHFA_2016", "perhaps", "certainly",
        )  # fmt: skip
        assert sheet.value_words(each.change.written) == "{}/{}".format(*RECALLED[each.code])


def test_drift_as_a_slope_and_as_a_step_are_both_there(ledger: Ledger) -> None:
    """Of 21 days, 17 d 2 h after the good check: 6 x 17.0833/21 = 4.881 on the slope; none and 6 as a step."""
    furnish(ledger)
    found = line(listed(ledger), "visit:visitK17")
    end = found.touched[0].systolic
    assert end is not None
    slope, none = end.found.slope, end.found.before_step
    assert isinstance(slope, Corrected)
    assert isinstance(none, Corrected)
    assert slope.mmhg == pytest.approx(174 + 6 * (17 + 2 / 24) / 21)
    assert none.mmhg == pytest.approx(174)
    # derivation: 2 sqrt(2 x 2^2/12), no certificate error, no hysteresis
    assert whole(end) == pytest.approx((180, 180 - 1.632993, 180 + 1.632993), abs=1e-6)


def test_pairs_of_one_inflation_stand_and_those_on_two_gauges_are_void(ledger: Ledger) -> None:
    """Ten pairs on the gauge 6 low stand, two with one listener on another gauge are void, one reading is alone."""
    furnish(ledger)
    found = listed(ledger)
    pairs = [each for each in found.lines if each.sort == "pair"]
    assert sorted(each.suggested for each in pairs) == ["stands"] * 10 + ["void"] * 2
    assert {each.key for each in pairs if each.suggested == "void"} == {"pair:RKTM:m10", "pair:RKTM:m11"}
    assert [each.suggested for each in found.lines if each.sort == "single"] == ["annotate"]


def test_readings_before_the_good_check_after_the_next_and_on_other_gauges_are_left_out(ledger: Ledger) -> None:
    """One reading on each side of either check, and one on the good gauge."""
    bad, good = furnish(ledger)
    mended = FOUND + timedelta(days=1)
    at = {"before": GOOD - timedelta(seconds=1), "first": GOOD, "last": mended - timedelta(seconds=1), "after": mended}
    for name, when in at.items():
        ledger.append(live.entry_of(reading(name, "L90", (120, 80), when, bad.id, "paper"), room="RKTM", who="L90"))
    ledger.append(live.entry_of(reading("x", "L90", (120, 80), GOOD, good.id, "paper"), room="RKTM", who="L90"))
    checked(ledger, bad.id, 0.0, mended)
    found = listed(ledger)
    mine = [each.touched[0].reading.measurement for each in found.lines if each.code == "L90"]
    assert sorted(mine) == ["first", "last"]
    after_the_check = next(each for each in found.lines if each.touched[0].reading.measurement == "last")
    assert after_the_check.touched[0].systolic is not None
    assert after_the_check.touched[0].systolic.found.before_step == after_the_check.touched[0].systolic.found.after_step


def test_without_a_good_check_everything_ever_read_is_listed(ledger: Ledger) -> None:
    """No slope and no "before" can be told; the whole error still is."""
    gauge = kit.add(ledger, {"type": "gauge", "label": "G9"}, by="lecturer")
    ledger.append(*visit("K50", (136, 84), GOOD - timedelta(days=300), gauge.id))
    checked(ledger, gauge.id, -6.0, FOUND)
    found = line(listed(ledger, "g9"), "visit:visitK50")
    end = found.touched[0].systolic
    assert end is not None
    assert isinstance(end.found.slope, Withheld)
    assert whole(end)[0] == 142
    assert found.change is not None
    assert (found.change.changes, found.change.by_way) == ("perhaps", {"whole": "certainly"})


def test_readings_that_name_no_gauge_are_counted_beside_the_list(ledger: Ledger) -> None:
    """An empty list is no proof: three readings of that time may have been made on this gauge."""
    gauge = kit.add(ledger, {"type": "gauge", "label": "G9"}, by="lecturer")
    checked(ledger, gauge.id, 0.0, GOOD)
    checked(ledger, gauge.id, -6.0, FOUND)
    ledger.append(*visit("K50", (136, 84), GOOD - timedelta(days=1), ""))
    assert listed(ledger, "g9").cautions() == desk.CAUTIONS
    ledger.append(*visit("K51", (136, 84), GOOD + timedelta(days=1), ""))
    found = listed(ledger, "g9")
    assert (found.lines, found.unnamed) == ((), 3)
    assert found.cautions()[0].endswith("whether it was this one: 3.")


def test_a_change_is_certain_where_the_gauge_read_low_all_along(ledger: Ledger) -> None:
    """4 low and yet in use at the good check, 12 low at the next: 138/84 is 142/88 at least."""
    gauge = kit.add(ledger, {"type": "gauge", "label": "G9"}, by="lecturer")
    checked(ledger, gauge.id, -4.0, GOOD)
    ledger.append(*visit("K50", (138, 84), GOOD + timedelta(days=2), gauge.id))
    checked(ledger, gauge.id, -12.0, FOUND)
    found = line(listed(ledger, "G9"), "visit:visitK50")
    assert found.change is not None
    assert (found.change.changes, found.why) == ("certainly", "category or action changes in every case")


def test_a_gauge_that_reads_high_may_lower_a_category(ledger: Ledger) -> None:
    """8 high: 146/84 was 138/76, high-normal and not grade 1; nobody is called in today for that."""
    gauge = kit.add(ledger, {"type": "gauge", "label": "G9"}, by="lecturer")
    checked(ledger, gauge.id, 0.0, GOOD)
    ledger.append(*visit("K50", (146, 84), FOUND - timedelta(days=1), gauge.id))
    checked(ledger, gauge.id, 8.0, FOUND)
    found = line(listed(ledger, "G9"), "visit:visitK50")
    assert found.change is not None
    assert found.change.whole is not None
    assert (found.change.whole.category, found.urgency, found.suggested) == ("high-normal", "later", "recall")


def test_the_policy_of_a_visit_wins_and_its_symptoms_count(ledger: Ledger) -> None:
    """Under ISH 2020, 174/106 stays grade 2; with palpitations above 180/120 it is an emergency."""
    gauge = kit.add(ledger, {"type": "gauge", "label": "G9"}, by="lecturer")
    checked(ledger, gauge.id, 0.0, GOOD)
    ledger.append(*visit("K50", (176, 106), GOOD + timedelta(days=2), gauge.id))
    checked(ledger, gauge.id, -6.0, FOUND)
    known = (clinical_policy("ISH_2020"), Visit(symptoms=("palpitations",)))
    found = line(listed(ledger, "G9", visit_known=lambda room: known if room == "visitK50" else None), "visit:visitK50")
    assert found.change is not None
    assert found.change.whole is not None
    assert found.change.written is not None
    assert found.change.policy == "ISH_2020"
    assert (found.change.written.category, found.change.whole.category) == ("grade 2", "grade 2")
    assert (found.change.written.verdict, found.change.whole.verdict) == ("refer", "emergency")
    assert found.urgency == "today"


def test_what_lies_outside_the_check_is_left_to_the_hand(ledger: Ledger) -> None:
    """A gauge checked up to 150 says nothing of 174: unknown, at the top of the list."""
    gauge = kit.add(ledger, {"type": "gauge", "label": "G9"}, by="lecturer")
    ledger.append(*visit("K50", (174, 106), GOOD + timedelta(days=2), gauge.id))
    from recall_scene import points

    kit.file_check(
        ledger, gauge.id, points=points(-6.0)[:4], rule="in_use", reference=kit.Reference("R", "C", 0.0),
        checked_at=FOUND, how="bench", by="technician", now=FOUND,
    )  # fmt: skip
    found = line(listed(ledger, "G9"), "visit:visitK50")
    assert found.change is not None
    assert (found.change.changes, found.urgency) == ("unknown", "today")
    assert "decide by hand" in found.why


def test_readings_without_a_sound_are_listed_and_not_guessed(ledger: Ledger) -> None:
    """A visit with nothing heard has no value."""
    gauge = kit.add(ledger, {"type": "gauge", "label": "G9"}, by="lecturer")
    silent = replace(reading("m", "P1", (120, 80), GOOD, gauge.id, "visit", "K50"), systolic_mmhg=None)
    ledger.append(live.entry_of(silent, room="visitK50", who="personK50"))
    checked(ledger, gauge.id, -6.0, FOUND)
    found = line(listed(ledger, "G9"), "visit:visitK50")
    assert found.touched[0].systolic is None
    assert found.change is not None
    assert found.change.changes == "unknown"


def test_decisions_are_rows_and_the_last_one_stands(ledger: Ledger) -> None:
    """One recall row for all; a later decision stands, the earlier ones and the readings stay as they were."""
    furnish(ledger)
    before = [(row.seq, row.body) for row in ledger.rows()]
    found = listed(ledger)
    desk.decide(ledger, found, keys=["visit:visitK17"], decision="letter", by="practitioner", why=WHY)
    noted = [each.key for each in found.lines if each.suggested == "annotate"]
    desk.decide(ledger, found, keys=noted, decision="annotate", by="lecturer", why="6 low, see the list")
    desk.decide(ledger, found, keys=["visit:visitK17"], decision="repeat", by="practitioner", why=WHY)
    now = listed(ledger)
    top = line(now, "visit:visitK17")
    assert [each.decision for each in top.decisions] == ["letter", "repeat"]
    assert top.decided is not None
    assert (top.decided.decision, top.decided.by, top.decided.why) == ("repeat", "practitioner", WHY)
    assert sum(each.decided is not None for each in now.lines) == 1 + len(noted) == 16
    assert len(list(ledger.rows(kinds=[Kind.RECALL_OPENED]))) == 1
    assert [(row.seq, row.body) for row in ledger.rows()][: len(before)] == before


def test_a_decision_is_taken_back_by_a_later_one(ledger: Ledger) -> None:
    """Taken back, the line is open again, and both rows are there."""
    furnish(ledger)
    found = listed(ledger)
    desk.decide(ledger, found, keys=["pair:RKTM:m10"], decision="void", by="lecturer", why=WHY)
    desk.decide(ledger, listed(ledger), keys=["pair:RKTM:m10"], decision="open", by="lecturer", why="wrong line")
    again = line(listed(ledger), "pair:RKTM:m10")
    assert again.decided is None
    assert [each.decision for each in again.decisions] == ["void", "open"]


@pytest.mark.parametrize(
    ("change", "line_of_refusal"),
    [
        ({"keys": []}, "choose at least one line"),
        ({"keys": ["visit:visitK17", "visit:nobody"]}, "choose at least one line"),
        ({"decision": "forget"}, "must be one of annotate, repeat, letter, stands, void, open"),
        ({"decision": "stands"}, "is for pair lines; visit:visitK17 is a visit"),
        ({"by": "Ada"}, "must be one of lecturer, practitioner"),
        ({"why": " \n "}, "1 to 300 characters"),
        ({"why": "x" * 301}, "1 to 300 characters"),
    ],
)
def test_a_decision_that_will_not_do_writes_nothing(
    ledger: Ledger, change: dict[str, object], line_of_refusal: str
) -> None:
    """One line with what is legal; not even the recall is opened."""
    furnish(ledger)
    asked = {"keys": ["visit:visitK17"], "decision": "letter", "by": "lecturer", "why": WHY, **change}
    last = ledger.last()
    with pytest.raises(BadInputError, match=line_of_refusal):
        desk.decide(ledger, listed(ledger), **asked)  # type: ignore[arg-type]
    assert ledger.last() == last


def test_an_erased_client_leaves_the_list(ledger: Ledger) -> None:
    """Neither reading nor decision of an erased client is shown, and the rest still is."""
    furnish(ledger)
    desk.decide(ledger, listed(ledger), keys=["visit:visitK17"], decision="letter", by="lecturer", why=WHY)
    ledger.erase("personK17", why="asked")
    assert "visit:visitK17" not in {each.key for each in listed(ledger).lines}
    assert ledger.verify().first_altered is None


def test_a_gauge_is_found_by_label_or_id_and_must_have_failed(ledger: Ledger) -> None:
    """A good gauge touches nothing, an unknown one is refused; both in one line."""
    bad, good = furnish(ledger)
    assert desk.gauge_named(ledger, bad.id.lower()).id == desk.gauge_named(ledger, " g4 ").id == bad.id
    with pytest.raises(NotFoundError, match="G1: no check of it was outside its limits"):
        desk.window_of(desk.gauge_named(ledger, good.id))
    with pytest.raises(NotFoundError, match="none in the register"):
        desk.gauge_named(ledger, "G77")
    kit.retire(ledger, bad.id, why="bent", by="lecturer")
    assert desk.gauge_named(ledger, "G4").id == bad.id


def test_csv_has_one_row_for_each_reading_and_no_formula(ledger: Ledger) -> None:
    """54 visit readings, 22 of pairs on the gauge, one alone; a code that a spreadsheet would run is made a text."""
    bad, _ = furnish(ledger)
    ledger.append(*visit("=1+1", (136, 84), FOUND - timedelta(days=1), bad.id))
    rows = list(sheet.csv_rows(listed(ledger)))
    assert rows[0] == list(sheet.CSV_COLUMNS)
    assert len(rows) == 1 + 54 + 22 + 1 + 3
    assert {len(row) for row in rows} == {len(sheet.CSV_COLUMNS)}
    assert [row[2] for row in rows if "1+1" in row[2]] == ["'=1+1"] * 3
