"""The ledger on SQLite or PostgreSQL, by SQLAlchemy Core.

SQLite: write-ahead log, synchronous FULL, foreign keys on, BEGIN IMMEDIATE for every write, so that a reader that
goes on to write never meets "locked". PostgreSQL: the journal is locked against other writers for the length of one
append, so that row numbers follow commit order without gaps.
"""

from __future__ import annotations

import json
import sqlite3
import threading
import time
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from hushpoint.ledger.chain import ERASED, GENESIS, check_person, entry_text, seal
from hushpoint.ledger.identity import (
    SEALED_KINDS,
    SETTING,
    NameKey,
    NamesLockedError,
    coded,
    identifying,
    mark_of,
    new_key,
    unwrapped,
)
from hushpoint.ledger.records import (
    AlreadyStoredError,
    Clock,
    Entry,
    ErasedPersonError,
    Head,
    Kind,
    LedgerError,
    Row,
    Sealed,
    Stored,
    Verification,
    is_about,
    utc_now,
)
from hushpoint.ledger.tables import journal, payload, setting
from hushpoint.ledger.turns import turn_here
from hushpoint.ledger.verify import erasure_entry, verify_rows

if TYPE_CHECKING:
    from hushpoint.ledger.listening import Listener

CHANNEL = "hushpoint_journal"
"""PostgreSQL's channel for news of rows: a row number and nothing else is told on it."""
_BATCH, _LARGEST_BATCH = 500, 16_000
"""Rows of the first short read of many, and of the largest: each looks for and sorts all that are left."""
_BROUGHT_IN = 5000
"""Rows of a backup that are written at once."""
_LOOK_S = 0.2
"""How often a SQLite file is looked at for rows that another process stored, such as a command beside the server."""
_MANY = 100
"""From so many records on they go into PostgreSQL by COPY."""
_MOST_ASKED = 10_000
"""So many ids go into one question; databases take three to six times as many values in one."""
_FEW_KINDS = 16
"""Up to so many kinds are looked up one by one in their own index."""
_WITH_PAYLOAD = journal.outerjoin(payload, journal.c.seq == payload.c.seq)
_COLUMNS = (*journal.c, payload.c.salt, payload.c.body, payload.c.sealed)
_KINDS = {str(kind): kind for kind in Kind}


