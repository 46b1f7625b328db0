"""One contract for every store of the ledger: memory, SQLite file, PostgreSQL."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import sqlalchemy as sa

from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import AlreadyStoredError, Entry, ErasedPersonError, Kind, LedgerError
from hushpoint.ledger.store import open_postgres, open_sqlite

SQL = ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]


@pytest.fixture(params=["memory", *SQL])
def ledger(request, tmp_path: Path):
    """An empty ledger of each store."""
    if request.param == "memory":
        opened = MemoryLedger()
    elif request.param == "sqlite":
        opened = open_sqlite(tmp_path / "data" / "hushpoint.sqlite")
    else:
        opened = open_postgres(request.getfixturevalue("postgres_url"), tmp_path)
    yield opened
    opened.close()


@pytest.fixture(params=SQL)
def sql_ledger(request, tmp_path: Path):
    """An empty ledger of each database, with a way to alter it behind its back."""
    if request.param == "sqlite":
        opened = open_sqlite(tmp_path / "hushpoint.sqlite")
        outside = sa.create_engine(f"sqlite:///{tmp_path / 'hushpoint.sqlite'}")
    else:
        url = request.getfixturevalue("postgres_url")
        opened, outside = open_postgres(url, tmp_path), sa.create_engine(url)

    def alter(*statements: str) -> None:
        with outside.begin() as connection:
            for statement in statements:
                connection.exec_driver_sql(statement)

    yield opened, alter
    opened.close()
    outside.dispose()


def _filed(number: int, who: str = "p1", ref: str | None = None) -> Entry:
    return Entry(Kind.MEASUREMENT_FILED, {"n": number}, room="ROOM", who=who, ref=ref)


def test_rows_come_back_in_order_and_narrowed(ledger):
    """Rows are numbered from 1 and can be narrowed by everything the contract names."""
    ledger.append(_filed(1, ref="a"), _filed(2, who="p2"))
    ledger.append(Entry(Kind.CLASS_OPENED, {}, room="OTHER"))
    assert [row.seq for row in ledger.rows()] == [1, 2, 3]
    assert ledger.last() == 3
    narrowed = [
        {"after": 2},
        {"kinds": [Kind.CLASS_OPENED]},
        {"room": "ROOM"},
        {"who": "p2"},
        {"ref": "a"},
        {"limit": 1},
    ]
    assert [[row.seq for row in ledger.rows(**by)] for by in narrowed] == [[3], [3], [1, 2], [2], [1], [1]]


def test_a_ref_is_stored_once_and_the_rest_of_its_append_not_at_all(ledger):
    """The stored row comes with the refusal, and nothing of the refused append stays."""
    (first,) = ledger.append(_filed(1, ref="a"))
    with pytest.raises(AlreadyStoredError) as refused:
        ledger.append(_filed(2), _filed(3, ref="a"))
    assert refused.value.row == first
    with pytest.raises(AlreadyStoredError):
        ledger.append(_filed(4, ref="b"), _filed(5, ref="b"))
    assert ledger.last() == 1
    ledger.append(Entry(Kind.READING_CORRECTED, {}, ref="a"))
    assert ledger.verify().rows == 2


def test_eight_writers_leave_no_gap(ledger):
    """8 threads × 50 appends give 1 … 400, whole, each thread's own in its order."""

    def write(thread: int) -> list[int]:
        return [ledger.append(_filed(number, who=f"p{thread}"))[0].seq for number in range(50)]

    with ThreadPoolExecutor(8) as pool:
        seqs = list(pool.map(write, range(8)))
    assert sorted(seq for own in seqs for seq in own) == list(range(1, 401))
    assert all(own == sorted(own) for own in seqs)
    found = ledger.verify()
    assert (found.first_altered, found.rows) == (None, 400)


def test_whoever_waits_hears_of_a_row(ledger):
    """A wait ends with the row that another thread stores, and ends without one when its time is up."""
    ledger.append(_filed(1))
    ledger.newer(1, 0.0)  # whatever has to be opened first is
    assert ledger.newer(1, 0.05) == 1
    with ThreadPoolExecutor(1) as pool:
        heard = pool.submit(ledger.newer, 1, 30.0)
        ledger.append(_filed(2), _filed(3))
        assert heard.result(timeout=20) == 3
    assert ledger.newer(0, 30.0) == 3


