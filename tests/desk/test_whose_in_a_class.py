"""Whose error in a class: live readings, corrections, and the result kept until the journal grows."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Future

import pytest

from hushpoint.agreement import AgreementError
from hushpoint.desk import live
from hushpoint.desk.whose import ClassReadings, digit_lines, digits_of
from hushpoint.ledger.records import Entry, Kind, Ledger, Row


def take(
    ledger: Ledger, measurement: str, observer: str, systolic: int | None, room: str = "ABCD", via: live.Via = "pair"
) -> Row:
    """Store one live reading; a learner's is their own data."""
    reading = live.LiveReading(measurement, observer, systolic, 80, "2026-03-02T09:00:00Z", via, gauge="G1")
    return ledger.append(live.entry_of(reading, room=room, who="" if observer == "ref" else observer))[0]


def class_of_two(ledger: Ledger) -> list[Row]:
    """Five pairs in which the learner is 4 above the reference, and one reading in another class."""
    rows = []
    for turn in range(5):
        rows.append(take(ledger, f"m{turn}", "ref", 110 + 6 * turn))
        rows.append(take(ledger, f"m{turn}", "anna", 114 + 6 * turn + (turn % 2) * 2 - 1))
    take(ledger, "other", "ref", 120, room="EFGH")
    take(ledger, "silent", "anna", None)
    return rows


def test_a_class_is_judged_from_its_own_live_readings(ledger: Ledger) -> None:
    """Readings of other classes, of visits and silent ones stay out; the bias is the one put in."""
    class_of_two(ledger)
    take(ledger, "seen", "anna", 180, via="visit")
    found = ClassReadings(ledger).whose("ABCD", "ref").systolic
    assert found.readings == 10
    assert {one.observer: one.bias_mmhg for one in found.observers}["anna"] == pytest.approx(3.8, abs=0.01)


def test_all_classes_are_judged_together(ledger: Ledger) -> None:
    """Without a class its own readings and the other's count, each with the class it was written in."""
    class_of_two(ledger)
    kept = ClassReadings(ledger)
    assert kept.whose(None, "ref").systolic.readings == 11
    assert kept.observers() == {"ref": "ABCD", "anna": "ABCD"}
    assert kept.measured_in({"other"}) == {"other": "EFGH"}


def test_the_result_is_kept_until_a_reading_changes(ledger: Ledger) -> None:
    """Asked twice, or after other rows, the same object; after a correction, a new one that follows it."""
    rows = class_of_two(ledger)
    kept = ClassReadings(ledger)
    first = kept.whose("ABCD", "ref")
    ledger.append(Entry(Kind.CLASS_OPENED, {"name": "x", "policy": "y"}))
    take(ledger, "more", "ref", 130, room="EFGH")
    assert kept.whose("ABCD", "ref") is first
    live.amend(ledger, rows[1], systolic=103, diastolic=80, by="lecturer", why="wrong row of the sheet")
    again = kept.whose("ABCD", "ref")
    assert again is not first
    assert (again.systolic.observers[1].bias_mmhg or 0) < 3
    assert again == ClassReadings(ledger).whose("ABCD", "ref")


def test_a_pair_set_aside_counts_for_nothing_until_it_is_taken_in_again(ledger: Ledger) -> None:
    """Set aside, its two readings are gone from the comparison; taken in again they are back."""
    class_of_two(ledger)
    kept = ClassReadings(ledger)
    for cancelled, readings in ((True, 8), (False, 10)):
        ledger.append(Entry(Kind.PAIR_CANCELLED, {"pair": "m0", "cancelled": cancelled, "why": "moved"}, room="ABCD"))
        assert kept.whose("ABCD", "ref").systolic.readings == readings


def test_an_erased_learner_is_gone_from_what_was_kept(ledger: Ledger) -> None:
    """After an erasure nothing of the learner is told, though the readings had been read before."""
    class_of_two(ledger)
    kept = ClassReadings(ledger)
    kept.whose("ABCD")
    ledger.erase("anna", why="asked for")
    assert kept.observers("ABCD") == {"ref": "ABCD"}
    assert digits_of(ledger, "ABCD", "anna") == []
    with pytest.raises(AgreementError, match="one observer alone"):
        kept.whose("ABCD")


def test_digits_are_those_first_written(ledger: Ledger) -> None:
    """A correction leaves the habit of the pen as it was; twelve zeros in a row stand out, four are too few to tell."""
    rows = [take(ledger, f"z{turn}", "anna", 120) for turn in range(12)]
    live.amend(ledger, rows[0], systolic=122, diastolic=80, by="lecturer", why="slip")
    assert digits_of(ledger, "ABCD", "anna")[0].systolic.counts[0] == 12
    line = digit_lines(digits_of(ledger, "ABCD", "anna")[0])[0]
    assert "zeros stand out clearly: 12 of 12 even readings" in line
    assert "p below 0.0001" in line
    assert line.endswith("(as many zeros by chance alone: under 1 in 1000)")
    for turn in range(4):
        take(ledger, f"few{turn}", "beth", 120 + 2 * turn)
    assert digit_lines(digits_of(ledger, "ABCD", "beth")[0])[0].startswith("systolic: too few to tell")