class SqlLedger:
    """Keeps the ledger's contract in a database; `engine` is made and migrated by `hushpoint.ledger.store`."""

    def __init__(self, engine: sa.Engine, clock: Clock = utc_now, *, sealed_column: bool = True) -> None:
        """Take a database as it is; `sealed_column` is False for one older than encrypted names, to back it up."""
        self._engine = engine
        self._clock = clock
        self._grown = threading.Condition()
        self._listener: Listener | None = None
        self._names: NameKey | None = None
        self._columns = _COLUMNS if sealed_column else (*_COLUMNS[:-1], sa.null().label("sealed"))

    def append(self, *entries: Entry) -> list[Row]:
        """Store all entries or none; see `Ledger.append`."""
        if not entries:
            return []
        texts = [entry_text(entry) for entry in entries]
        with self._writing() as connection:
            rows = [stored.row for stored in self._append(connection, entries, texts)]
        with self._grown:
            self._grown.notify_all()
        return rows

    def rows(
        self,
        *,
        after: int = 0,
        kinds: Iterable[Kind] | None = None,
        room: str | None = None,
        who: str | None = None,
        ref: str | None = None,
        limit: int | None = None,
    ) -> Iterator[Row]:
        """Yield rows; see `Ledger.rows`. Rows come in batches, each its own short read."""
        if not all(_may_be_stored(text) for text in (room, who, ref) if text is not None):
            return  # no row has it, and no database will be asked for it
        wanted = None if kinds is None else sorted({str(kind) for kind in kinds})
        narrowed = [
            column == value
            for column, value in ((_room_beside(who), room), (journal.c.who, who), (journal.c.ref, ref))
            if value is not None
        ]
        by_kind = wanted is not None and len(wanted) <= _FEW_KINDS and who is None and ref is None
        left, at_once = limit, 4 * _BATCH if who else _BATCH  # a person's are few: mostly one read has them all
        while left is None or left > 0:
            size = at_once if left is None else min(at_once, left)
            query = sa.select(*self._columns).select_from(_WITH_PAYLOAD).order_by(journal.c.seq).limit(size)
            if by_kind and wanted:
                query = query.where(journal.c.seq.in_(_of_each_kind(wanted, narrowed, after, size)))
            else:
                query = query.where(journal.c.seq > after, *narrowed)
                query = query if wanted is None else query.where(journal.c.kind.in_(wanted))
            with self._reading() as connection:
                batch = connection.execute(query).all()
            for record in batch:
                yield self._stored(record).row
            if len(batch) < size:
                return
            after = batch[-1].seq
            left = None if left is None else left - len(batch)
            at_once = min(4 * at_once, _LARGEST_BATCH)

    def last(self) -> int:
        """Return the newest seq, 0 in an empty store."""
        with self._reading() as connection:
            return int(connection.execute(sa.select(sa.func.coalesce(sa.func.max(journal.c.seq), 0))).scalar_one())

    def newer(self, after: int, wait_s: float) -> int:
        """Wait for a row; see `Ledger.newer`. PostgreSQL says when there is one; a SQLite file is looked at."""
        if self._engine.dialect.name == "postgresql":
            self._hear(after, wait_s)
            return self.last()
        until = time.monotonic() + wait_s
        while (newest := self.last()) <= after and (left := until - time.monotonic()) > 0:
            with self._grown:
                self._grown.wait(min(_LOOK_S, left))
        return newest

    def heads(
        self,
        *,
        after: int = 0,
        limit: int | None = None,
        kinds: Iterable[Kind] | None = None,
        room: str | None = None,
        who: str | None = None,
        about: Collection[str] | None = None,
    ) -> list[Head]:
        """Return heads; see `Ledger.heads`."""
        query = sa.select(journal.c.seq, journal.c.kind, journal.c.room, journal.c.ref).where(journal.c.seq > after)
        if kinds is not None:
            query = query.where(journal.c.kind.in_(sorted({str(kind) for kind in kinds})))
        for column, value in ((_room_beside(who), room), (journal.c.who, who)):
            query = query if value is None else query.where(column == value)
        if about is not None and len(about) <= _MOST_ASKED:
            query, about = query.where(_about(about)), None
        with self._reading() as connection:
            found = connection.execute(query.order_by(journal.c.seq).limit(limit if about is None else None))
            heads = (Head(seq, _KINDS.get(kind, kind), where, ref) for seq, kind, where, ref in found)
            return list(islice((one for one in heads if about is None or is_about(one.ref, about)), limit))

    @contextmanager
    def turn(self, what: str) -> Iterator[None]:
        """Hold a named turn; see `Ledger.turn`. In PostgreSQL all processes are in it, of SQLite this one."""
        with turn_here(what):
            if self._engine.dialect.name != "postgresql":
                yield
                return
            try:
                connection = self._engine.connect()
            except SQLAlchemyError as error:
                raise LedgerError(_one_line(error)) from error
            with connection:
                try:
                    connection.execute(sa.text("SELECT pg_advisory_xact_lock(748292, hashtext(:what))"), {"what": what})
                except SQLAlchemyError as error:
                    raise LedgerError(_one_line(error)) from error
                yield

    def kept(self, seqs: Iterable[int], *, read: bool = True) -> list[Stored]:
        """Return these rows with salt and text; see `Ledger.kept`. Raises NamesLockedError where it cannot open one."""
        wanted = sorted(set(seqs))
        query = sa.select(*self._columns).select_from(_WITH_PAYLOAD).order_by(journal.c.seq)
        found: list[Stored] = []
        with self._reading() as connection:
            for start in range(0, len(wanted), _BATCH):
                part = query.where(journal.c.seq.in_(wanted[start : start + _BATCH]))
                found += [self._stored(record, read=read) for record in connection.execute(part)]
        if any(one.sealed is not None and one.text is None for one in found):
            raise NamesLockedError
        return found

    def erase(self, who: str, *, why: str) -> int:
        """Erase a person's payloads; see `Ledger.erase`."""
        check_person(who)
        with self._writing() as connection:
            theirs = (
                sa.select(journal.c.seq)
                .join(payload, journal.c.seq == payload.c.seq)
                .where(journal.c.who == who, journal.c.kind != str(Kind.PERSON_ERASED))
                .order_by(journal.c.seq)
            )
            seqs = [int(seq) for seq in connection.execute(theirs).scalars()]
            if seqs:
                entry = erasure_entry(who, seqs, why)
                self._append(connection, [entry], [entry_text(entry)])
                connection.execute(sa.delete(payload).where(payload.c.seq.in_(seqs)))
            return len(seqs)

    def verify(self) -> Verification:
        """Recompute every digest and the chain; payloads that belong to no row count as altered."""
        found = verify_rows(self.stored())
        if found.first_altered is None:
            with self._reading() as connection:
                orphan = connection.execute(
                    sa.select(sa.func.min(payload.c.seq)).where(payload.c.seq.not_in(sa.select(journal.c.seq)))
                ).scalar_one()
            if orphan is not None:
                return replace(found, first_altered=int(orphan), reason="a payload belongs to no row")
        return found

    def stored(self) -> Iterator[Stored]:
        """Yield every row with its salt and text in order of seq, all from one moment; what it says is not read."""
        with self._reading() as connection:
            query = sa.select(*self._columns).select_from(_WITH_PAYLOAD).order_by(journal.c.seq)
            for record in connection.execution_options(yield_per=_BATCH).execute(query):
                yield self._stored(record, read=False)

    def settings(self) -> dict[str, str]:
        """Return every named text."""
        with self._reading() as connection:
            return {record.key: record.value for record in connection.execute(sa.select(setting))}

    def setting(self, key: str) -> str | None:
        """Return a named text, None where unset."""
        with self._reading() as connection:
            return connection.execute(sa.select(setting.c.value).where(setting.c.key == key)).scalar_one_or_none()

    def set_setting(self, key: str, value: str) -> None:
        """Set a named text."""
        with self._writing() as connection:
            connection.execute(sa.delete(setting).where(setting.c.key == key))
            connection.execute(sa.insert(setting).values(key=key, value=value))

    def keep_setting(self, key: str, value: str) -> str:
        """Set a named text unless it is set already; return what stands."""
        with self._writing() as connection:
            stands = connection.execute(sa.select(setting.c.value).where(setting.c.key == key)).scalar_one_or_none()
            if stands is None:
                connection.execute(sa.insert(setting).values(key=key, value=value))
            return value if stands is None else str(stands)

    def bring_in(self, rows: Iterable[Stored], settings: dict[str, str]) -> int:
        """Fill an empty store with whole rows as they were elsewhere; verified before it is kept, all or nothing."""
        with self._writing() as connection:
            if connection.execute(sa.select(sa.func.count()).select_from(journal)).scalar_one():
                raise LedgerError("the ledger is not empty: restore into an empty one")
            # made once all rows are there: kept row by row, indexes of millions are written over and over
            for index in journal.indexes:
                index.drop(connection)
            count, left = 0, iter(rows)
            while batch := list(islice(left, _BROUGHT_IN)):
                _insert(connection, batch)
                count += len(batch)
            for index in journal.indexes:
                index.create(connection)
            for key, value in settings.items():
                connection.execute(sa.delete(setting).where(setting.c.key == key))
                connection.execute(sa.insert(setting).values(key=key, value=value))
            query = sa.select(*self._columns).select_from(_WITH_PAYLOAD).order_by(journal.c.seq)
            back = connection.execute(query, execution_options={"yield_per": _BATCH})
            found = verify_rows(self._stored(record, read=False) for record in back)
            if found.first_altered is not None:
                raise LedgerError(f"row {found.first_altered} did not come back as it was: {found.reason}")
            return count

    @property
    def names_encrypted(self) -> bool:
        """Whether names are encrypted in this ledger."""
        return self.setting(SETTING) is not None

    @property
    def names_open(self) -> bool:
        """Whether names can be read and kept here."""
        return mark_of(self.setting(SETTING)) == (self._names.mark if self._names else "")

    def open_names(self, passphrase: str) -> None:
        """Read and keep names from now on; raises LedgerError where they are not encrypted or it does not fit."""
        kept = self.setting(SETTING)
        if kept is None:
            raise LedgerError("names are not encrypted in this ledger: hushpoint encrypt turns it on")
        self._names = unwrapped(kept, passphrase)

    def encrypt_names(self, passphrase: str) -> int:
        """Encrypt names from now on and those of earlier rows in place; return how many rows that were.

        Done again with the same passphrase it goes on where it was broken off. Raises LedgerError, one line.
        """
        if self.names_encrypted:
            self.open_names(passphrase)
            return self._seal_earlier()
        key = new_key()
        return self._seal_earlier(key, key.wrapped(passphrase))

    def change_passphrase(self, passphrase: str) -> None:
        """Let another passphrase open the names, which must be open; no name is written anew."""
        if self._names is None:
            raise NamesLockedError
        self.set_setting(SETTING, self._names.wrapped(passphrase))

    def give_up_names(self, passphrase: str) -> None:
        """Begin with a new key after the passphrase was lost: what the old one sealed stays unreadable for good."""
        if not self.names_encrypted:
            raise LedgerError("names are not encrypted in this ledger: no passphrase can be lost")
        key = new_key()
        self.set_setting(SETTING, key.wrapped(passphrase))
        self._names = key

    def _seal_earlier(self, key: NameKey | None = None, wrapped: str = "") -> int:
        """Seal what lies open, and keep the key in the same act where it is a new one."""
        query = sa.select(*self._columns).select_from(_WITH_PAYLOAD).order_by(journal.c.seq)
        query = query.where(journal.c.kind.in_(map(str, SEALED_KINDS)), payload.c.sealed.is_(None))
        count, after = 0, 0
        with self._writing() as connection:
            if key is not None:
                if connection.execute(sa.select(setting.c.key).where(setting.c.key == SETTING)).first() is not None:
                    raise LedgerError("names were encrypted by somebody else at this moment: try again")
                connection.execute(sa.insert(setting).values(key=SETTING, value=wrapped))
            names = key or self._names
            while names and (batch := connection.execute(query.where(journal.c.seq > after).limit(_BATCH)).all()):
                after = batch[-1].seq
                for record in batch:
                    sealed = names.seal(self._stored(record))
                    if sealed is not None:
                        kept = {"salt": "", "body": sealed.text, "sealed": sealed.secret}
                        connection.execute(sa.update(payload).where(payload.c.seq == record.seq).values(**kept))
                        count += 1
        self._names = names
        return count

    def scrub(self) -> bool:
        """Write the store's files anew without what was overwritten; False where another program holds them open."""
        try:
            if self._engine.dialect.name == "postgresql":
                with self._engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                    connection.exec_driver_sql("VACUUM FULL payload")
                return True
            raw = self._engine.raw_connection()
            try:
                raw.execute("VACUUM")
                busy = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
            finally:
                raw.close()
        except sqlite3.OperationalError as error:
            if "locked" in str(error):
                return False
            raise LedgerError(f"the ledger's files could not be written anew: {error}") from error
        except SQLAlchemyError as error:
            raise LedgerError(_one_line(error)) from error
        return not busy

    def close(self) -> None:
        """Let go of every connection."""
        if self._listener is not None:
            self._listener.close()
            with (
                suppress(LedgerError),
                self._reading() as connection,
            ):  # whoever listens wakes up, and sees that it ends
                connection.execute(sa.select(sa.func.pg_notify(CHANNEL, "")))
                connection.commit()
        self._engine.dispose()

    def _hear(self, after: int, wait_s: float) -> None:
        from psycopg import Error  # noqa: PLC0415 - SQLite does without it

        from hushpoint.ledger.listening import Listener  # noqa: PLC0415

        if self._listener is None:
            self._listener = Listener(self._engine.url, CHANNEL)
        try:
            self._listener.wait(wait_s, lambda: self.last() > after)
        except Error as error:
            raise LedgerError(f"the ledger's database does not answer: {type(error).__name__}") from error

    def _append(self, connection: sa.Connection, entries: Sequence[Entry], texts: Sequence[str]) -> list[Stored]:
        newest = connection.execute(
            sa.select(journal.c.seq, journal.c.chain).order_by(journal.c.seq.desc()).limit(1)
        ).one_or_none()
        seq, chain = (int(newest.seq), str(newest.chain)) if newest else (0, GENESIS)
        people = {entry.who for entry in entries if entry.who}
        erased = sa.select(journal.c.seq).where(journal.c.who.in_(people), journal.c.kind == str(Kind.PERSON_ERASED))
        if people and connection.execute(erased.limit(1)).first() is not None:
            raise ErasedPersonError(ERASED)
        self._check_names(connection, entries)
        done: list[Stored] = []
        at = self._clock()
        for entry, text in zip(entries, texts, strict=True):
            if entry.ref is not None:
                query = sa.select(*self._columns).select_from(_WITH_PAYLOAD)
                found = connection.execute(
                    query.where(journal.c.kind == str(entry.kind), journal.c.ref == entry.ref)
                ).one_or_none()
                if found is not None:
                    raise AlreadyStoredError(self._stored(found).row)
            seq += 1
            stored = seal(entry, text, seq, at, chain)
            chain = stored.row.chain
            if self._names is not None:
                stored = replace(stored, sealed=self._names.seal(stored))
            _insert(connection, [stored])
            done.append(stored)
        if connection.dialect.name == "postgresql":  # heard by every process once this is committed
            connection.execute(sa.select(sa.func.pg_notify(CHANNEL, str(seq))))
        return done

    def _check_names(self, connection: sa.Connection, entries: Sequence[Entry]) -> None:
        """Refuse to write a name that is not sealed with the key that stands in the settings."""
        if any(entry.kind in SEALED_KINDS and identifying(entry.kind, entry.body) for entry in entries):
            stands = connection.execute(sa.select(setting.c.value).where(setting.c.key == SETTING)).scalar_one_or_none()
            if mark_of(stands) != (self._names.mark if self._names else ""):
                raise NamesLockedError

    def _stored(self, record: Any, *, read: bool = True) -> Stored:
        """Turn a record into a row; what cannot be read is left for verify to name, so nothing here raises.

        One that is not to be read has no `body`: digests are of the text, and reading it takes most of the time.
        """
        # in the order of _COLUMNS
        seq, at, kind, version, room, who, ref, digest, chain, salt, text, secret = record
        sealed = None if secret is None else Sealed(text, secret)
        try:
            body = json.loads(text) if read and text is not None else None
        except ValueError:
            body = None
        row = Row(seq, at, _KINDS.get(kind, kind), version, room, who, ref, body, digest, chain)
        if sealed is None:
            return Stored(row, salt, text)
        opened = self._names.open(row, sealed) if self._names is not None else None
        if opened is None:
            return Stored(replace(row, body=coded(row, text)), None, None, sealed)
        return Stored(replace(row, body=json.loads(opened[1])), *opened, sealed)

    @contextmanager
    def _reading(self) -> Iterator[sa.Connection]:
        try:
            with self._engine.connect() as connection:
                yield connection
        except SQLAlchemyError as error:
            raise LedgerError(_one_line(error)) from error

    @contextmanager
    def _writing(self) -> Iterator[sa.Connection]:
        try:
            with self._engine.connect().execution_options(hushpoint_write=True) as connection, connection.begin():
                if connection.dialect.name == "postgresql":
                    # acknowledged means durable, whatever the server's own default is
                    connection.execute(sa.text("SET LOCAL synchronous_commit TO on"))
                    connection.execute(sa.text("LOCK TABLE journal IN EXCLUSIVE MODE"))
                yield connection
        except SQLAlchemyError as error:
            raise LedgerError(_one_line(error)) from error


