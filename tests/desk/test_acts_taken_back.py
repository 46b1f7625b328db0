"""Taking back: once, by the same role, while nothing rests on it, and nothing of the journal is lost by it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from hushpoint.desk import classes, consent, kit, pairs, policies, rounds, standing, technique, undo, visits
from hushpoint.desk.undo import LEARNER, Asker
from hushpoint.errors import AlreadyDoneError, NotFoundError
from hushpoint.guideline.clinical_policies import clinical_policies
from hushpoint.guideline.own_policy import policy_text
from hushpoint.instrument import Direction, GaugePoint
from hushpoint.ledger.records import Entry, Kind, Ledger

LECTURER, ASSESSOR, PRACTITIONER = (Asker(role, by=role) for role in ("lecturer", "assessor", "practitioner"))
TODAY = date(2026, 5, 1)


def now() -> datetime:
    """The time at which something is taken back."""
    return datetime.now(UTC)


@pytest.fixture
def code(ledger: Ledger) -> str:
    """The code of an open class."""
    return classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")


def back(ledger: Ledger, kind: Kind, asker: Asker = LECTURER, **about: Any) -> None:
    """Take back the newest act of a kind."""
    undo.take_back(ledger, undo.newest(ledger, kind, **about), asker, now())


def refused(ledger: Ledger, kind: Kind, asker: Asker = LECTURER, **about: Any) -> str:
    """Return the one line with which the newest act of a kind is not taken back, and nothing is written."""
    before = ledger.last()
    with pytest.raises(AlreadyDoneError) as refusal:
        back(ledger, kind, asker, **about)
    assert ledger.last() == before
    assert "\n" not in str(refusal.value)
    return str(refusal.value)


def gauge(ledger: Ledger, label: str = "G3") -> kit.Item:
    """Add a gauge."""
    return kit.add(ledger, {"type": "gauge", "label": label}, by="lecturer")


def check(ledger: Ledger, item: str, off_mmhg: float = 0) -> None:
    """File a check of a gauge that reads so much high."""
    points = [GaugePoint(step, step + off_mmhg, Direction.UP) for step in (0, 60, 100, 150, 200, 250, 300)]
    kit.file_check(ledger, item, points=points, rule="new", reference=kit.Reference("M1", "12", 0.5),
                   checked_at=now(), how="bench", by="lecturer", now=now())  # fmt: skip


def test_a_retired_gauge_is_on_the_shelf_again_and_both_rows_stay(ledger: Ledger) -> None:
    """The journal has the act and its taking back, whole; the register is as before."""
    one = gauge(ledger)
    kit.retire(ledger, one.id, why="dropped", by="lecturer")
    back(ledger, Kind.KIT_RETIRED, item=one.id)
    assert not kit.item(ledger, one.id).retired
    kinds = [row.kind for row in ledger.rows()]
    assert kinds == [Kind.KIT_ADDED, Kind.KIT_RETIRED, Kind.ACT_UNDONE]
    assert ledger.verify().first_altered is None


def test_taken_back_twice_is_taken_back_once(ledger: Ledger) -> None:
    """Asked again after a lost answer, nothing more is written and nothing refused."""
    one = gauge(ledger)
    kit.retire(ledger, one.id, why="dropped", by="lecturer")
    seq = undo.newest(ledger, Kind.KIT_RETIRED, item=one.id)
    for _ in range(3):
        assert undo.take_back(ledger, seq, LECTURER, now()).seq == seq
    assert sum(row.kind is Kind.ACT_UNDONE for row in ledger.rows()) == 1


@pytest.mark.parametrize("asker", [ASSESSOR, PRACTITIONER, Asker("auditor"), Asker(LEARNER, "somebody", "a learner")])
def test_another_role_finds_nothing_to_take_back(ledger: Ledger, asker: Asker) -> None:
    """What the lecturer did is neither listed nor taken back by anybody else."""
    one = gauge(ledger)
    kit.retire(ledger, one.id, why="dropped", by="lecturer")
    assert undo.lately(ledger, asker, now()) == []
    with pytest.raises(NotFoundError, match="Nothing of yours"):
        back(ledger, Kind.KIT_RETIRED, asker, item=one.id)
    assert kit.item(ledger, one.id).retired


@pytest.mark.parametrize("seq", [0, -1, 999, 2**60])
def test_a_row_that_is_no_act_is_not_taken_back(ledger: Ledger, code: str, seq: int) -> None:
    """No such row, or a row of another kind: one line."""
    ledger.append(Entry(Kind.LETTER_MADE, {"sheet": "client"}, room="x", who="y"))
    for asked in (seq, ledger.last()):
        with pytest.raises(NotFoundError, match="Nothing of yours"):
            undo.take_back(ledger, asked, LECTURER, now())


def test_after_a_day_it_stands(ledger: Ledger, code: str) -> None:
    """Within 24 hours it is listed; after them neither listed nor taken back."""
    seq = undo.newest(ledger, Kind.CLASS_OPENED, room=code)
    later = now() + timedelta(hours=undo.WITHIN_HOURS, minutes=1)
    assert [one.row for one in undo.lately(ledger, LECTURER, now())] == [seq]
    assert undo.lately(ledger, LECTURER, later) == []
    with pytest.raises(NotFoundError, match="24 hours"):
        undo.take_back(ledger, seq, LECTURER, later)


def test_a_label_taken_since_keeps_the_old_item_retired(ledger: Ledger) -> None:
    """Two gauges called G3 would be one too many."""
    one = gauge(ledger)
    kit.retire(ledger, one.id, why="dropped", by="lecturer")
    gauge(ledger)
    assert "has the label G3" in refused(ledger, Kind.KIT_RETIRED, item=one.id)


def test_an_item_that_was_used_is_retired_not_undone(ledger: Ledger) -> None:
    """Added by mistake it goes; wiped since, it is refused with what to do."""
    one = gauge(ledger)
    kit.wipe(ledger, one.id, by="lecturer")
    assert "retire it" in refused(ledger, Kind.KIT_ADDED, item=one.id)
    back(ledger, Kind.KIT_WIPED, item=one.id)
    back(ledger, Kind.KIT_ADDED, item=one.id)
    assert kit.register(ledger, retired=True) == {}


def test_a_wrong_check_goes_and_the_gauge_stands_as_before(ledger: Ledger) -> None:
    """The failed check entered by mistake no longer takes the gauge out of use."""
    one = gauge(ledger)
    check(ledger, one.id)
    check(ledger, one.id, off_mmhg=9)
    assert kit.item(ledger, one.id).out_of_use
    back(ledger, Kind.KIT_CHECKED, item=one.id)
    assert not kit.item(ledger, one.id).out_of_use
    assert len(kit.checks_of(ledger, one.id)) == 1


def test_a_learner_takes_back_their_own_wipe_alone(ledger: Ledger) -> None:
    """Who logged it, by the kit's own word for them, or the lecturer."""
    one = gauge(ledger)
    mine, other = (Asker(LEARNER, who, f"a learner of {room}") for who, room in (("a", "BCDF"), ("b", "XXXX")))
    kit.wipe(ledger, one.id, by=mine.by)
    with pytest.raises(NotFoundError):
        back(ledger, Kind.KIT_WIPED, other, item=one.id)
    back(ledger, Kind.KIT_WIPED, mine, item=one.id)
    assert not kit.item(ledger, one.id).wiped_at


