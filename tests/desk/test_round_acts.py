"""Rounds: exactly once, nothing told before the answers are open, undone by cancelling, spread from five answers on."""

from __future__ import annotations

import itertools

import pytest

from hushpoint.desk import classes, rounds
from hushpoint.errors import AlreadyDoneError, BadInputError, NotAllowedError, NotFoundError
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind


def a_class(learners: int) -> tuple[MemoryLedger, str, list[str]]:
    """A class with so many learners in."""
    ledger = MemoryLedger()
    code = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    return ledger, code, [classes.join(ledger, room=code, name=f"Learner {n}") for n in range(learners)]


def played(ledger: MemoryLedger, code: str, kind: str = "normal") -> rounds.Round:
    """A round that is on and was started."""
    found = rounds.open_round(ledger, room=code, kind=kind, seed=5)
    rounds.start(ledger, room=code, round_id=found, now_ms=1000.0)
    return rounds.round_of(ledger, code, found)


def write(ledger: MemoryLedger, one: rounds.Round, who: str, off: int) -> None:
    """Seal the key, so much off."""
    reading = {"systolic": one.key.systolic_mmhg + off, "diastolic": one.key.diastolic_mmhg - off}
    rounds.seal(ledger, room=one.room, who=who, round_id=one.id, reading=reading)


def test_an_answer_is_stored_once_and_the_first_stands() -> None:
    """Sent again with other numbers, nothing new is stored."""
    ledger, code, (who,) = a_class(1)
    one = played(ledger, code)
    assert rounds.seal(ledger, room=code, who=who, round_id=one.id, reading={"systolic": 120, "diastolic": 80}) is False
    assert rounds.seal(ledger, room=code, who=who, round_id=one.id, reading={"systolic": 130, "diastolic": 80}) is True
    (row,) = ledger.rows(kinds=[Kind.ROUND_SEALED])
    assert row.body is not None
    assert (row.body["systolic"], row.who) == (120, who)


def test_nothing_is_told_before_the_answers_are_open() -> None:
    """Neither a learner's result nor the spread."""
    ledger, code, (who,) = a_class(1)
    one = played(ledger, code)
    write(ledger, one, who, 2)
    with pytest.raises(NotAllowedError):
        rounds.own_result(one, who)
    with pytest.raises(NotAllowedError):
        rounds.spread(one)


def test_own_error_and_spread_once_open() -> None:
    """Each learner's own words; marks and digits from five answers on."""
    ledger, code, learners = a_class(5)
    one = played(ledger, code, "gap")
    for off, who in zip((-2, 0, 0, 2, 40), learners, strict=True):
        write(ledger, one, who, off)
    rounds.close(ledger, room=code, round_id=one.id, how="opened")
    one = rounds.round_of(ledger, code, one.id)
    mine = rounds.own_result(one, learners[3])
    assert mine["ends"]["systolic"]["off"] == "2 high"
    assert mine["ends"]["diastolic"]["off"] == "2 low"
    assert rounds.own_result(one, learners[1])["ends"]["systolic"]["off"] == "exact"
    assert mine["kind"] == "a silent gap"
    shown = rounds.spread(one)
    for end in shown["ends"]:
        assert sum(count for _, count in end["marks"]) == 5
        assert max(abs(off) for off, _ in end["marks"]) == rounds.RULER_MMHG  # what lies beyond stands at the end
    assert sum(shown["digits"]) == 10


def test_a_spread_of_four_is_hidden() -> None:
    """Below five people the truth is shown, and nothing of what anybody wrote."""
    ledger, code, learners = a_class(4)
    one = played(ledger, code)
    for who in learners:
        write(ledger, one, who, 4)
    rounds.close(ledger, room=code, round_id=one.id, how="opened")
    shown = rounds.spread(rounds.round_of(ledger, code, one.id))
    assert shown["digits"] is None
    assert [end["marks"] for end in shown["ends"]] == [None, None]
    assert [end["not_heard"] for end in shown["ends"]] == [None, None]


