"""The acts of a class: open, list, join, close, board, wall, erase."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext

import pytest

from hushpoint.desk import classes
from hushpoint.errors import BadInputError, NotAllowedError, NotFoundError
from hushpoint.ledger.records import Entry, Kind, Ledger
from hushpoint.ledger.store import open_sqlite


@pytest.fixture
def code(ledger: Ledger) -> str:
    """The code of an open class."""
    return classes.open_class(ledger, name="Group A", policy_id="PALPATED_30")


def board_of(ledger: Ledger, code: str) -> classes.Board:
    """Return the class's board as the journal has it now."""
    board = classes.Board()
    board.take(classes.board_rows(ledger, code, 0, ledger.last()))
    return board


def measured(ledger: Ledger, code: str, who: str, systolic: float | None, diastolic: float | None = 0.0) -> None:
    """Append one filed and judged measurement with these ear errors [mmHg]."""
    reading = {"systolic": 120, "diastolic": 80, "muffling": None}
    ear = {"systolic_error_mmhg": systolic, "diastolic_error_mmhg": diastolic}
    judgement = {"ear": ear, "hand": {"segments": [{"rate_mmhg_per_s": 2.5}]}, "next": "Next: another person."}
    ledger.append(
        Entry(Kind.MEASUREMENT_FILED, {"log": {"reading": reading}}, room=code, who=who),
        Entry(Kind.MEASUREMENT_JUDGED, {"judgement": judgement}, room=code, who=who),
    )


def test_a_class_has_a_code_of_four_consonants(ledger: Ledger, code: str) -> None:
    """The code is found however it is typed; it is a class's own."""
    assert re.fullmatch("[BCDFGHJKLMNPQRSTVWXZ]{4}", code)
    found = classes.find_class(ledger, f"  {code.lower()} ")
    assert (found.code, found.name, found.policy_id, found.closed) == (code, "Group A", "PALPATED_30", False)
    other = classes.open_class(ledger, name="Group B", policy_id="FIXED_180")
    assert [one.name for one in classes.all_classes(ledger)] == ["Group B", "Group A"]
    assert other != code