def test_a_described_item_has_its_earlier_words_again(ledger: Ledger) -> None:
    """The change is passed over."""
    one = gauge(ledger)
    kit.change(ledger, one.id, {"label": "G8"}, by="lecturer")
    back(ledger, Kind.KIT_CHANGED, item=one.id)
    assert kit.item(ledger, one.id).label == "G3"


def test_a_class_opened_by_mistake_is_gone_until_somebody_is_in_it(ledger: Ledger, code: str) -> None:
    """An empty one goes; one with a list stays and says what to do."""
    back(ledger, Kind.CLASS_OPENED, room=code)
    assert classes.all_classes(ledger) == []
    with pytest.raises(NotFoundError):
        classes.find_class(ledger, code)
    other = classes.open_class(ledger, name="Group B", policy_id="PALPATED_30")
    classes.add_roster(ledger, room=other, names=["Ines Invented"])
    assert "close it" in refused(ledger, Kind.CLASS_OPENED, room=other)


def test_a_wrong_setting_of_a_class_is_put_right(ledger: Ledger, code: str) -> None:
    """Name and policy change by a further row, and back by another."""
    classes.change_class(ledger, code, name="Group Z", policy_id="FIXED_180")
    found = classes.find_class(ledger, code)
    assert (found.name, found.policy_id) == ("Group Z", "FIXED_180")
    back(ledger, Kind.CLASS_CHANGED, room=code)
    found = classes.find_class(ledger, code)
    assert (found.name, found.policy_id) == ("Group A", "PALPATED_30")