def test_digits_of_a_class_are_kept_until_a_reading_of_it_is_stored_or_erased(ledger: Ledger) -> None:
    """The same list while other classes write; with one reading more it is counted in; an erased learner is gone."""
    class_of_two(ledger)
    kept = ClassReadings(ledger)
    first = kept.digits("ABCD")
    take(ledger, "more", "ref", 130, room="EFGH")
    assert kept.digits("ABCD") is first
    take(ledger, "later", "anna", 120)
    assert [sum(one.systolic.counts) for one in first] == [5, 5]
    assert [sum(one.systolic.counts) for one in kept.digits("ABCD")] == [5, 6]
    ledger.erase("anna", why="asked for")
    assert [one.observer for one in kept.digits("ABCD")] == ["ref"]


def test_a_class_without_pairs_says_so(ledger: Ledger) -> None:
    """Nothing shared: one line that says what is needed."""
    take(ledger, "m", "anna", 120)
    with pytest.raises(AgreementError, match="one observer alone"):
        ClassReadings(ledger).whose("ABCD")


def by_reference(observers: Mapping[str, str]) -> str | None:
    """The reference where there is one."""
    return "ref" if "ref" in observers else None


def test_what_is_not_ready_is_shown_as_not_ready_and_then_whole(ledger: Ledger) -> None:
    """Without waiting nothing is told yet; waited for, the same as asked for; warm, at once."""
    class_of_two(ledger)
    kept = ClassReadings(ledger)
    begun = kept.shown("ABCD", by_reference, 0.0)
    assert begun is not None
    assert begun.reference == "ref"
    whole = kept.shown("ABCD", by_reference, 60.0)
    assert whole is not None
    assert (whole.found, whole.behind) == (ClassReadings(ledger).whose("ABCD", "ref"), False)
    kept.stop()


def test_an_older_result_says_that_it_is_behind_and_an_erasure_leaves_none(ledger: Ledger) -> None:
    """One reading later the result before it is shown as such; after an erasure nothing older is shown at all."""
    class_of_two(ledger)
    kept = ClassReadings(ledger)
    first = kept.whose("ABCD", "ref")
    kept.stop()  # no more is worked out, as while a large one is in hand
    take(ledger, "m9", "ref", 130)
    take(ledger, "m9", "anna", 134)
    kept._worker, kept._reader = StillAtWork(), StillAtWork()  # type: ignore[assignment]
    shown = kept.shown("ABCD", by_reference, 0.0)
    assert shown is not None
    assert (shown.found, shown.behind) == (first, True)
    ledger.erase("anna", why="asked for")
    shown = kept.shown("ABCD", by_reference, 0.0)
    assert shown is not None
    assert (shown.found, shown.too_few, dict(shown.observers)) == (None, "", {"ref": "ABCD"})


class StillAtWork:
    """Takes every job and never ends it."""

    def submit(self, *_job: object) -> Future[object]:
        """A job in hand."""
        return Future()


def test_too_few_is_told_as_a_line(ledger: Ledger) -> None:
    """Where nothing can be compared the page has the reason, and a warm start does no harm."""
    take(ledger, "m", "anna", 120)
    kept = ClassReadings(ledger)
    kept.warm("ref")
    shown = kept.shown("ABCD", by_reference, 60.0)
    assert shown is not None
    assert "one observer alone" in shown.too_few
    kept.stop()


def marked(ledger: Ledger, who: str, off_mmhg: int) -> None:
    """A paper of twelve handed in, every answer so far from its key, one systolic not heard."""
    lines = [
        {"place": place, "written": True, "systolic": 120 + off_mmhg, "diastolic": 80 + off_mmhg,
         "systolic_key": 120, "diastolic_key": 80}
        for place in range(1, 13)
    ]  # fmt: skip
    lines[3] |= {"systolic": None}
    ledger.append(Entry(Kind.PAPER_MARKED, {"attempt": f"{who}{off_mmhg}", "lines": lines}, room="ABCD", who=who))


def test_papers_against_live_tell_a_gauge_from_its_readers(ledger: Ledger) -> None:
    """Two always on gauge g0, 10 low live: the gauge, if their papers show no error; they, if those show 10 low."""
    readers = ("low1", "low2", "fine1", "fine2")
    for turn in range(48):
        for place, observer in enumerate((readers[turn % 2], readers[2 + turn // 2 % 2])):
            systolic = 110 + turn % 30 + (-10, 0)[place] + turn // 4 % 3
            one = live.LiveReading(
                f"p{turn}", observer, systolic, 80, "2026-03-02T09:00:00Z", "pair", gauge=f"g{place}"
            )
            ledger.append(live.entry_of(one, room="ABCD", who=observer))
    for turn in range(24):  # g2 is read beside the fine one, to tell which of the two is off
        for place, observer in enumerate(("fine1", "fine2")):
            one = live.LiveReading(
                f"q{turn}", observer, 112 + turn, 80, "2026-03-02T09:00:00Z", "pair", gauge=f"g{1 + place}"
            )
            ledger.append(live.entry_of(one, room="ABCD", who=observer))
    kept = ClassReadings(ledger)
    assert not any(one.named for one in kept.whose("ABCD").systolic.watch.gauges)
    for observer in readers:
        marked(ledger, observer, 0)
    assert [one.gauge for one in kept.whose("ABCD").systolic.watch.gauges if one.named] == ["g0"]
    for observer in ("low1", "low2"):
        for off in (-10, -12, -14):
            marked(ledger, observer, off)
    assert not any(one.named for one in kept.whose("ABCD").systolic.watch.gauges)
    ledger.erase("low1", why="asked for")
    assert "low1" not in {one.observer for one in kept.whose("ABCD").systolic.observers}