def test_a_code_that_is_taken_is_never_given_twice(ledger: Ledger, code: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawing a code that another class has, a new one is drawn."""
    draws = iter([code, code, "XXXX"])
    monkeypatch.setattr(classes, "_code", lambda: next(draws))
    assert classes.open_class(ledger, name="Group B", policy_id="PALPATED_30") == "XXXX"
    assert classes.find_class(ledger, code).name == "Group A"


@pytest.mark.parametrize("typed", ["", " ", "ZZZZ", "ABCDE", "\x00", "\ud800", "ROOM; --", "%"])
def test_what_is_no_code_finds_no_class(ledger: Ledger, code: str, typed: str) -> None:
    """One clear line for whatever is typed."""
    with pytest.raises(NotFoundError, match="four letters"):
        classes.find_class(ledger, typed)


@pytest.mark.parametrize(
    "name",
    [
        "",
        "   ",
        "x" * 81,
        "\x00",
        "Ines\x07",
        "\u202esenI",
        "Ines\u200b",
        "\ufeffInes",
        "\ue000",
        "\ud800",
        "...",
        "\u200d",
    ],
)
def test_names_that_cannot_be_told_apart_by_eye_are_refused(ledger: Ledger, code: str, name: str) -> None:
    """Empty, long, invisible, turned round: refused in one line without the name, nothing written."""
    before = ledger.last()
    for act in (
        lambda: classes.join(ledger, room=code, name=name),
        lambda: classes.add_roster(ledger, room=code, names=["Tomo", name]),
        lambda: classes.open_class(ledger, name=name, policy_id="PALPATED_30"),
    ):
        with pytest.raises(BadInputError) as refusal:
            act()
        assert len(str(refusal.value).splitlines()) == 1
        assert "Ines" not in str(refusal.value)
    assert ledger.last() == before


@pytest.mark.parametrize("name", ["Åsa", "O'Brien-Ňu", "王小明", "نور\u200cا", "Ines 2", "x" * 80])
def test_names_of_all_scripts_are_taken(ledger: Ledger, code: str, name: str) -> None:
    """Letters of any script, joiners that a script needs, up to eighty characters."""
    assert classes.name_of(ledger, code, classes.join(ledger, room=code, name=name)) == name


def test_a_listed_name_becomes_that_person(ledger: Ledger, code: str) -> None:
    """Case, stray spaces and how an accent is put together make no other person."""
    assert classes.add_roster(ledger, room=code, names=["Åsa  Invented", "Tomo Invented"]) == 2
    listed = {row.who for row in ledger.rows(kinds=[Kind.ROSTER_ADDED])}
    who = classes.join(ledger, room=code, name=" A\u030aSA invented")
    assert who in listed
    assert [line.joined for line in board_of(ledger, code).lines.values()].count(True) == 1


def test_a_name_that_has_joined_asks_first(ledger: Ledger, code: str) -> None:
    """The same name again needs the word of the first device; each coming in is on the board."""
    who = classes.join(ledger, room=code, name="Ines")
    before = ledger.last()
    for word in ("", "  "):
        with pytest.raises(classes.NameTakenError, match="first device"):
            classes.join(ledger, room=code, name="ines", word=word)
    own = classes.word_of(ledger, code, who)
    for word in ("BBBB", own[::-1] + "B", "\N{LATIN CAPITAL LETTER A WITH RING ABOVE}"):
        with pytest.raises(BadInputError, match="not the word"):
            classes.join(ledger, room=code, name="ines", word=word)
    assert ledger.last() == before
    measured(ledger, code, who, 2.0)
    assert classes.join(ledger, room=code, name="INES", word=f" {own.lower()} ") == who
    (line,) = board_of(ledger, code).lines.values()
    assert (line.came_in, line.doing, line.readings) == (2, "judged", 1)
    elsewhere = classes.open_class(ledger, name="Group B", policy_id="PALPATED_30")
    assert classes.join(ledger, room=elsewhere, name="Ines") != who


def test_two_joins_with_one_name_at_once_make_one_person(ledger: Ledger, code: str) -> None:
    """Of eight at the same time one joins, the others are asked whether they are the same."""

    def one_join(_: int) -> str | None:
        try:
            return classes.join(ledger, room=code, name="Ines")
        except classes.NameTakenError:
            return None

    with ThreadPoolExecutor(8) as pool:
        came = [who for who in pool.map(one_join, range(8)) if who is not None]
    assert len(came) == 1
    assert len(board_of(ledger, code).lines) == 1


def test_names_are_one_across_processes_that_know_nothing_of_each_other(tmp_path) -> None:
    """Two servers on one file, each with its own lock: the ledger itself keeps each place of the list once."""
    ledgers = [open_sqlite(tmp_path / "one.sqlite") for _ in range(4)]
    for one in ledgers:
        one.turn = lambda _what: nullcontext()  # type: ignore[method-assign, assignment]
    code = classes.open_class(ledgers[0], name="Group A", policy_id="PALPATED_30")

    def act(number: int) -> str:
        ledger = ledgers[number % 4]
        if number % 2:
            classes.add_roster(ledger, room=code, names=["Ines", "Tomo"])
            return ""
        try:
            return classes.join(ledger, room=code, name="Ines")
        except classes.NameTakenError:
            return ""

    with ThreadPoolExecutor(8) as pool:
        came = [who for who in pool.map(act, range(16)) if who]
    names = [row.body["name"] for row in ledgers[0].rows(kinds=[Kind.ROSTER_ADDED]) if row.body]
    assert sorted(names) == ["Ines", "Tomo"]
    assert len(came) == 1
    for one in ledgers:
        one.close()


def test_let_in_again_signs_devices_out_and_takes_the_next(ledger: Ledger, code: str) -> None:
    """The next device needs no word, in a closed class too; the one before is out, the old word opens nothing."""
    who = classes.join(ledger, room=code, name="Ines")
    first, word = classes.came_in_with(ledger, code, who), classes.word_of(ledger, code, who)
    assert classes.still_in(ledger, code, who, first)
    classes.close_class(ledger, code, closed=True)
    assert classes.end_devices(ledger, room=code, who=who) == 1
    assert not classes.still_in(ledger, code, who, first)
    assert classes.join(ledger, room=code, name="Ines") == who
    assert classes.still_in(ledger, code, who, classes.came_in_with(ledger, code, who))
    assert not classes.still_in(ledger, code, who, first)
    with pytest.raises(BadInputError):
        classes.join(ledger, room=code, name="Ines", word=word)
    (line,) = board_of(ledger, code).lines.values()
    assert line.came_in == 1
    classes.close_class(ledger, code, closed=False)
    tomo = classes.join(ledger, room=code, name="Tomo")
    assert classes.end_devices(ledger, room=code) == 2
    assert classes.end_devices(ledger, room=code) == 0
    assert classes.join(ledger, room=code, name="Tomo") == tomo
    with pytest.raises(NotFoundError):
        classes.end_devices(ledger, room=code, who="nobody")


def test_who_practises_alone_can_be_erased(ledger: Ledger, code: str) -> None:
    """Listed by when they began; erased, the journal says so and takes nothing more of them; class people are not."""
    one, two = classes.join_alone(ledger), classes.join_alone(ledger)
    ledger.append(Entry(Kind.MEASUREMENT_FILED, {"log": {}}, who=one, ref="m"))
    assert [(lone.who, lone.readings) for lone in classes.lone_learners(ledger)] == [(two, 0), (one, 1)]
    assert classes.erase_lone(ledger, who=one, why="asked") == 2
    assert [lone.who for lone in classes.lone_learners(ledger)] == [two]
    assert (ledger.verify().erased, ledger.verify().first_altered) == (2, None)
    who = classes.join(ledger, room=code, name="Ines")
    for gone in (one, who, "nobody"):
        with pytest.raises(NotFoundError):
            classes.erase_lone(ledger, who=gone, why="asked")


def test_a_list_added_twice_or_by_two_is_there_once(ledger: Ledger, code: str) -> None:
    """Names on the list are passed over, within one list and across lists added at the same time."""
    names = [f"Learner {number}" for number in range(10)]
    assert classes.add_roster(ledger, room=code, names=["Learner 0", "LEARNER 0"]) == 1
    with ThreadPoolExecutor(4) as pool:
        added = list(pool.map(lambda _: classes.add_roster(ledger, room=code, names=names), range(4)))
    assert sorted(added) == [0, 0, 0, 9]
    assert sorted(line.name for line in board_of(ledger, code).lines.values()) == sorted(names)


def test_a_class_holds_no_more_than_its_most(ledger: Ledger, code: str) -> None:
    """Neither a list nor a newcomer goes beyond; who is on the list still comes in."""
    names = [f"Learner {number}" for number in range(classes.MOST_LEARNERS)]
    assert classes.add_roster(ledger, room=code, names=names) == classes.MOST_LEARNERS
    with pytest.raises(BadInputError, match="500"):
        classes.add_roster(ledger, room=code, names=["One More"])
    with pytest.raises(NotAllowedError, match="full"):
        classes.join(ledger, room=code, name="One More")
    assert classes.join(ledger, room=code, name="Learner 7")


def test_a_closed_class_takes_nobody_until_opened_again(ledger: Ledger, code: str) -> None:
    """Closing twice is one row; a refused join writes nothing; who has joined before comes back on another device."""
    tomo = classes.join(ledger, room=code, name="Tomo")
    for _ in range(2):
        classes.close_class(ledger, f" {code.lower()}", closed=True)
    before = ledger.last()
    assert [row.room for row in ledger.rows(kinds=[Kind.CLASS_CLOSED])] == [code]
    with pytest.raises(NotAllowedError, match="closed"):
        classes.join(ledger, room=code, name="Ines")
    assert ledger.last() == before
    assert classes.join(ledger, room=code, name="Tomo", word=classes.word_of(ledger, code, tomo)) == tomo
    assert classes.all_classes(ledger)[0].closed
    classes.close_class(ledger, code, closed=False)
    assert classes.join(ledger, room=code, name="Ines")


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("Ines\nTomo", [(1, "Ines", ""), (2, "Tomo", "")]),
        ("name\r\nInes\r\n\r\n  Tomo  ", [(2, "Ines", ""), (4, "Tomo", "")]),
        ("Ines\rTomo", [(1, "Ines", ""), (2, "Tomo", "")]),
        ("Name,group\nInes,1\nTomo,2", [(2, "Ines", ""), (3, "Tomo", "")]),
        ("Invented, Ines;1\nInvented, Tomo;2", [(1, "Invented, Ines", ""), (2, "Invented, Tomo", "")]),
        ("Invented, Ines\t1;2", [(1, "Invented, Ines", "")]),
        ('"Invented, Ines",1', [(1, "Invented, Ines", "")]),
        ("Ines\nINES", [(1, "Ines", ""), (2, "INES", "twice")]),
        ("Ines\n" + "x" * 90, [(1, "Ines", ""), (2, "x" * 81, "1 to 80")]),
        ("Ines\n\u202eomoT", [(1, "Ines", ""), (2, "\ufffdomoT", "printed")]),
        ('Ines\n"Tomo\nBram', [(1, "Ines", ""), (3, "", "quotation marks")]),
        ("", []),
        ("name\n\n", []),
    ],
)
def test_a_list_is_read_row_by_row(text: str, rows: list[tuple[int, str, str]]) -> None:
    """Lines or columns; what is wrong is told by row, and no name is lost in the next one."""
    found = classes.parse_roster(text)
    assert [(row.number, row.name) for row in found] == [(number, name) for number, name, _ in rows]
    for row, (_, _, problem) in zip(found, rows, strict=True):
        assert problem in row.problem
        assert bool(problem) == bool(row.problem)


def test_a_list_that_is_too_long_is_one_problem() -> None:
    """501 names are told in one row, not in 501."""
    (row,) = classes.parse_roster("\n".join(f"Learner {number}" for number in range(501)))
    assert "500" in row.problem


def test_board_puts_those_who_need_the_lecturer_first(ledger: Ledger, code: str) -> None:
    """Furthest off, then withheld as 10, then fewest readings, then by name; corrected readings are shown."""
    who = {
        name: classes.join(ledger, room=code, name=name) for name in ("Near", "Far", "Withheld", "Busy", "New", "Anew")
    }
    measured(ledger, code, who["Near"], 2.0, -1.0)
    measured(ledger, code, who["Far"], 1.0, -22.0)
    measured(ledger, code, who["Withheld"], None, 1.0)
    measured(ledger, code, who["Busy"], 40.0)
    ledger.append(Entry(Kind.MEASUREMENT_BEGUN, {"seed": 1}, room=code, who=who["Busy"]))
    fixed = {"reading": {"systolic": 130, "diastolic": 84, "muffling": None}}
    ledger.append(Entry(Kind.READING_CORRECTED, fixed, room=code, who=who["Near"]))
    lines = board_of(ledger, code).in_order()
    assert [line.name for line in lines] == ["Far", "Withheld", "Near", "Anew", "New", "Busy"]
    assert [line.needs_mmhg for line in lines] == [22.0, 10.0, 2.0, 0.0, 0.0, 0.0]
    assert [line.doing for line in lines] == ["judged", "judged", "judged", "in", "in", "setting up"]
    assert lines[2].reading == fixed["reading"]


def test_wall_hides_the_spread_under_five_people(ledger: Ledger, code: str) -> None:
    """Many readings of four people show no spread; the fifth person brings it; erasing one hides it again."""
    people = [classes.join(ledger, room=code, name=f"Learner {number}") for number in range(5)]
    for who in people[:4] * 3:
        measured(ledger, code, who, 4.0)
    four = board_of(ledger, code).wall()
    assert (four["systolic"], four["diastolic"]) == (None, None)
    assert (four["joined"], four["measured"], four["readings"]) == (5, 4, 12)
    measured(ledger, code, people[4], -37.0, None)
    five = board_of(ledger, code).wall()
    assert dict(five["systolic"])[4] == 12
    assert dict(five["systolic"])[-10] == 1
    assert sum(count for _, count in five["systolic"]) == 13
    assert five["diastolic"] is None
    told = json.dumps(five)
    assert not any(who in told for who in people)
    assert "Learner" not in told
    classes.erase_learner(ledger, room=code, who=people[0], why="asked")
    assert board_of(ledger, code).wall()["systolic"] is None


def test_erasing_takes_one_learner_from_everything(ledger: Ledger, code: str) -> None:
    """Name, readings and board line go, others stay, the journal verifies, and the name may join anew."""
    ines, tomo = (classes.join(ledger, room=code, name=name) for name in ("Ines", "Tomo"))
    measured(ledger, code, ines, 4.0)
    measured(ledger, code, tomo, 2.0)
    elsewhere = classes.open_class(ledger, name="Group B", policy_id="PALPATED_30")
    with pytest.raises(NotFoundError):
        classes.erase_learner(ledger, room=elsewhere, who=ines, why="asked")
    assert classes.erase_learner(ledger, room=code, who=ines, why="asked") == 4
    board = board_of(ledger, code)
    assert [line.name for line in board.lines.values()] == ["Tomo"]
    assert [who for who, _, _ in board.errors_mmhg] == [tomo]
    assert not any(row.body and "Ines" in json.dumps(row.body) for row in ledger.rows())
    assert ledger.verify().first_altered is None
    with pytest.raises(NotFoundError):
        classes.name_of(ledger, code, ines)
    with pytest.raises(NotFoundError, match="erased"):
        measured(ledger, code, ines, 4.0)
    assert classes.join(ledger, room=code, name="Ines") not in {ines, tomo}


def test_the_reason_for_erasing_holds_no_name(ledger: Ledger, code: str) -> None:
    """The reason outlives the erasure, so the name in it is refused and nothing is erased."""
    ines = classes.join(ledger, room=code, name="Ines Invented")
    for why in ("Because ines invented asked", "", "x" * 81):
        with pytest.raises(BadInputError, match="why"):
            classes.erase_learner(ledger, room=code, who=ines, why=why)
    assert classes.name_of(ledger, code, ines) == "Ines Invented"


def test_a_board_brought_up_to_date_equals_one_folded_whole(ledger: Ledger, code: str) -> None:
    """Taken in pieces, with an erasure in between, the board is the same as from the first row."""
    board = classes.Board()
    people = []
    for number in range(3):
        people.append(classes.join(ledger, room=code, name=f"Learner {number}"))
        measured(ledger, code, people[-1], 2.0 * number)
        board.take(classes.board_rows(ledger, code, board.seq, ledger.last()))
    classes.erase_learner(ledger, room=code, who=people[1], why="asked")
    board.take(classes.board_rows(ledger, code, board.seq, ledger.last()))
    assert board == board_of(ledger, code)
    assert len(board.lines) == 2


class _Restless:
    """A ledger to which others go on writing between two reads."""

    def __init__(self, ledger: Ledger, code: str) -> None:
        self._ledger, self._code = ledger, code

    def last(self) -> int:
        return self._ledger.last()

    def rows(self, **asked: object) -> Iterator[object]:
        yield from self._ledger.rows(**asked)  # type: ignore[arg-type]
        who = classes.join(self._ledger, room=self._code, name=f"Late {self._ledger.last()}")
        self._ledger.erase(who, why="asked")


def test_rows_that_come_while_the_board_is_read_are_not_lost(ledger: Ledger, code: str) -> None:
    """Whatever is stored between the two reads comes whole with the next reading, never in part."""
    classes.join(ledger, room=code, name="Ines")
    up_to = ledger.last()
    rows = list(classes.board_rows(_Restless(ledger, code), code, 0, up_to))  # type: ignore[arg-type]
    later = list(classes.board_rows(ledger, code, rows[-1].seq, ledger.last()))
    assert rows[-1].seq == up_to
    assert len(later) > 0
    assert [row.seq for row in (*rows, *later)] == list(range(2, ledger.last() + 1))


def test_practising_alone_keeps_no_name(ledger: Ledger) -> None:
    """An id, no class, no name."""
    who = classes.join_alone(ledger)
    assert classes.name_of(ledger, classes.ALONE, who) == ""
    assert classes.all_classes(ledger) == []