def _of_each_kind(
    kinds: Sequence[str], narrowed: Sequence[sa.ColumnElement[bool]], after: int, size: int
) -> sa.Select[tuple[int]]:
    """The next row numbers of each kind: each kind's lie in order in an index: none is sorted or passed over."""
    each = [
        sa.select(journal.c.seq)
        .where(journal.c.kind == kind, journal.c.seq > after, *narrowed)
        .order_by(journal.c.seq)
        .limit(size)
        .subquery()
        for kind in kinds
    ]
    found = sa.union_all(*(sa.select(one.c.seq) for one in each)).subquery()
    return sa.select(found.c.seq)


def _room_beside(who: str | None) -> sa.ColumnElement[str]:
    """The class to compare with. Of a person's rows, which are few, it is looked at one by one: SQLite would else go
    through all of the class by the index of its rows."""
    return journal.c.room.concat("") if who else journal.c.room


def _about(ids: Collection[str]) -> sa.ColumnElement[bool]:
    """Refs that begin with one of these ids and a dot: looked for among rows narrowed otherwise, by no index."""
    by_length: dict[int, list[str]] = {}
    for one in ids:
        by_length.setdefault(len(one) + 1, []).append(f"{one}.")
    each = [sa.func.substr(journal.c.ref, 1, length).in_(begun) for length, begun in by_length.items()]
    return sa.or_(sa.false(), *each)


