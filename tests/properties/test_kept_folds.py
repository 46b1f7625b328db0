"""What is kept of a class and brought up to date is what a fresh fold gives, whatever was stored or erased between."""

from __future__ import annotations

from contextlib import suppress
from functools import partial

from hypothesis import given, settings
from hypothesis import strategies as st

from hushpoint.desk import classes, evidence, pairs
from hushpoint.desk.kept import Kept
from hushpoint.errors import HushpointError
from hushpoint.ledger.frozen import FrozenLedger
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Entry, Kind, Ledger

LEARNERS = ("Ines Invented", "Jon Invented", "Kim Invented")
ACTS = ("open", "by a learner", "seal mine", "seal theirs", "take back", "correct", "cancel", "file", "erase", "look")


def _act(ledger: Ledger, room: str, people: list[str], what: str, number: int, chosen: int) -> None:
    """Do one act of a class where it can be done now; what cannot is refused and stores nothing."""
    who = people[chosen % len(people)]
    book = list(pairs.book_of(ledger, room).pairs.values())
    pair = book[chosen % len(book)] if book else None
    if what == "open":
        pairs.open_pair(ledger, room=room, opening=pairs.Opening(who))
    elif what == "by a learner":
        pairs.open_pair(ledger, room=room, opening=pairs.Opening(who, people[(chosen + 1) % len(people)]))
    elif what == "file":
        reading = {"systolic": 120, "diastolic": 80, "muffling": None}
        ledger.append(Entry(Kind.MEASUREMENT_FILED, {"log": {"reading": reading}}, room=room, who=who))
    elif what == "erase":
        classes.erase_learner(ledger, room=room, who=who, why="asked for")
    elif pair is not None:
        observer = pair.opening.learner if what == "seal mine" else pair.opening.reference
        numbers = {"systolic": 120 + 2 * number, "diastolic": 80}
        told = {"room": room, "pair": pair.id, "observer": observer, "ref": f"r{number}"}
        if what in ("seal mine", "seal theirs"):
            pairs.seal(ledger, **told, **numbers)
        elif what == "take back":
            pairs.take_back(ledger, **{**told, "ref": pair.side(observer).ref or "r0"})
        elif what == "correct":
            pairs.correct(ledger, **told, **numbers, by=observer, why="slipped a line")
        elif what == "cancel":
            pairs.cancel(ledger, room=room, pair=pair.id, cancelled=pair.state != "cancelled", why="cuff slipped")


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(ACTS), st.integers(0, 5)), min_size=8, max_size=40))
def test_kept_is_folded_anew(drawn: list[tuple[str, int]]) -> None:
    """Board and pairs of a class, and the pairs of each learner read alone, after any acts and looks between them."""
    ledger = MemoryLedger()
    room = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    people = [classes.join(ledger, room=room, name=name) for name in LEARNERS]
    boards = Kept(ledger, classes.Board, classes.board_rows)
    for number, (what, chosen) in enumerate(drawn):
        if what == "look":
            boards.now(room)
            continue
        with suppress(HushpointError):
            _act(ledger, room, people, what, number, chosen)
    fresh_board, fresh_book = classes.Board(), pairs.Book()
    fresh_board.take(classes.board_rows(ledger, room, 0, ledger.last()))
    fresh_book.take(classes.board_rows(ledger, room, 0, ledger.last(), kinds=pairs.KINDS))
    assert boards.now(room) == fresh_board
    assert pairs.book_of(ledger, room) == fresh_book
    for who in people:
        alone = pairs.Book()
        alone.take(pairs.rows_of(ledger, room, who))
        assert alone.of(who) == fresh_book.of(who) == pairs.of_learner(ledger, room, who)
        part = FrozenLedger(evidence.rows_of(ledger, room, who))
        assert pairs.book_of(part, room).of(who) == fresh_book.of(who)


def test_a_learner_is_read_alone_before_the_class_is_held() -> None:
    """Nothing of a class is held yet: one learner's pairs are read without it, and the class stays unread."""
    ledger = MemoryLedger()
    room = classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")
    people = [classes.join(ledger, room=room, name=name) for name in LEARNERS]
    for who in people:
        pairs.open_pair(ledger, room=room, opening=pairs.Opening(who))
    assert [one.opening.learner for one in pairs.of_learner(ledger, room, people[0])] == [people[0]]
    assert pairs.books_of(ledger).at_hand(room) is None
    read = Kept(ledger, pairs.Book, partial(classes.board_rows, kinds=pairs.KINDS))
    assert read.now(room) == read.at_hand(room)
