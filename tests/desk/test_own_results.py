"""The results page: what changed, what is next, evidence so far; nothing that a set still holds back."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from bench_logs import bench_log
from evidence_scenes import signing
from hushpoint.arm import truth_of
from hushpoint.desk import bench, classes, decisions, pairs, path, results
from hushpoint.guideline import default_policy_id
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind
from hushpoint.measure import Heard
from hushpoint.practice.setup import right_choices


class Term:
    """A class of one learner and a clock that can be moved."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 9, tzinfo=UTC)
        self.ledger = MemoryLedger(clock=lambda: self.now.isoformat(timespec="microseconds").replace("+00:00", "Z"))
        self.room = classes.open_class(self.ledger, name="Group A", policy_id=default_policy_id)
        self.who = classes.join(self.ledger, room=self.room, name="Ines Invented")

    def measure(self, ref: str, *, off_mmhg: int = 0, rate: float = 2.5, chosen: bool = False) -> None:
        """Measure, writing so far off the truth at both ends."""
        given = {"who": self.who, "ref": ref, "room": self.room, "policy_id": default_policy_id}
        begun = (
            path.begin_next(self.ledger, now=lambda: self.now, **given) if chosen else bench.begin(self.ledger, **given)
        )
        choices = right_choices(begun.case)
        bench.set_up(self.ledger, who=self.who, measurement=begun.measurement, choices=choices)
        log = bench_log(peak_mmhg=290, rate_mmhg_per_s=rate)
        truth = truth_of(
            bench.arm_of(self.ledger, who=self.who, measurement=begun.measurement), log["time_s"], log["pressure_mmhg"]
        )
        for end, found in (("systolic", truth.systolic), ("diastolic", truth.diastolic)):
            log["reading"][end] = round(found.mmhg) + off_mmhg if isinstance(found, Heard) else None
        bench.file_log(self.ledger, who=self.who, measurement=begun.measurement, log=log)
        bench.grade(self.ledger, begun.measurement)
        self.now += timedelta(minutes=5)

    @property
    def results(self) -> results.Results:
        """The learner's results now."""
        return results.results_of(self.ledger, room=self.room, who=self.who, now=self.now)


def test_too_few_readings_tell_no_change() -> None:
    """Five readings: no change is told, the kinds met and the next act are."""
    term = Term()
    for number in range(5):
        term.measure(f"r{number}")
    found = term.results
    assert found.changes == ()
    assert found.readings == 5
    assert found.next_acts


def test_first_readings_stand_beside_the_last() -> None:
    """Twelve off and fast at first, on the mark and slower later: ear and hand are told to be better."""
    term = Term()
    for number in range(4):
        term.measure(f"a{number}", off_mmhg=14, rate=6.0)
    for number in range(4):
        term.measure(f"b{number}", off_mmhg=0, rate=2.5)
    changes = {one.what: one for one in term.results.changes}
    assert set(changes) == {"your ear, systolic", "your ear, diastolic", "your hand"}
    assert all(one.better for one in changes.values())
    assert changes["your ear, diastolic"].first > changes["your ear, diastolic"].last
    assert changes["your hand"].last > changes["your hand"].first


def test_a_learner_sees_a_decision_and_not_yet_only_after_the_talk() -> None:
    """Signed not yet without a day of feedback: nothing; with the day, and signed competent: told, newest first."""
    term = Term()
    asked = {"room": term.room, "learner": term.who, "today": date(2026, 3, 2)}
    decisions.sign(term.ledger, **asked, signing=signing(decision="not_yet", ref="a"))
    assert term.results.decisions == ()
    decisions.sign(term.ledger, **asked, signing=signing(decision="not_yet", ref="b", feedback_on="2026-03-02"))
    decisions.sign(term.ledger, **asked, signing=signing(ref="c"))
    assert [one.competent for one in term.results.decisions] == [True, False]


def test_what_a_set_holds_back_is_left_out() -> None:
    """After four sets judgements come at the end: two readings of the fifth are not counted yet."""
    term = Term()
    for number in range(16):
        term.measure(f"r{number}", chosen=True)
        if number % 4 == 3:
            term.now += timedelta(days=1)
    for number in range(2):
        term.measure(f"held{number}", chosen=True)
    assert term.results.readings == 16
    term.now += timedelta(days=1)
    assert term.results.readings == 18


def test_pairs_count_within_five_and_ten_at_both_ends() -> None:
    """One pair 4 and 2 off, one 8 and 0 off: one within 5, two within 10."""
    term = Term()
    for number, systolic in enumerate((124, 128)):
        pair = pairs.open_pair(term.ledger, room=term.room, opening=pairs.Opening(term.who, client=f"K{number}"))
        for observer, numbers in ((term.who, (systolic, 82)), (pairs.LECTURER, (120, 82 if number else 80))):
            pairs.seal(
                term.ledger,
                room=term.room,
                pair=pair,
                observer=observer,
                systolic=numbers[0],
                diastolic=numbers[1],
                ref=f"{number}{observer[:6]}",
            )
    found = term.results
    assert (found.fair_pairs, found.pairs_near, found.pairs_far) == (2, 1, 2)
    assert any(True for _ in term.ledger.rows(kinds=[Kind.PAIR_TURNED]))
