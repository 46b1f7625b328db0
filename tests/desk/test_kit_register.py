"""The register of kit: what is added, changed, wiped, knocked, checked and retired, and what is refused."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from hushpoint.desk import kit
from hushpoint.errors import AlreadyDoneError, BadInputError, HushpointError, NotAllowedError, NotFoundError
from hushpoint.guideline import ArmRange, arm_range
from hushpoint.instrument import Corrected, Direction, GaugePoint
from hushpoint.ledger.records import Kind, Ledger
from hushpoint.measure.verdict import Withheld

STEPS = (0, 60, 100, 150, 200, 250, 300)
NOW = datetime(2026, 6, 1, 9, tzinfo=UTC)
GOOD_DAY, BAD_DAY = datetime(2026, 5, 1, 8, tzinfo=UTC), datetime(2026, 5, 22, 8, tzinfo=UTC)
REFERENCE = kit.Reference("reference M1", "certificate 12/2026, invented", 0.5)


def points(error_mmhg: float) -> list[GaugePoint]:
    """Return a whole check of a gauge that is off by one and the same error above zero."""
    both = [(step, Direction.UP) for step in STEPS] + [(step, Direction.DOWN) for step in reversed(STEPS)]
    return [GaugePoint(step, step + (error_mmhg if step else 0), direction) for step, direction in both]


def a_gauge(ledger: Ledger, label: str = "G4") -> kit.Item:
    """Return a gauge just added."""
    return kit.add(ledger, {"type": "gauge", "label": label}, by="lecturer")


def check(ledger: Ledger, gauge: str, error_mmhg: float, at: datetime, ref: str | None = None) -> kit.StoredCheck:
    """File a check."""
    return kit.file_check(
        ledger, gauge, points=points(error_mmhg), rule="in_use", reference=REFERENCE, checked_at=at, how="bench",
        by="lecturer", now=NOW, ref=ref,
    )  # fmt: skip


def test_scene_four_first_half(ledger: Ledger) -> None:
    """A gauge good on 1 May and 6 low on 22 May is out of use, and its stored checks give 142 behind 136."""
    gauge = a_gauge(ledger)
    assert check(ledger, gauge.id, 0, GOOD_DAY).passed
    assert not kit.item(ledger, gauge.id).out_of_use
    assert not check(ledger, gauge.id, -6, BAD_DAY).passed
    assert kit.item(ledger, gauge.id).out_of_use
    good, bad = kit.checks_of(ledger, gauge.id)
    assert (good.passed, good.at, bad.passed, bad.at) == (True, GOOD_DAY, False, BAD_DAY)
    assert "6 low" in bad.reasons[0]
    curve = bad.curve()
    assert not isinstance(curve, Withheld)
    corrected = curve.correct(136)
    assert isinstance(corrected, Corrected)
    assert corrected.mmhg == pytest.approx(142)


def test_checks_stand_in_order_of_time_and_as_stored(ledger: Ledger) -> None:
    """A check written down late takes its place by its day; what is read back is what was returned."""
    gauge = a_gauge(ledger)
    late = check(ledger, gauge.id, -6, BAD_DAY)
    early = check(ledger, gauge.id, 1, GOOD_DAY)
    assert kit.checks_of(ledger, gauge.id) == (early, late)
    assert early.check.rule.id == "in_use"
    assert early.reference == REFERENCE


def test_one_check_is_stored_once(ledger: Ledger) -> None:
    """The same act again gives the stored check; another act at the same moment is refused."""
    gauge = a_gauge(ledger)
    first = check(ledger, gauge.id, 0, GOOD_DAY, ref="one")
    assert check(ledger, gauge.id, 0, GOOD_DAY, ref="one") == first
    with pytest.raises(AlreadyDoneError, match="at this time"):
        check(ledger, gauge.id, 1, GOOD_DAY, ref="two")
    assert len(kit.checks_of(ledger, gauge.id)) == 1


def test_bad_checks_write_nothing(ledger: Ledger) -> None:
    """Reference missing, points out of order, one point, a future day, no gauge: one clear line each."""
    gauge = a_gauge(ledger)
    stethoscope = kit.add(ledger, {"type": "stethoscope", "label": "S1"}, by="lecturer")
    before = ledger.last()
    good = {"points": points(0), "rule": "new", "reference": REFERENCE, "checked_at": GOOD_DAY, "how": "bench",
            "by": "lecturer", "now": NOW}  # fmt: skip
    bad = [
        (gauge.id, {"reference": kit.Reference("", "c", 0.5)}, "reference: missing"),
        (gauge.id, {"reference": kit.Reference("M1", " ", 0.5)}, "certificate: missing"),
        (gauge.id, {"reference": kit.Reference("M1", "c", 11)}, "reference error 11"),
        (gauge.id, {"points": points(0)[:1]}, "1 point"),
        (gauge.id, {"points": [points(0)[1], points(0)[0]]}, "out of order"),
        (gauge.id, {"rule": "local=9"}, "1 to 6"),
        (gauge.id, {"checked_at": NOW + timedelta(minutes=1)}, "future"),
        (gauge.id, {"by": "Ines"}, "must be one of lecturer"),
        (stethoscope.id, {}, "not checked against a reference"),
        ("BCDFGH", {}, "No such item"),
    ]
    for gauge_id, change, words in bad:
        with pytest.raises(HushpointError, match=words) as refusal:
            kit.file_check(ledger, gauge_id, **{**good, **change})  # type: ignore[arg-type]
        assert "\n" not in str(refusal.value)
    assert ledger.last() == before


def test_cuff_of_scene_seven_tells_label_against_tape(ledger: Ledger) -> None:
    """A cuff marked adult with a 13 × 23 bladder: 3 narrower, 7 shorter, for arms of 23 to 28 cm by the percentages."""
    fields = {"type": "cuff", "label": "C2", "bladder_width_cm": "13", "bladder_length_cm": "23", "claim": "adult",
              "latex": "yes"}  # fmt: skip
    cuff = kit.add(ledger, fields, by="lecturer")
    assert "3 cm narrower and 7 cm shorter" in cuff.label_against_tape
    arms = cuff.arms
    assert isinstance(arms, ArmRange)
    assert (arms.from_cm, arms.to_cm, arms.by_table) == (23, 28, False)
    right = kit.change(
        ledger, cuff.id, {**fields, "bladder_width_cm": "16", "bladder_length_cm": "30,0"}, by="lecturer"
    )
    assert right.label_against_tape == ""
    assert right.arms == arm_range(16, 30)
    assert (right.id, right.latex) == (cuff.id, "yes")


def test_a_mistaken_tap_is_taken_back_by_whom_it_was_or_by_the_lecturer(ledger: Ledger) -> None:
    """The log before it stands again; somebody else is refused, and so is taking back what never was."""
    gauge = a_gauge(ledger)
    kit.wipe(ledger, gauge.id, by="a learner of RKTM")
    kit.wipe(ledger, gauge.id, by="lecturer")
    kit.knock(ledger, gauge.id, by="a learner of RKTM")
    for act in (kit.wipe, kit.knock):
        with pytest.raises(NotAllowedError, match="who logged it"):
            act(ledger, gauge.id, by="a learner of NGNP", undo=True)
    kit.wipe(ledger, gauge.id, by="lecturer", undo=True)
    kit.knock(ledger, gauge.id, by="a learner of RKTM", undo=True)
    found = kit.item(ledger, gauge.id)
    assert (found.wiped_by, found.knocked) == ("a learner of RKTM", False)
    with pytest.raises(NotAllowedError):
        kit.knock(ledger, gauge.id, by="lecturer", undo=True)


def test_wiped_knocked_retired_and_back(ledger: Ledger) -> None:
    """Each act is a row: who wiped is a role, a knock stands until the next check, a retired item comes back."""
    gauge = a_gauge(ledger)
    kit.wipe(ledger, gauge.id, by="a learner of RKTM")
    assert kit.item(ledger, gauge.id).wiped_by == "a learner of RKTM"
    check(ledger, gauge.id, 0, GOOD_DAY)
    kit.knock(ledger, gauge.id, by="lecturer")
    assert kit.item(ledger, gauge.id).knocked
    later = datetime.now(UTC) + timedelta(seconds=1)
    kit.file_check(
        ledger, gauge.id, points=points(0), rule="new", reference=REFERENCE, checked_at=later, how="bench",
        by="technician", now=later,
    )  # fmt: skip
    assert not kit.item(ledger, gauge.id).knocked
    kit.retire(ledger, gauge.id, why="glass broken", by="lecturer")
    assert gauge.id not in kit.register(ledger)
    assert kit.register(ledger, retired=True)[gauge.id].retired_why == "glass broken"
    with pytest.raises(BadInputError, match="retired"):
        kit.wipe(ledger, gauge.id, by="lecturer")
    kit.retire(ledger, gauge.id, why="", by="lecturer", retired=False)
    assert gauge.id in kit.register(ledger)


def test_register_is_in_order_and_labels_stand_once(ledger: Ledger) -> None:
    """G2 comes before G10; a second G2 is refused, also by renaming and by coming back; a cuff may be G2 too."""
    first, second = a_gauge(ledger, "G10"), a_gauge(ledger, "g2")
    cuff = {"type": "cuff", "label": "G2", "bladder_width_cm": "16", "bladder_length_cm": "30"}
    kit.add(ledger, cuff, by="lecturer")
    assert [one.label for one in kit.register(ledger).values()] == ["g2", "G10", "G2"]
    with pytest.raises(AlreadyDoneError, match="another gauge has it"):
        a_gauge(ledger, "G2")
    with pytest.raises(AlreadyDoneError):
        kit.change(ledger, first.id, {"label": "G2"}, by="lecturer")
    kit.retire(ledger, second.id, why="lost", by="lecturer")
    a_gauge(ledger, "G2")
    with pytest.raises(AlreadyDoneError):
        kit.retire(ledger, second.id, why="", by="lecturer", retired=False)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "type: must be one of gauge, cuff, stethoscope"),
        ({"type": "gauge", "label": ""}, "label: must have"),
        ({"type": "gauge", "label": "thirteen let"}, ""),
        ({"type": "gauge", "label": "thirteen lett"}, "1 to 12 characters"),
        ({"type": "gauge", "label": "--"}, "a letter or a digit"),
        ({"type": "cuff", "label": "C1"}, "bladder width: must be centimetres"),
        ({"type": "cuff", "label": "C1", "bladder_width_cm": "1e1", "bladder_length_cm": "30"}, "bladder width"),
        ({"type": "cuff", "label": "C1", "bladder_width_cm": "16", "bladder_length_cm": "300"}, "4 to 60 cm"),
        ({"type": "cuff", "label": "C1", "bladder_width_cm": "16", "bladder_length_cm": "."}, "bladder length"),
        (
            {"type": "cuff", "label": "C1", "bladder_width_cm": "16", "bladder_length_cm": "30", "claim": "huge"},
            "label says: must be one of small_adult",
        ),
        ({"type": "stethoscope", "label": "S1", "head": "triple"}, "head: must be one of single, double"),
    ],
)
def test_fields_as_typed(ledger: Ledger, fields: dict[str, str], words: str) -> None:
    """What is wrong is refused in one line with what is legal, and nothing is written."""
    if not words:
        assert kit.add(ledger, fields, by="lecturer").label == fields["label"]
        return
    with pytest.raises(BadInputError, match=words):
        kit.add(ledger, fields, by="lecturer")
    assert ledger.last() == 0


def test_ids_fit_a_picture_code(ledger: Ledger) -> None:
    """An id is six capital letters; typed small it is found too; an unknown one is said so."""
    gauge = a_gauge(ledger)
    assert len(gauge.id) == 6
    assert gauge.id.isalpha()
    assert kit.item(ledger, gauge.id.lower()) == gauge
    with pytest.raises(NotFoundError):
        kit.item(ledger, "")
    assert [row.kind for row in ledger.rows()] == [Kind.KIT_ADDED]


@pytest.mark.parametrize(
    ("width_cm", "length_cm", "found"),
    [(12, 22, (22, 26)), (16, 30, (27, 34)), (16, 36, (35, 44)), (16, 42, (45, 52)), (15, 24, (24, 30)), (9, 30, None)],
)
def test_arms_of_a_bladder(width_cm: float, length_cm: float, found: tuple[int, int] | None) -> None:
    """The table's bladders have its ranges (AHA 2005); 15 × 24 has 24 to 24/0.8 = 30; 9 × 30 none (9/0.4 < 30)."""
    arms = arm_range(width_cm, length_cm)
    if found is None:
        assert isinstance(arms, Withheld)
    else:
        assert isinstance(arms, ArmRange)
        assert (arms.from_cm, arms.to_cm) == found
