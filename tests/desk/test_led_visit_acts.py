"""A led visit's acts: stored once, checked, corrected by new rows, closed, followed up, given out, erased."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from hushpoint.desk import kit, live, policies, visits
from hushpoint.errors import AlreadyDoneError, BadInputError, NotFoundError
from hushpoint.guideline.clinical_policies import clinical_policy
from hushpoint.guideline.own_policy import policy_text
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Kind

NOW = datetime.now(UTC)
SCENE_5 = ((178, 104), (164, 98), (162, 96))


@pytest.fixture
def ledger() -> MemoryLedger:
    """An empty journal."""
    return MemoryLedger()


def taken(ledger: MemoryLedger, ends: tuple[tuple[int | None, int | None], ...], policy_id: str = "NHFA_2016") -> str:
    """A visit with readings 70 s apart."""
    visit = visits.begin(ledger, policy_id=policy_id)
    for number, (systolic, diastolic) in enumerate(ends):
        reading = {"arm": "right", "systolic": systolic, "diastolic": diastolic}
        at = NOW + timedelta(seconds=70 * number)
        visits.act(ledger, visit, {"ref": f"reading-{number}", "at": at.isoformat(), "reading": reading}, at)
    return visit


def test_scene_five_closed_is_an_open_referral_until_a_reply_closes_it(ledger: MemoryLedger) -> None:
    """163/97, refer within a month; on the list until nothing is left to do; overdue after the clock."""
    visit = taken(ledger, SCENE_5)
    visits.close(ledger, visit, NOW + timedelta(seconds=300))
    (line,) = visits.listing(ledger, NOW + timedelta(days=1))
    assert (line.told, line.verdict, line.overdue) == ("163/97", "refer", False)
    (late,) = visits.listing(ledger, NOW + timedelta(days=31))
    assert late.overdue
    visits.reply(ledger, visit, text="letter received", done=False)
    assert visits.listing(ledger, NOW)[0].due_at is not None
    visits.reply(ledger, visit, text="limits: light only", done=True)
    (done,) = visits.listing(ledger, NOW)
    assert done.due_at is None
    assert [words for _, words in done.state.replies] == ["letter received", "limits: light only"]


def test_an_act_sent_again_is_stored_once(ledger: MemoryLedger) -> None:
    """A doubled answer and a doubled reading leave one row each."""
    visit = visits.begin(ledger, policy_id="NHFA_2016")
    told = {"ref": "told-0001", "told": {"consent": True}}
    reading = {"ref": "read-0001", "reading": {"arm": "left", "systolic": 120, "diastolic": 80}}
    for one in (told, told, reading, reading):
        visits.act(ledger, visit, one, NOW)
    kinds = [row.kind for row in ledger.rows()]
    assert kinds == [Kind.VISIT_BEGUN, Kind.VISIT_TOLD, Kind.READING_TAKEN]


def test_a_correction_is_a_new_row_and_is_what_is_judged(ledger: MemoryLedger) -> None:
    """162 corrected to 142: the value follows, the first row stays."""
    visit = taken(ledger, SCENE_5)
    change = {"reading": "reading-2", "systolic": 142, "diastolic": 96, "why": "written wrongly"}
    visits.act(ledger, visit, {"ref": "amend-001", "amend": change}, NOW)
    state = visits.state_of(ledger, visit)
    _, judged = visits.judged(ledger, state, NOW + timedelta(hours=1))
    assert judged.value is not None
    assert judged.value.systolic_mmhg == (164 + 142) / 2
    assert [row.body["systolic"] for row in ledger.rows(kinds=[Kind.READING_TAKEN]) if row.body] == [178, 164, 162]


def test_readings_carry_the_kit_chosen(ledger: MemoryLedger) -> None:
    """Gauge and cuff are in the row, and the bladder by tape reaches the gates."""
    gauge = kit.add(ledger, {"type": "gauge", "label": "G4"}, by="lecturer")
    small = {"type": "cuff", "label": "C1", "bladder_width_cm": "13", "bladder_length_cm": "23"}
    cuff = kit.add(ledger, small, by="lecturer")
    visit = visits.begin(ledger, policy_id="NHFA_2016")
    chosen = {"kit_gauge": gauge.id, "kit_cuff": cuff.id, "client.arm_cm": 36}
    visits.act(ledger, visit, {"ref": "told-0001", "told": chosen}, NOW)
    reading = {"arm": "left", "systolic": 120, "diastolic": 80}
    visits.act(ledger, visit, {"ref": "read-0001", "reading": reading}, NOW)
    (found,) = live.readings(ledger)
    assert (found.gauge, found.cuff, found.via) == (gauge.id, cuff.id, "visit")
    _, judged = visits.judged(ledger, visits.state_of(ledger, visit), NOW)
    assert judged.next.do == "stop"
    assert "13 × 23" in judged.next.why


def test_a_device_whose_clock_is_far_off_gets_the_servers_time(ledger: MemoryLedger) -> None:
    """A time a day ahead is not believed; one ten seconds old is."""
    now = datetime.now(UTC)  # of this test: the tests before it may have taken minutes
    visit = visits.begin(ledger, policy_id="NHFA_2016")
    for ref, at in (("read-0001", now + timedelta(days=1)), ("read-0002", now + timedelta(seconds=50))):
        reading = {"arm": "left", "systolic": 120, "diastolic": 80}
        visits.act(ledger, visit, {"ref": ref, "at": at.isoformat(), "reading": reading}, now + timedelta(minutes=1))
    first, second = live.readings(ledger)
    assert datetime.fromisoformat(first.taken_at) - now == pytest.approx(timedelta(minutes=1), abs=timedelta(seconds=1))
    assert datetime.fromisoformat(second.taken_at) - now == pytest.approx(
        timedelta(seconds=50), abs=timedelta(seconds=1)
    )


def test_a_client_comes_back_under_the_same_code_and_is_erased_whole(ledger: MemoryLedger) -> None:
    """Two visits of K7 are one person; after erasing, neither is there and the journal verifies."""
    first = visits.begin(ledger, policy_id="NHFA_2016", code="k7")
    second = visits.begin(ledger, policy_id="ESC_2024", code="K7")
    assert {row.who for row in ledger.rows()} == {visits.state_of(ledger, first).who}
    assert len(json.loads(visits.export(ledger, second))) == 2
    visits.erase(ledger, second, why="at the client's request")
    assert visits.listing(ledger, NOW) == []
    with pytest.raises(NotFoundError):
        visits.state_of(ledger, first)
    assert ledger.verify().first_altered is None


def test_new_clients_get_the_next_code(ledger: MemoryLedger) -> None:
    """K1, K2; a code of one's own does not disturb the count."""
    for code in ("", "", "LEFT-1", ""):
        visits.begin(ledger, policy_id="NHFA_2016", code=code)
    assert [row.body["code"] for row in ledger.rows() if row.body] == ["K1", "K2", "LEFT-1", "K3"]


