"""The acts of the bench on a ledger: begun, set up, filed, judged, corrected, each once and by its own learner."""

from __future__ import annotations

import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bench_logs import bench_log
from hushpoint.arm import truth_of
from hushpoint.desk import bench, classes
from hushpoint.errors import AlreadyDoneError, BadInputError, NotAllowedError, NotFoundError
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind, Ledger
from hushpoint.ledger.store import open_postgres, open_sqlite
from hushpoint.practice.setup import right_choices


@pytest.fixture(params=["memory", "sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def ledger(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ledger]:
    """An empty ledger: in memory, as a file, in PostgreSQL."""
    opened: Ledger
    if request.param == "memory":
        opened = MemoryLedger()
    elif request.param == "sqlite":
        opened = open_sqlite(tmp_path / "ledger.db")
    else:
        opened = open_postgres(request.getfixturevalue("postgres_url"), tmp_path)
    yield opened
    opened.close()


def begun(ledger: Ledger, who: str = "ines", ref: str = "r1", **more: Any) -> bench.Begun:
    """Return a measurement begun on series 7."""
    return bench.begin(ledger, who=who, ref=ref, room="RKTM", seed=7, **more)


def measured(
    ledger: Ledger,
    ref: str = "r1",
    reading: tuple[int, int] = (124, 76),
    waited_s: float | None = None,
    **more: Any,
) -> str:
    """Return a measurement that is begun, set up rightly and filed."""
    one = begun(ledger, ref=ref, **more)
    bench.set_up(ledger, who="ines", measurement=one.measurement, choices=right_choices(one.case))
    log = bench_log(reading, palpated_mmhg=126) | {"waited_s": waited_s}
    bench.file_log(ledger, who="ines", measurement=one.measurement, log=log)
    return one.measurement


def count(ledger: Ledger, kind: Kind) -> int:
    """Return how many rows of a kind are stored."""
    return len(list(ledger.rows(kinds=[kind])))


def test_a_whole_measurement(ledger: Ledger) -> None:
    """Begin to judgement: one row each, each with the class, the learner and the measurement."""
    measurement = measured(ledger)
    assert bench.judgement(ledger, who="ines", measurement=measurement) is None
    assert bench.ungraded(ledger) == [measurement]
    judged = bench.grade(ledger, measurement)
    assert bench.ungraded(ledger) == []
    assert bench.judgement(ledger, who="ines", measurement=measurement) == judged
    assert [row.kind for row in ledger.rows()] == [
        Kind.MEASUREMENT_BEGUN,
        Kind.MEASUREMENT_SET_UP,
        Kind.MEASUREMENT_FILED,
        Kind.MEASUREMENT_JUDGED,
    ]
    assert {(row.room, row.who) for row in ledger.rows()} == {("RKTM", "ines")}
    json.dumps(judged, allow_nan=False)


def test_every_act_sent_twice_is_stored_once(ledger: Ledger) -> None:
    """Begin, set up, file and grade twice: the same answers and no second row."""
    first, second = begun(ledger), begun(ledger)
    assert first.to_json() == second.to_json()
    choices = right_choices(first.case)
    tables = [bench.set_up(ledger, who="ines", measurement=first.measurement, choices=choices) for _ in range(2)]
    assert tables[0] == tables[1]
    log = bench_log()
    one = bench.file_log(ledger, who="ines", measurement=first.measurement, log=log)
    two = bench.file_log(ledger, who="ines", measurement=first.measurement, log=log)
    assert (one.seq, one.again, two.seq, two.again) == (3, False, 3, True)
    assert bench.grade(ledger, first.measurement) == bench.grade(ledger, first.measurement)
    assert ledger.last() == 4


def test_a_log_sent_by_many_at_once_is_stored_once(ledger: Ledger) -> None:
    """Eight sends and eight gradings at the same time: one row each, one row number for all."""
    one = begun(ledger)
    bench.set_up(ledger, who="ines", measurement=one.measurement, choices=right_choices(one.case))
    log = bench_log()
    with ThreadPoolExecutor(8) as pool:
        sent = [pool.submit(bench.file_log, ledger, who="ines", measurement=one.measurement, log=log) for _ in range(8)]
        filed = [future.result() for future in sent]
        graded = [pool.submit(bench.grade, ledger, one.measurement) for _ in range(8)]
        judgements = [future.result() for future in graded]
    assert len({one.seq for one in filed}) == 1
    assert [one.again for one in filed].count(False) == 1
    assert all(one == judgements[0] for one in judgements)
    assert count(ledger, Kind.MEASUREMENT_FILED) == count(ledger, Kind.MEASUREMENT_JUDGED) == 1


def test_set_ups_and_corrections_at_once_are_all_kept(ledger: Ledger) -> None:
    """Six different ones of each at the same time: each answer is of its own, each is stored."""
    one = begun(ledger, guided=True)
    right = right_choices(one.case)
    arms = ("desk", "held_out", "lap", "side", "below", "above")
    with ThreadPoolExecutor(6) as pool:
        sent = [
            pool.submit(bench.set_up, ledger, who="ines", measurement=one.measurement, choices={**right, "arm": arm})
            for arm in arms
        ]
        advised = [[advice["row"] for advice in future.result()["advice"]] for future in sent]
    assert advised == [[], *([["arm"]] * 5)]
    assert count(ledger, Kind.MEASUREMENT_SET_UP) == 6
    bench.file_log(ledger, who="ines", measurement=one.measurement, log=bench_log())
    written = [{"systolic": 120 + 2 * step, "diastolic": 76, "muffling": None} for step in range(6)]
    with ThreadPoolExecutor(6) as pool:
        kept = [
            pool.submit(
                bench.correct_reading, ledger, who="ines", measurement=one.measurement, reading=reading, why="slip"
            )
            for reading in written
        ]
        seqs = [future.result() for future in kept]
    rows = {row.seq: row.body for row in ledger.rows(kinds=[Kind.READING_CORRECTED])}
    assert [(rows[seq] or {})["reading"] for seq in seqs] == written


def test_a_grading_on_its_way_does_not_bring_an_erased_learner_back(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Erased while the judge is at work: the judgement is refused, and nothing of the learner is left."""
    measurement = measured(ledger)
    judge = bench.judge

    def erased_meanwhile(*args: Any, **kept: Any) -> Any:
        ledger.erase("ines", why="asked")
        return judge(*args, **kept)

    monkeypatch.setattr(bench, "judge", erased_meanwhile)
    with pytest.raises(NotFoundError, match="erased"):
        bench.grade(ledger, measurement)
    assert all(row.body is None for row in ledger.rows(who="ines") if row.kind != Kind.PERSON_ERASED)
    assert bench.ungraded(ledger) == []


def test_the_newest_set_up_counts_until_the_log_is_filed(ledger: Ledger) -> None:
    """Advice can be followed: choices may be mended before pumping, and stand once the log is in."""
    one = begun(ledger, guided=True)
    right = right_choices(one.case)
    poor = {**right, "ears": "tapped_silent"}
    advised = bench.set_up(ledger, who="ines", measurement=one.measurement, choices=poor)
    assert [advice["row"] for advice in advised["advice"]] == ["ears"]
    assert max(advised["beats"]["level_db"]) < 0
    mended = bench.set_up(ledger, who="ines", measurement=one.measurement, choices=right)
    assert mended["advice"] == []
    assert max(mended["beats"]["level_db"]) > 30
    bench.file_log(ledger, who="ines", measurement=one.measurement, log=bench_log())
    assert bench.set_up(ledger, who="ines", measurement=one.measurement, choices=right) == mended
    with pytest.raises(AlreadyDoneError, match="filed already"):
        bench.set_up(ledger, who="ines", measurement=one.measurement, choices=poor)
    assert bench.grade(ledger, one.measurement)["truth"]["systolic"]["verdict"] == "heard"
    assert count(ledger, Kind.MEASUREMENT_SET_UP) == 2


def test_unguided_practice_gets_no_advice(ledger: Ledger) -> None:
    """A poor choice is accepted silently."""
    one = begun(ledger)
    poor = {**right_choices(one.case), "ears": "tapped_silent"}
    assert "advice" not in bench.set_up(ledger, who="ines", measurement=one.measurement, choices=poor)


def test_the_server_trusts_no_one(ledger: Ledger) -> None:
    """The truth comes from seed, choices and the log's pressure; a truth sent along is thrown away."""
    one = begun(ledger)
    choices = right_choices(one.case)
    table = bench.set_up(ledger, who="ines", measurement=one.measurement, choices=choices)
    log = bench_log((200, 20))
    forged = {**log, "truth": {"systolic": 200}, "beats": [], "measurement": "another"}
    bench.file_log(ledger, who="ines", measurement=one.measurement, log=forged)
    stored = next(ledger.rows(kinds=[Kind.MEASUREMENT_FILED])).body
    assert stored is not None
    assert set(stored["log"]) == set(log)
    judged = bench.grade(ledger, one.measurement)
    beats = bench.arm_of(ledger, who="ines", measurement=one.measurement)
    truth = truth_of(beats, np.array(log["time_s"]), np.array(log["pressure_mmhg"]))
    assert judged["truth"]["systolic"]["mmhg"] == round(truth.systolic.mmhg, 1)
    assert judged["ear"]["systolic_error_mmhg"] == round(200 - truth.systolic.mmhg, 1)
    assert table["beats"]["systolic_mmhg"][:50] == beats.systolic_mmhg[:50].tolist()


def test_a_bad_log_leaves_nothing_behind(ledger: Ledger) -> None:
    """A refused log adds no row, and a good one can follow."""
    one = begun(ledger)
    bench.set_up(ledger, who="ines", measurement=one.measurement, choices=right_choices(one.case))
    before = ledger.last()
    with pytest.raises(BadInputError, match="pressure_mmhg"):
        bench.file_log(ledger, who="ines", measurement=one.measurement, log={**bench_log(), "pressure_mmhg": [500]})
    assert ledger.last() == before
    assert bench.file_log(ledger, who="ines", measurement=one.measurement, log=bench_log()).seq == before + 1


def test_a_log_before_the_set_up_is_refused(ledger: Ledger) -> None:
    """There is no arm to grade it by."""
    with pytest.raises(BadInputError, match="not set up yet"):
        bench.file_log(ledger, who="ines", measurement=begun(ledger).measurement, log=bench_log())


def test_only_the_learner_who_began_goes_on(ledger: Ledger) -> None:
    """Another learner may neither set up, file, see nor correct; an unknown measurement is not found."""
    measurement = measured(ledger)
    acts = [
        lambda who, of: bench.set_up(ledger, who=who, measurement=of, choices={}),
        lambda who, of: bench.file_log(ledger, who=who, measurement=of, log=bench_log()),
        lambda who, of: bench.judgement(ledger, who=who, measurement=of),
        lambda who, of: bench.correct_reading(ledger, who=who, measurement=of, reading={}, why="x"),
        lambda who, of: bench.begin(ledger, who=who, ref="r9", again=of),
    ]
    rows = ledger.last()
    for act in acts:
        with pytest.raises(NotAllowedError):
            act("tomo", measurement)
        with pytest.raises(NotFoundError):
            act("ines", "nowhere")
    assert ledger.last() == rows


def test_the_same_ref_of_two_learners_begins_two_measurements(ledger: Ledger) -> None:
    """Client-made ids of two phones may be equal by chance."""
    assert begun(ledger, who="ines").measurement != begun(ledger, who="tomo").measurement


def test_the_next_person_and_the_same_person_again(ledger: Ledger) -> None:
    """Each begin meets the next case of the series; `again` meets the same arm with other beats."""
    first = measured(ledger, "r1")
    second = begun(ledger, ref="r2")
    again = begun(ledger, ref="r3", again=first)
    assert (second.case.number, again.case.number) == (2, 1)
    assert again.case == bench.begin(ledger, who="ines", ref="r1").case
    tables = [
        bench.set_up(ledger, who="ines", measurement=one, choices=right_choices(again.case))
        for one in (first, again.measurement)
    ]
    assert tables[0]["sounds"] == tables[1]["sounds"]
    assert tables[0]["beats"]["foot_s"] != tables[1]["beats"]["foot_s"]


def test_a_hurried_second_measurement_is_told_its_wait(ledger: Ledger) -> None:
    """Measured again at once on the same arm: the wait asked by the policy is named."""
    first = measured(ledger, "r1")
    second = measured(ledger, "r2", again=first)
    bench.grade(ledger, first)
    lines = bench.grade(ledger, second)["hand"]["lines"]
    assert any(line.endswith("since the last measurement; 60 is asked.") for line in lines)


@pytest.mark.parametrize(("waited_s", "told"), [(61.0, False), (20.4, True)])
def test_the_wait_that_was_counted_down_is_the_one_judged(ledger: Ledger, waited_s: float, told: bool) -> None:
    """The page's own wait counts, wherever it was spent: before or after the set-up was chosen."""
    first = measured(ledger, "r1")
    second = measured(ledger, "r2", again=first, waited_s=waited_s)
    bench.grade(ledger, first)
    lines = bench.grade(ledger, second)["hand"]["lines"]
    assert ("Waited 20 s since the last measurement; 60 is asked." in lines) == told
    assert any("since the last measurement" in line for line in lines) == told


def test_a_correction_stands_beside_the_first_reading(ledger: Ledger) -> None:
    """The grade stays, the first reading stays, the newest correction is shown; the same one twice is one row."""
    measurement = measured(ledger, reading=(142, 76))
    judged = bench.grade(ledger, measurement)
    better = {"systolic": 124, "diastolic": 76, "muffling": None}
    once = bench.correct_reading(ledger, who="ines", measurement=measurement, reading=better, why="digits swapped")
    assert once == bench.correct_reading(
        ledger, who="ines", measurement=measurement, reading=better, why="digits swapped"
    )
    own = bench.own_readings(ledger, "ines")
    assert len(own) == 1
    assert own[0].reading["systolic"] == 142
    assert own[0].corrected == better
    assert own[0].judgement == judged
    for reading, why in ((better, ""), (better, 7), ({"systolic": 400, "diastolic": 1}, "x"), (None, "x")):
        with pytest.raises(BadInputError):
            bench.correct_reading(ledger, who="ines", measurement=measurement, reading=reading, why=why)


def test_digits_are_judged_over_the_learners_own_history(ledger: Ledger) -> None:
    """Twelve readings ending in 0 are told as a habit in the twelfth judgement and not before."""
    for number in range(12):
        last = measured(ledger, f"r{number}", reading=(120, 80))
    lines = bench.grade(ledger, last)["pen"]["lines"]
    assert any("12 of 12 even systolic readings end in 0; 2 expected" in line for line in lines)
    first = next(ledger.rows(kinds=[Kind.MEASUREMENT_FILED])).ref
    assert first is not None
    assert bench.grade(ledger, first)["pen"]["lines"] == ["1 reading: too few to tell a habit of digits."]


def test_what_waits_to_be_graded_is_found_at_every_start(ledger: Ledger) -> None:
    """Filed and not judged is found again after every start, whatever else was judged meanwhile."""
    first, second, third = (measured(ledger, f"r{number}") for number in range(3))
    assert bench.ungraded(ledger) == [first, second, third]
    bench.grade(ledger, first)
    bench.grade(ledger, third)
    assert bench.ungraded(ledger) == [second]
    assert bench.ungraded(ledger) == [second]
    bench.grade(ledger, second)
    assert bench.ungraded(ledger) == []
    fourth = measured(ledger, "r9")
    assert bench.ungraded(ledger) == [fourth]


def test_the_judgement_has_the_keys_of_the_contract(ledger: Ledger) -> None:
    """Every key of docs/bench-format.md, and no other."""
    judged = bench.grade(ledger, measured(ledger))
    keys = "measurement next truth reading ear hand pen pulse arm_lines picture worked cautions"
    assert set(judged) == set(keys.split())
    assert set(judged["truth"]) == {"systolic", "diastolic", "muffling_mmhg", "key"}
    assert set(judged["truth"]["systolic"]) == {"verdict", "mmhg", "low", "high"}
    assert set(judged["truth"]["key"]) == {"systolic", "diastolic"}
    assert set(judged["reading"]) == {"systolic", "diastolic", "muffling"}
    assert set(judged["ear"]) == {"systolic_error_mmhg", "diastolic_error_mmhg", "lines"}
    assert set(judged["hand"]) == {"systolic_loss_mmhg", "diastolic_loss_mmhg", "peak_mmhg", "lines", "segments"}
    assert set(judged["hand"]["segments"][0]) == {"from_mmhg", "to_mmhg", "rate_mmhg_per_s"}
    assert set(judged["picture"]) == {"beats", "gap_mmhg", "pressure", "asked_rate"}
    assert set(judged["picture"]["beats"][0]) == {"at_s", "mmhg", "level_db", "audible", "phase"}
    assert set(judged["picture"]["pressure"]) == {"time_s", "mmhg"}


def test_an_erased_learner_leaves_nothing_to_go_on_with(ledger: Ledger) -> None:
    """After erasing, the measurement is not found, own readings are empty and nothing waits to be graded."""
    measurement = measured(ledger)
    ledger.erase("ines", why="asked for")
    assert bench.own_readings(ledger, "ines") == []
    assert bench.ungraded(ledger) == []
    with pytest.raises(NotFoundError):
        bench.judgement(ledger, who="ines", measurement=measurement)
    with pytest.raises(NotFoundError):
        bench.grade(ledger, measurement)


@pytest.mark.parametrize("ref", ["", "x" * 101, None, 7])
def test_a_bad_ref_is_refused(ledger: Ledger, ref: object) -> None:
    """The page's own id is a short text."""
    with pytest.raises(BadInputError, match="ref"):
        bench.begin(ledger, who="ines", ref=ref)  # type: ignore[arg-type]
    assert ledger.last() == 0


def test_an_unknown_policy_is_refused(ledger: Ledger) -> None:
    """With the list of those there are."""
    with pytest.raises(BadInputError, match="must be one of"):
        begun(ledger, policy_id="NOBODYS")


def test_a_small_speaker_gets_raised_sounds_and_the_same_arm() -> None:
    """A phone's own speaker changes the sounds of the arm table alone; an unknown profile is refused, unwritten."""
    ledger = MemoryLedger()
    who = classes.join_alone(ledger)
    begun = bench.begin(ledger, who=who, ref="one", seed=7)
    asked = {"who": who, "measurement": begun.measurement, "choices": right_choices(begun.case)}
    own, raised = (bench.set_up(ledger, **asked, profile_id=profile) for profile in ("headphones", "phone"))
    assert own.pop("sounds") != raised.pop("sounds")
    assert own == raised
    before = ledger.last()
    with pytest.raises(BadInputError, match="profile"):
        bench.set_up(ledger, **asked, profile_id=7)
    assert ledger.last() == before