def _insert(connection: sa.Connection, rows: Sequence[Stored]) -> None:
    """Write these rows with what they say, each table in one go; an older ledger has no column for what is sealed."""
    columns = ("seq", "at", "kind", "version", "room", "who", "ref", "digest", "chain")
    _into(connection, journal, [{name: getattr(one.row, name) for name in columns} for one in rows])
    sealed = [
        {"seq": one.row.seq, "salt": "", "body": one.sealed.text, "sealed": one.sealed.secret}
        for one in rows
        if one.sealed is not None
    ]
    plain = [
        {"seq": one.row.seq, "salt": one.salt, "body": one.text}
        for one in rows
        if one.sealed is None and one.text is not None
    ]
    for said in (sealed, plain):
        if said:
            _into(connection, payload, said)


def _into(connection: sa.Connection, table: sa.Table, records: Sequence[dict[str, Any]]) -> None:
    """Write records that all have the same columns; many go into PostgreSQL by COPY."""
    driver: Any = connection.dialect.dbapi
    if len(records) < _MANY or connection.dialect.name != "postgresql":
        connection.execute(sa.insert(table), records)
        return
    raw: Any = connection.connection.driver_connection
    columns = list(records[0])
    try:
        with raw.cursor() as cursor, cursor.copy(f"COPY {table.name} ({', '.join(columns)}) FROM STDIN") as copy:
            for record in records:
                copy.write_row([record[column] for column in columns])
    except driver.Error as error:  # as the database's refusal of any other statement is told
        raise DBAPIError(None, None, error) from error


def _may_be_stored(text: str) -> bool:
    """Tell whether a store could hold this text at all: no NUL, no half character."""
    return "\x00" not in text and not any("\ud800" <= letter <= "\udfff" for letter in text)


def _one_line(error: SQLAlchemyError) -> str:
    """Say what the database said, in one line, without the statement or its values."""
    cause = error.orig if isinstance(error, DBAPIError) else None
    # PostgreSQL's details quote the row; its primary message does not
    primary = getattr(getattr(cause, "diag", None), "message_primary", None)
    said = primary or (type(error).__name__ if cause is None else str(cause))
    return f"the ledger's database refused: {' '.join(said.split())[:200]}"