def test_a_policy_adopted_later_leaves_an_older_visit_alone(ledger: MemoryLedger) -> None:
    """A visit is judged by the own policy as it stood when it began."""
    text = policy_text(clinical_policy("NHFA_2016"), "OUR_COLLEGE")
    policies.adopt(ledger, text.encode(), "ours.csv")
    visit = taken(ledger, SCENE_5, "OUR_COLLEGE")
    policies.adopt(ledger, text.replace("step,C,,,,160,100", "step,C,,,,170,100").encode(), "ours.csv")
    _, judged = visits.judged(ledger, visits.state_of(ledger, visit), NOW + timedelta(hours=1))
    assert judged.action.when == "within 1 month"
    later = policies.known_policy(ledger, "OUR_COLLEGE")
    assert next(step for step in later.ladder if step.step == "C").systolic_mmhg == 170


def test_a_closed_visit_takes_nothing_more_and_closes_once(ledger: MemoryLedger) -> None:
    """Further readings need another visit."""
    visit = taken(ledger, SCENE_5)
    visits.close(ledger, visit, NOW)
    with pytest.raises(AlreadyDoneError):
        visits.close(ledger, visit, NOW)
    with pytest.raises(AlreadyDoneError):
        visits.act(ledger, visit, {"ref": "told-0009", "told": {"consent": True}}, NOW)


WRONG: dict[str, dict[str, object]] = {
    "no ref": {"told": {"consent": True}},
    "two acts": {"ref": "aaaaaaaa", "told": {}, "reading": {"arm": "left"}},
    "no act": {"ref": "aaaaaaaa"},
    "an unknown answer": {"ref": "aaaaaaaa", "told": {"client.name": "somebody"}},
    "an answer out of range": {"ref": "aaaaaaaa", "told": {"client.arm_cm": 500}},
    "an unknown symptom": {"ref": "aaaaaaaa", "told": {"symptoms": ["hiccups"]}},
    "kit that is not there": {"ref": "aaaaaaaa", "told": {"kit_gauge": "zzzz"}},
    "no arm": {"ref": "aaaaaaaa", "reading": {"systolic": 120, "diastolic": 80}},
    "a pressure as text": {"ref": "aaaaaaaa", "reading": {"arm": "left", "systolic": "120", "diastolic": 80}},
    "diastolic above systolic": {"ref": "aaaaaaaa", "reading": {"arm": "left", "systolic": 80, "diastolic": 120}},
    "a correction without why": {
        "ref": "aaaaaaaa",
        "amend": {"reading": "reading-0", "systolic": 1, "diastolic": 0, "why": " "},
    },
    "a long mark": {"ref": "aaaaaaaa", "told": {"steps": "x" * 201}},
}


@pytest.mark.parametrize("kind", list(WRONG))
def test_what_cannot_be_stored_gives_one_line_and_no_row(ledger: MemoryLedger, kind: str) -> None:
    """Nothing is written, and what stands can still be read."""
    visit = taken(ledger, SCENE_5[:1])
    before = ledger.last()
    with pytest.raises(BadInputError) as refused:
        visits.act(ledger, visit, WRONG[kind], NOW)
    assert "\n" not in str(refused.value)
    assert ledger.last() == before
    visits.judged(ledger, visits.state_of(ledger, visit), NOW)


@pytest.mark.parametrize("number", ["call me", "1" * 21, "0\n00"])
def test_an_emergency_number_is_digits(ledger: MemoryLedger, number: str) -> None:
    """What is no telephone number is refused; none may be set."""
    with pytest.raises(BadInputError):
        policies.set_emergency_number(ledger, number)
    policies.set_emergency_number(ledger, "")
    assert policies.emergency_number(ledger) == ""