def test_a_pasted_list_goes_as_one_until_one_of_it_joins(ledger: Ledger, code: str) -> None:
    """All names of one paste leave the board by one tap; pasted again they are back under their own ids."""
    classes.add_roster(ledger, room=code, names=["Ines Invented", "Tomo Invented", "Ada Invented"])
    seq = undo.newest(ledger, Kind.ROSTER_ADDED, room=code)
    offer = undo.offered(ledger, seq, LECTURER, now())
    assert offer is not None
    assert offer.words == "names added to the list: 3"
    assert [one.row for one in undo.lately(ledger, LECTURER, now())] == [seq, seq - 1]
    ids = classes.names_of(ledger, code)
    undo.take_back(ledger, seq, LECTURER, now())
    assert classes.people_of(ledger, code) == {}
    board = classes.Board()
    board.take(classes.board_rows(ledger, code, 0, ledger.last()))
    assert board.in_order() == []
    assert board.wall()["listed"] == 0
    assert classes.add_roster(ledger, room=code, names=["ines invented", "Tomo Invented", "Ada Invented"]) == 3
    assert classes.people_of(ledger, code) == ids
    classes.add_roster(ledger, room=code, names=["Ben Invented"])
    classes.join(ledger, room=code, name="Ben Invented")
    assert "one by one" in refused(ledger, Kind.ROSTER_ADDED, room=code)


def test_a_learner_taken_off_the_list_comes_back_with_everything(ledger: Ledger, code: str) -> None:
    """Off the board and the counts, phone signed out; back by Undo, or by joining again."""
    who = classes.join(ledger, room=code, name="Ines Invented")
    came_in = classes.came_in_with(ledger, code, who)
    classes.take_off(ledger, room=code, who=who)
    assert classes.people_of(ledger, code) == {}
    assert not classes.still_in(ledger, code, who, came_in)
    back(ledger, Kind.ROSTER_CHANGED, room=code, who=who)
    assert classes.people_of(ledger, code) == {who: "Ines Invented"}
    classes.take_off(ledger, room=code, who=who)
    assert classes.join(ledger, room=code, name="Ines Invented") == who
    assert not classes.is_off(ledger, code, who)
    assert "came in" in refused(ledger, Kind.ROSTER_CHANGED, room=code, who=who)


def test_an_erased_learner_does_not_come_back_with_the_list(ledger: Ledger, code: str) -> None:
    """Of a pasted list one was erased since: the others are taken off, nothing is written about the erased one."""
    classes.add_roster(ledger, room=code, names=["Ines Invented", "Tomo Invented"])
    who = next(one for one, name in classes.names_of(ledger, code).items() if name.startswith("Tomo"))
    seq = undo.newest(ledger, Kind.ROSTER_ADDED, room=code)
    classes.erase_learner(ledger, room=code, who=who, why="asked")
    undo.take_back(ledger, seq, LECTURER, now())
    assert classes.people_of(ledger, code) == {}
    assert ledger.verify().first_altered is None