def test_four_numbers_and_one_not_heard_hide_that_end() -> None:
    """Five answers of which one holds no systolic show the diastolic alone."""
    ledger, code, learners = a_class(5)
    one = played(ledger, code)
    for who in learners[1:]:
        write(ledger, one, who, 0)
    reading = {"systolic": None, "diastolic": one.key.diastolic_mmhg}
    rounds.seal(ledger, room=code, who=learners[0], round_id=one.id, reading=reading)
    rounds.close(ledger, room=code, round_id=one.id, how="opened")
    upper, lower = rounds.spread(rounds.round_of(ledger, code, one.id))["ends"]
    assert upper["marks"] is None
    assert sum(count for _, count in lower["marks"]) == 5


def test_a_round_is_undone_by_cancelling_and_another_follows() -> None:
    """A cancelled round takes nothing more; the first of two ends stands; the next round is another one."""
    ledger, code, (who,) = a_class(1)
    one = rounds.open_round(ledger, room=code)
    with pytest.raises(AlreadyDoneError):
        rounds.open_round(ledger, room=code)
    rounds.close(ledger, room=code, round_id=one, how="cancelled")
    rounds.close(ledger, room=code, round_id=one, how="cancelled")
    with pytest.raises(AlreadyDoneError):
        rounds.seal(ledger, room=code, who=who, round_id=one, reading={"systolic": 120, "diastolic": 80})
    assert rounds.open_round(ledger, room=code) != one


def test_an_unplayed_round_is_not_opened() -> None:
    """There is nothing to answer yet."""
    ledger, code, _ = a_class(0)
    one = rounds.open_round(ledger, room=code)
    with pytest.raises(AlreadyDoneError):
        rounds.close(ledger, room=code, round_id=one, how="opened")


def test_late_answers_do_not_count_but_an_answer_sent_again_does_no_harm() -> None:
    """After opening a new answer is refused; one stored before is acknowledged again."""
    ledger, code, (early, late) = a_class(2)
    one = played(ledger, code)
    write(ledger, one, early, 0)
    rounds.close(ledger, room=code, round_id=one.id, how="opened")
    write(ledger, one, early, 0)
    with pytest.raises(AlreadyDoneError):
        write(ledger, one, late, 0)
    assert len(list(ledger.rows(kinds=[Kind.ROUND_SEALED]))) == 1


def test_odd_asks_are_refused() -> None:
    """Unknown kinds, rounds, ends and readings: one line, nothing written."""
    ledger, code, (who,) = a_class(1)
    one = played(ledger, code)
    before = ledger.last()
    for reading in (None, {}, {"systolic": 301, "diastolic": 80}, {"systolic": "120", "diastolic": 80}):
        with pytest.raises(BadInputError):
            rounds.seal(ledger, room=code, who=who, round_id=one.id, reading=reading)
    with pytest.raises(BadInputError):
        rounds.close(ledger, room=code, round_id=one.id, how="shown")
    with pytest.raises(BadInputError):
        rounds.get_ready(ledger, room=code, who=who, round_id=one.id, profile_id="drum")
    with pytest.raises(NotFoundError):
        rounds.round_of(ledger, code, "unknown")
    assert ledger.last() == before


def test_an_erased_learner_leaves_the_round() -> None:
    """What an erased person sealed is in no spread."""
    ledger, code, learners = a_class(5)
    one = played(ledger, code)
    for who in learners:
        write(ledger, one, who, 0)
    ledger.erase(learners[0], why="asked")
    rounds.close(ledger, room=code, round_id=one.id, how="opened")
    assert rounds.spread(rounds.round_of(ledger, code, one.id))["answers"] == 4


def test_any_kind_is_drawn_from_all() -> None:
    """Left to chance, kinds differ from seed to seed."""
    drawn = set()
    for seed in itertools.islice(itertools.count(100), 11):
        ledger, code, _ = a_class(0)
        drawn.add(rounds.round_of(ledger, code, rounds.open_round(ledger, room=code, seed=seed)).kind)
    assert len(drawn) == 11
