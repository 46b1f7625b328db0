"""Any JSON body survives; any changed byte of a payload is found."""

from __future__ import annotations

import sqlite3

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hushpoint.ledger.records import Entry, Kind, LedgerError
from hushpoint.ledger.store import open_postgres, open_sqlite

TEXTS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=20)
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