def test_heads_tell_what_rows_are_about(ledger):
    """Number, kind and class of the rows after one, in order, no more than asked for."""
    ledger.append(_filed(1), Entry(Kind.CLASS_OPENED, {}, room="ABCD"), _filed(2))
    told = ledger.heads(after=1, limit=5)
    assert [(head.seq, head.kind, head.room) for head in told] == [
        (2, Kind.CLASS_OPENED, "ABCD"),
        (3, Kind.MEASUREMENT_FILED, "ROOM"),
    ]
    assert len(ledger.heads(after=0, limit=2)) == 2


@pytest.mark.parametrize(
    ("about", "limit", "seqs"),
    [
        (["p1"], None, [1, 3]),
        (["p1", "longer"], None, [1, 3, 4]),
        (["p1", "longer"], 2, [1, 3]),
        ([], None, []),
        (["p%"], None, []),
        (["p1", *(f"other{number}" for number in range(10_001))], 1, [1]),
    ],
)
def test_heads_of_rows_about_some_ids(ledger, about, limit, seqs):
    """Those whose ref begins with an id and a dot: not with more of a word, not the id alone, none without a ref."""
    for ref in ("p1.a", "p11.a", "p1.b", "longer.a.b", "p1", None):
        ledger.append(Entry(Kind.CLASS_OPENED, {}, room="ABCD", ref=ref))
    ledger.append(Entry(Kind.CLASS_CHANGED, {}, room="ABCD", ref="p1.c"))
    found = ledger.heads(kinds=[Kind.CLASS_OPENED], room="ABCD", about=about, limit=limit)
    assert [head.seq for head in found] == seqs


def test_of_many_who_look_first_and_store_then_one_is_in_its_turn(ledger):
    """Eight threads look whether anything is stored and store if not: in turns, one row comes of it."""

    def once(number: int) -> None:
        with ledger.turn("once"):
            if not list(ledger.rows(kinds=[Kind.CLASS_OPENED])):
                ledger.append(Entry(Kind.CLASS_OPENED, {"n": number}))

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(once, range(8)))
    assert ledger.last() == 1


def test_bodies_come_back_as_they_were(ledger):
    """Every type of JSON and both ends of 64 bits survive the store."""
    body = {"é": "\u2028🫀", "n": [2**63 - 1, -(2**63), 0.1, -0.0, 1e308], "x": {"t": True, "f": False, "none": None}}
    ledger.append(Entry(Kind.CLASS_OPENED, body))
    assert next(ledger.rows()).body == body


@pytest.mark.parametrize(
    "wrong", [2**63, -(2**63) - 1, float("nan"), float("inf"), "\x00", "\ud800", b"x", {1: 2}], ids=repr
)
def test_what_cannot_be_kept_is_refused_in_one_line(ledger, wrong):
    """A body that would not come back as it was is refused and nothing of its append is stored."""
    with pytest.raises(LedgerError) as refused:
        ledger.append(_filed(1), Entry(Kind.CLASS_OPENED, {"value": wrong}))
    assert "\n" not in str(refused.value)
    assert ledger.last() == 0


@pytest.mark.parametrize("column", ["room", "who", "ref"])
@pytest.mark.parametrize("text", ["\x00", "\ud800"], ids=["nul", "half"])
def test_columns_that_cannot_be_kept_are_refused(ledger, column, text):
    """The columns beside the body meet the same limits as texts in it."""
    with pytest.raises(LedgerError, match=column):
        ledger.append(Entry(Kind.CLASS_OPENED, {}, **{column: text}))
    assert ledger.last() == 0


def test_a_body_nested_too_deeply_is_refused(ledger):
    """Depth beyond the interpreter's reach is one clear line."""
    body: dict = {}
    for _ in range(100_000):
        body = {"d": body}
    with pytest.raises(LedgerError, match="nested"):
        ledger.append(Entry(Kind.CLASS_OPENED, body))


def test_erasing_a_person_takes_their_payloads_only_and_stays_whole(ledger):
    """Erased rows keep their place, others their payload, and verify counts them as erased."""
    ledger.append(_filed(1), _filed(2, who="p2"), _filed(3))
    assert ledger.erase("p1", why="asked") == 2
    assert [row.body for row in ledger.rows()] == [None, {"n": 2}, None, {"erased": [1, 3], "why": "asked"}]
    found = ledger.verify()
    assert (found.first_altered, found.erased, found.rows) == (None, 2, 4)
    assert ledger.erase("p1", why="again") == 0
    with pytest.raises(LedgerError, match="who"):
        ledger.erase("", why="nobody")


def test_nothing_more_is_kept_about_an_erased_person(ledger):
    """What was on its way when a person was erased is refused, whole, and others go on."""
    ledger.append(_filed(1))
    ledger.erase("p1", why="asked")
    with pytest.raises(ErasedPersonError, match="erased"):
        ledger.append(_filed(2, who="p2"), _filed(3))
    assert ledger.last() == 2
    assert [row.seq for row in ledger.append(_filed(2, who="p2"))] == [3]