def test_a_policy_goes_until_a_visit_is_begun_under_it(ledger: Ledger) -> None:
    """No visit loses the policy it was judged by."""
    text = policy_text(clinical_policies()["NHFA_2016"], "OUR_OWN").encode()
    policies.adopt(ledger, text, "own.csv")
    back(ledger, Kind.POLICY_ADOPTED, PRACTITIONER)
    assert "OUR_OWN" not in policies.known_policies(ledger)
    policies.adopt(ledger, text, "own.csv")
    visits.begin(ledger, policy_id="OUR_OWN")
    assert "later visits" in refused(ledger, Kind.POLICY_ADOPTED)


def test_a_visit_opens_again_until_a_sheet_was_made(ledger: Ledger) -> None:
    """Closed by mistake it goes on; closed again it closes once more; with a letter out it stays closed."""
    visit = visits.begin(ledger, policy_id="NHFA_2016")
    visits.close(ledger, visit, now())
    back(ledger, Kind.VISIT_CLOSED, PRACTITIONER, room=visit)
    assert not visits.state_of(ledger, visit).closed_at
    visits.close(ledger, visit, now())
    with pytest.raises(AlreadyDoneError):
        visits.close(ledger, visit, now())
    visits.note_letter(ledger, visits.state_of(ledger, visit), "client")
    assert "stands as it was told" in refused(ledger, Kind.VISIT_CLOSED, PRACTITIONER, room=visit)


def test_a_referral_closed_by_mistake_is_open_again(ledger: Ledger) -> None:
    """The reply and the closing were one act and go as one; then it can be closed anew, once."""
    visit = visits.begin(ledger, policy_id="NHFA_2016")
    visits.close(ledger, visit, now())
    visits.reply(ledger, visit, text="seen by a doctor", done=True)
    assert visits.state_of(ledger, visit).referral_closed_at
    back(ledger, Kind.REFERRAL_REPLIED, room=visit)
    state = visits.state_of(ledger, visit)
    assert (state.referral_closed_at, state.replies) == ("", [])
    visits.reply(ledger, visit, text="seen by a doctor", done=True)
    with pytest.raises(AlreadyDoneError):
        visits.reply(ledger, visit, text="again", done=True)


def test_a_visit_begun_by_mistake_goes_while_it_is_empty(ledger: Ledger) -> None:
    """The next new client has its code; one with an answer stays."""
    visit = visits.begin(ledger, policy_id="NHFA_2016")
    back(ledger, Kind.VISIT_BEGUN, room=visit)
    assert visits.listing(ledger, now()) == []
    other = visits.begin(ledger, policy_id="NHFA_2016")
    visits.act(ledger, other, {"ref": "first-act", "told": {"consent": True}}, now())
    assert "written in this visit" in refused(ledger, Kind.VISIT_BEGUN, room=other)


def test_consent_is_as_it_was_before_and_by_that_person_alone(ledger: Ledger, code: str) -> None:
    """Both arms by mistake: Undo, and the left alone holds again; the lecturer does not take it back."""
    who = classes.join(ledger, room=code, name="Ines Invented")
    me, mine = Asker(LEARNER, who), {"room": code, "who": who}
    consent.agree(ledger, **mine, left=True, right=False, today=TODAY)
    consent.agree(ledger, **mine, left=True, right=True, today=TODAY)
    with pytest.raises(NotFoundError):
        back(ledger, Kind.CONSENT_GIVEN, **mine)
    back(ledger, Kind.CONSENT_GIVEN, me, **mine)
    assert consent.agreements(ledger, code, TODAY)[who].arms == "left"
    consent.withdraw(ledger, **mine)
    back(ledger, Kind.CONSENT_WITHDRAWN, me, **mine)
    assert consent.agreements(ledger, code, TODAY)[who].arms == "left"


