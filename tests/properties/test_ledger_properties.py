"""Any JSON body survives; any changed byte of a payload is found."""

from __future__ import annotations

import sqlite3

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hushpoint.ledger.records import Entry, Kind, LedgerError
from hushpoint.ledger.store import open_postgres, open_sqlite
from hushpoint.ledger.tables import payload

LETTERS = st.characters(exclude_categories=["Cs"], exclude_characters="\x00")
TEXTS = st.text(LETTERS, max_size=20)
SCALARS = (
    st.none() | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False, allow_infinity=False)
)
JSON = st.recursive(
    SCALARS | TEXTS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4)
)
BODIES = st.dictionaries(TEXTS, JSON, max_size=4)
SAME_STORE = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def ledger(request, tmp_path):
    """A ledger on each database."""
    if request.param == "sqlite":
        opened = open_sqlite(tmp_path / "l.sqlite")
    else:
        opened = open_postgres(request.getfixturevalue("postgres_url"), tmp_path)
    yield opened
    opened.close()


@SAME_STORE
@given(body=BODIES)
def test_any_body_comes_back_as_it_was(ledger, body):
    """What is read equals what was appended, and the journal stays whole."""
    (row,) = ledger.append(Entry(Kind.CLASS_OPENED, body))
    assert next(ledger.rows(after=row.seq - 1)).body == body
    assert ledger.verify().first_altered is None


@SAME_STORE
@given(body=BODIES, data=st.data())
def test_any_changed_byte_of_a_payload_is_found(tmp_path, body, data):
    """One byte of the newest payload altered in the file: verify names that row, or the file cannot be read."""
    path = tmp_path / "l.sqlite"
    ledger = open_sqlite(path)
    (row,) = ledger.append(Entry(Kind.CLASS_OPENED, body))
    outside = sqlite3.connect(path)
    (whole,) = outside.execute("SELECT CAST(body AS BLOB) FROM payload WHERE seq = ?", [row.seq]).fetchone()
    place = data.draw(st.integers(0, len(whole) - 1))
    altered = bytearray(whole)
    altered[place] ^= data.draw(st.integers(1, 255))
    change = "UPDATE payload SET body = CAST(? AS TEXT) WHERE seq = ?"
    outside.execute(change, [bytes(altered), row.seq])
    outside.commit()
    try:
        assert ledger.verify().first_altered == row.seq
    except LedgerError as refused:
        assert "UTF-8" in str(refused)  # noqa: PT017 - either answer is right, silence is not
    outside.execute(change, [whole, row.seq])
    outside.commit()
    outside.close()
    assert ledger.verify().first_altered is None
    ledger.close()


@pytest.mark.postgres
@SAME_STORE
@given(body=BODIES, data=st.data())
def test_any_changed_letter_of_a_payload_is_found_on_postgres(postgres_url, tmp_path, body, data):
    """One letter of the newest payload altered in the table: verify names that row."""
    ledger, outside = open_postgres(postgres_url, tmp_path), sa.create_engine(postgres_url)
    (row,) = ledger.append(Entry(Kind.CLASS_OPENED, body))
    change = sa.update(payload).where(payload.c.seq == row.seq)
    with outside.begin() as connection:
        whole = connection.execute(sa.select(payload.c.body).where(payload.c.seq == row.seq)).scalar_one()
        place = data.draw(st.integers(0, len(whole) - 1))
        other = data.draw(LETTERS.filter(lambda letter: letter != whole[place]))
        connection.execute(change.values(body=whole[:place] + other + whole[place + 1 :]))
    assert ledger.verify().first_altered == row.seq
    with outside.begin() as connection:
        connection.execute(change.values(body=whole))
    assert ledger.verify().first_altered is None
    ledger.close()
    outside.dispose()
