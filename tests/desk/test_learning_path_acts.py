"""The set of the day: persons chosen and kept with their reason, feedback that fades, one set a day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from bench_logs import bench_log
from hushpoint.desk import bench, path
from hushpoint.guideline import default_policy_id
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.practice.next_person import EAR_KINDS, SET_SIZE, kind_of
from hushpoint.practice.setup import right_choices


class School:
    """One learner's ledger with a clock that can be moved."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 9, tzinfo=UTC)
        self.ledger = MemoryLedger(clock=lambda: self.now.isoformat(timespec="microseconds").replace("+00:00", "Z"))
        self.count = 0

    def measure(self, *, chosen: bool = True) -> str:
        """Measure the next person, file, grade, and return the measurement."""
        self.count += 1
        ref = f"r{self.count}"
        if chosen:
            begun = path.begin_next(self.ledger, who="ines", ref=ref, policy_id=default_policy_id, now=lambda: self.now)
        else:
            begun = bench.begin(self.ledger, who="ines", ref=ref)
        choices = right_choices(begun.case)
        bench.set_up(self.ledger, who="ines", measurement=begun.measurement, choices=choices)
        bench.file_log(self.ledger, who="ines", measurement=begun.measurement, log=bench_log(peak_mmhg=250))
        bench.grade(self.ledger, begun.measurement)
        self.now += timedelta(minutes=4)
        return begun.measurement

    @property
    def readings(self) -> list[bench.OwnReading]:
        """The learner's readings."""
        return bench.own_readings(self.ledger, "ines")

    @property
    def today(self) -> path.DaySet:
        """Where the learner stands today."""
        return path.set_of_today(self.readings, self.now)


def test_the_journal_keeps_why_a_person_was_chosen_and_the_page_is_not_told() -> None:
    """Kind, reason, set and place stand in the row; the answer to the page holds the place alone."""
    school = School()
    begun = path.begin_next(school.ledger, who="ines", ref="one", policy_id=default_policy_id, now=lambda: school.now)
    row = next(iter(school.ledger.rows(kinds=[Kind.MEASUREMENT_BEGUN])))
    assert row.body is not None
    chosen = row.body["chosen"]
    assert chosen["kind"] in EAR_KINDS
    assert chosen["why"].endswith("not met yet")
    assert begun.to_json()["set"] == {"set": 1, "place": 1, "of": SET_SIZE, "feedback": "now"}
    assert chosen["why"] not in str(begun.to_json())
    assert kind_of(begun.case.person) == chosen["kind"]


def test_sent_twice_it_begins_once() -> None:
    """The same ref gives the same person, and one row."""
    school = School()
    one, two = (
        path.begin_next(school.ledger, who="ines", ref="one", policy_id=default_policy_id, now=lambda: school.now)
        for _ in range(2)
    )
    assert (one.measurement, one.case) == (two.measurement, two.case)
    assert len(list(school.ledger.rows(kinds=[Kind.MEASUREMENT_BEGUN]))) == 1


def test_a_set_a_day_and_the_judgements_of_later_sets_come_together() -> None:
    """Set 1 opens each judgement at once; set 5, on a later day, holds three back until its fourth reading."""
    school = School()
    for number in range(1, 6):
        assert school.today == path.DaySet(number, 0, done=False)
        held = []
        for _ in range(SET_SIZE):
            school.measure()
            held.append(len(path.held_back(school.readings, school.now)))
        assert held == {1: [0] * 4, 2: [0] * 4, 3: [1, 0, 1, 0], 4: [1, 0, 1, 0], 5: [1, 2, 3, 0]}[number]
        assert school.today.done
        school.now += timedelta(days=1)


def test_a_set_left_half_through_opens_the_next_day() -> None:
    """What was held back is shown on the next day, and a new set begins."""
    school = School()
    for _ in range(2 * SET_SIZE):
        school.measure()
        school.now += timedelta(days=1) if school.count % SET_SIZE == 0 else timedelta()
    school.measure()
    assert len(path.held_back(school.readings, school.now)) == 1
    assert list(path.held_back(school.readings, school.now).values()) == [1]
    school.now += timedelta(days=1)
    assert path.held_back(school.readings, school.now) == {}
    assert school.today == path.DaySet(4, 0, done=False)


def test_free_practice_is_never_held_back_and_counts_as_evidence_of_the_ear() -> None:
    """A reading begun freely belongs to no set; its arm's kind still tells the choice something."""
    school = School()
    for _ in range(6):
        school.measure(chosen=False)
    assert school.today == path.DaySet(1, 0, done=False)
    assert path.held_back(school.readings, school.now) == {}
    met = [one.kind for one in path.attempts_of(school.readings)]
    assert len(met) == 6
    assert any(kind is not None for kind in met)


def test_further_readings_after_the_set_are_not_refused() -> None:
    """Nobody is kept from practising: a fifth reading begins set 2."""
    school = School()
    for _ in range(SET_SIZE + 1):
        school.measure()
    chosen = school.readings[-1].chosen
    assert chosen is not None
    assert (chosen["set"], chosen["place"]) == (2, 1)


def test_a_chosen_person_is_the_same_when_made_again() -> None:
    """The arm comes from the journal's row alone: kind, seed and number."""
    school = School()
    measurement = school.measure()
    again = bench.begin(school.ledger, who="ines", ref="again", again=measurement)
    first = school.readings[0].case
    assert again.case == first