def test_a_pair_opened_by_mistake_is_set_aside(ledger: Ledger, code: str) -> None:
    """It counts nowhere; one with both numbers in keeps them."""
    who = classes.join(ledger, room=code, name="Ines Invented")
    pair = pairs.open_pair(ledger, room=code, opening=pairs.Opening(who, client="K1"))
    back(ledger, Kind.PAIR_OPENED, ASSESSOR, room=code, pair=pair)
    assert pairs.book_of(ledger, code).find(pair).state == "cancelled"
    back(ledger, Kind.PAIR_CANCELLED, room=code, pair=pair)
    assert pairs.book_of(ledger, code).find(pair).state == "open"


def test_a_file_of_pairs_goes_as_one(ledger: Ledger, code: str) -> None:
    """Every pair that was stored in one go is set aside by one tap."""
    who = classes.join(ledger, room=code, name="Ines Invented")
    written = [
        (pairs.Opening(who, client=f"K{n}", via="file"), (120 + n, 80), (122 + n, 80), f"file.{n}") for n in range(3)
    ]
    assert pairs.store_written(ledger, room=code, written=written) == 3
    seq = undo.newest(ledger, Kind.PAIR_OPENED, room=code)
    offer = undo.offered(ledger, seq, LECTURER, now())
    assert offer is not None
    assert offer.words == "pairs stored from paper or a file: 3"
    undo.take_back(ledger, seq, LECTURER, now())
    assert {one.state for one in pairs.book_of(ledger, code).pairs.values()} == {"cancelled"}


def test_a_round_is_cancelled_until_it_is_played(ledger: Ledger, code: str) -> None:
    """Another can be opened at once; a played one is ended on its page."""
    rounds.open_round(ledger, room=code, seed=4)
    back(ledger, Kind.ROUND_OPENED, room=code)
    second = rounds.open_round(ledger, room=code, seed=5)
    rounds.start(ledger, room=code, round_id=second, now_ms=0.0)
    assert "was played" in refused(ledger, Kind.ROUND_OPENED, room=code)


def test_a_technique_sheet_goes_until_a_decision_is_signed(ledger: Ledger, code: str) -> None:
    """A ticked step sent by mistake counts nowhere, in no comparison and no evidence."""
    who = classes.join(ledger, room=code, name="Ines Invented")
    performance = technique.begin(ledger, room=code, learner=who, ref="perform1")
    step = technique.technique_steps()[0].id
    sheet = {"assessor": "AB", "marks": {step: "done"}, "ref": "sheet001"}
    technique.mark(ledger, room=code, performance=performance, sheet=sheet)
    assert "take that one back first" in refused(ledger, Kind.TECHNIQUE_BEGUN, room=code)
    back(ledger, Kind.TECHNIQUE_MARKED, ASSESSOR, room=code)
    assert technique.find(ledger, code, performance).sheets == {}
    back(ledger, Kind.TECHNIQUE_BEGUN, room=code)
    assert technique.performances(ledger, code) == []
    technique.begin(ledger, room=code, learner=who, ref="perform2")
    again = technique.performances(ledger, code)[0].id
    technique.mark(ledger, room=code, performance=again, sheet={**sheet, "ref": "sheet002"})
    ledger.append(Entry(Kind.DECISION_SIGNED, {"rule": "X"}, room=code, who=who))
    assert "was signed since" in refused(ledger, Kind.TECHNIQUE_MARKED, room=code)


def test_rows_taken_back_are_known_by_number(ledger: Ledger, code: str) -> None:
    """What every fold passes over is the rows named, no more."""
    classes.close_class(ledger, code, closed=True)

    def before() -> list[Kind]:
        return [row.kind for row in standing.standing(ledger, [Kind.CLASS_OPENED, Kind.CLASS_CLOSED])]

    assert before() == [Kind.CLASS_OPENED, Kind.CLASS_CLOSED]
    back(ledger, Kind.CLASS_CLOSED, room=code)
    assert before() == [Kind.CLASS_OPENED]
    assert not classes.find_class(ledger, code).closed