def test_of_many_who_set_a_setting_once_one_wins(ledger):
    """Eight at the same time are all told the same text, and it stands."""
    with ThreadPoolExecutor(8) as pool:
        told = list(pool.map(lambda number: ledger.keep_setting("once", f"text {number}"), range(8)))
    assert set(told) == {ledger.setting("once")}
    assert ledger.keep_setting("once", "later") == told[0]


@pytest.mark.parametrize("text", ["\x00", "\ud800"])
def test_texts_that_no_row_can_hold_find_nothing(ledger, text):
    """Asked for by NUL or half a character, a store answers with no rows."""
    ledger.append(_filed(1, ref="a"))
    assert [*ledger.rows(who=text), *ledger.rows(room=text), *ledger.rows(ref=text)] == []


def test_settings_are_replaced(ledger):
    """A setting is None until set, then the newest text."""
    assert ledger.setting("k") is None
    ledger.set_setting("k", "a")
    ledger.set_setting("k", "b")
    assert ledger.setting("k") == "b"


ALTERATIONS = {
    "at": "UPDATE journal SET at = 'x' WHERE seq = 3",
    "kind": "UPDATE journal SET kind = 'reading.corrected' WHERE seq = 3",
    "kind unknown": "UPDATE journal SET kind = 'x' WHERE seq = 3",
    "version": "UPDATE journal SET version = 9 WHERE seq = 3",
    "room": "UPDATE journal SET room = 'x' WHERE seq = 3",
    "who": "UPDATE journal SET who = 'x' WHERE seq = 3",
    "ref": "UPDATE journal SET ref = 'x' WHERE seq = 3",
    "digest": "UPDATE journal SET digest = 'x' WHERE seq = 3",
    "chain": "UPDATE journal SET chain = 'x' WHERE seq = 3",
    "salt": "UPDATE payload SET salt = 'x' WHERE seq = 3",
    "body": "UPDATE payload SET body = '{\"n\":9}' WHERE seq = 3",
    "body no JSON": "UPDATE payload SET body = '{' WHERE seq = 3",
    "payload gone": "DELETE FROM payload WHERE seq = 3",
}


@pytest.mark.parametrize("what", ALTERATIONS)
def test_every_altered_column_is_found_at_its_row(sql_ledger, what):
    """Verify names row 3, also where row 1 was erased by a row after the alteration."""
    ledger, alter = sql_ledger
    ledger.append(_filed(1), *(_filed(number, who="p2") for number in (2, 3, 4)))
    ledger.erase("p1", why="asked")
    assert ledger.verify().first_altered is None
    alter(ALTERATIONS[what])
    assert ledger.verify().first_altered == 3


def test_a_row_turned_into_an_erasure_names_nothing(sql_ledger):
    """Behind an altered row, a row whose kind became person.erased is passed over; the altered one is named."""
    ledger, alter = sql_ledger
    ledger.append(*(_filed(number) for number in range(1, 4)))
    alter("UPDATE journal SET at = 'x' WHERE seq = 1", "UPDATE journal SET kind = 'person.erased' WHERE seq = 3")
    assert ledger.verify().first_altered == 1


def test_a_row_taken_out_or_moved_is_found(sql_ledger):
    """A missing row is named by its number; two rows that changed places by the first of them."""
    ledger, alter = sql_ledger
    ledger.append(*(_filed(number) for number in range(1, 6)))
    alter("DELETE FROM payload WHERE seq = 4", "DELETE FROM journal WHERE seq = 4")
    assert ledger.verify().first_altered == 4
    alter(
        "DELETE FROM payload",
        "UPDATE journal SET seq = 99 WHERE seq = 1",
        "UPDATE journal SET seq = 1 WHERE seq = 2",
        "UPDATE journal SET seq = 2 WHERE seq = 99",
    )
    assert ledger.verify().first_altered == 1


def test_rows_cut_off_the_end_show_in_the_head_only(sql_ledger):
    """The chain of a shortened journal is whole; its head is another than the one written down."""
    ledger, alter = sql_ledger
    ledger.append(*(_filed(number) for number in range(1, 4)))
    kept = ledger.verify()
    alter("DELETE FROM payload WHERE seq = 3", "DELETE FROM journal WHERE seq = 3")
    found = ledger.verify()
    assert found.first_altered is None
    assert (found.rows, found.head == kept.head) == (2, False)
