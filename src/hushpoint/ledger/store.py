"""Open a ledger: the SQLite file in the data folder, or PostgreSQL by URL; migrated, or refused with one clear line."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from hushpoint.ledger.records import Clock, LedgerError, utc_now
from hushpoint.ledger.sql import SqlLedger
from hushpoint.ledger.tables import NEWEST

FILE_NAME = "hushpoint.sqlite"
BUSY_S = 30
_LEAST_FREE_BYTES = 100_000
"""With less room than this not even an empty ledger can be made: it takes 95 kB with its log and its shared memory."""


def open_ledger(
    data_dir: Path, database_url: str | None = None, *, create: bool = True, passphrase: str | None = None
) -> SqlLedger:
    """Open the ledger of a data folder, or that of a PostgreSQL URL; raises LedgerError, one line.

    With a passphrase encrypted names are opened; without one, people have codes in it.
    """
    if database_url:
        ledger = open_postgres(database_url, data_dir, create=create)
    else:
        ledger = open_sqlite(data_dir / FILE_NAME, create=create)
    if passphrase is not None:
        try:
            ledger.open_names(passphrase)
        except LedgerError:
            ledger.close()
            raise
    return ledger


def open_sqlite(path: Path, *, clock: Clock = utc_now, create: bool = True) -> SqlLedger:
    """Open a ledger file, made with mode 0600 where it is missing and `create` is set.

    A file of an older version is copied to NAME.before-REVISION and migrated; a newer one is refused.
    """
    if not create and not path.is_file():
        raise LedgerError(f"{path}: no ledger is here")
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        new = not path.exists()
        path.touch(mode=0o600)
    except OSError as error:
        raise LedgerError(f"{path}: cannot be opened: {error.strerror}") from error
    if not path.is_file():
        raise LedgerError(f"{path}: must be a file")
    engine = sa.create_engine(
        sa.URL.create("sqlite", database=str(path)), connect_args={"timeout": BUSY_S, "check_same_thread": False}
    )
    sa.event.listen(engine, "connect", _prepare_sqlite)
    sa.event.listen(engine, "begin", _begin_sqlite)
    try:
        _migrate(engine, backup=lambda revision: _copy_sqlite(path, revision))
    except (SQLAlchemyError, sqlite3.Error) as error:
        engine.dispose()
        said = " ".join(str(getattr(error, "orig", None) or error).split())
        if "I/O" in said and shutil.disk_usage(path.parent).free < _LEAST_FREE_BYTES:  # SQLite's word for a full disk
            said = os.strerror(errno.ENOSPC)
            if new:
                for end in ("", "-wal", "-shm"):
                    path.with_name(path.name + end).unlink(missing_ok=True)
        raise LedgerError(f"{path}: cannot be used as a ledger: {said}") from error
    except LedgerError:
        engine.dispose()
        raise
    return SqlLedger(engine, clock)


def open_postgres(url: str, data_dir: Path, *, clock: Clock = utc_now, create: bool = True) -> SqlLedger:
    """Open a ledger in PostgreSQL; before an older one is migrated a portable backup is written to `data_dir`."""
    try:
        parsed = sa.make_url(url)
    except SQLAlchemyError:
        raise LedgerError("database: must be a URL such as postgresql://name@host/database") from None
    if parsed.get_backend_name() != "postgresql":
        raise LedgerError("database: must be a URL such as postgresql://name@host/database")
    try:
        engine = sa.create_engine(parsed.set(drivername="postgresql+psycopg"), pool_size=10, pool_pre_ping=True)
    except ImportError:
        raise LedgerError("database: PostgreSQL needs the extra: pip install 'hushpoint[postgres]'") from None

    def backup(revision: str) -> None:
        from hushpoint.ledger.backup import write_backup  # noqa: PLC0415 - the two modules open each other's files

        data_dir.mkdir(parents=True, exist_ok=True, mode=0o700)
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
        columns = {column["name"] for column in sa.inspect(engine).get_columns("payload")}
        older = SqlLedger(engine, sealed_column="sealed" in columns)
        write_backup(older, data_dir / f"before-{revision}-{stamp}.hushpoint.gz")

    try:
        if not create:
            with engine.connect() as connection:
                if not sa.inspect(connection).has_table("journal"):
                    raise LedgerError("database: no ledger is here")
        _migrate(engine, backup=backup)
    except SQLAlchemyError as error:
        engine.dispose()
        said = " ".join(str(getattr(error, "orig", None) or error).split())[:200]
        raise LedgerError(f"database: cannot be used as a ledger: {said}") from error
    except LedgerError:
        engine.dispose()
        raise
    return SqlLedger(engine, clock)


def version_of(data_dir: Path, database_url: str | None = None) -> str:
    """Return "current", "older", "newer" or "none" for a ledger, which is left as it is; raises LedgerError."""
    path = data_dir / FILE_NAME
    if not database_url and not path.is_file():
        return "none"
    try:
        url = sa.make_url(database_url) if database_url else sa.URL.create("sqlite", database=str(path))
        engine = sa.create_engine(url.set(drivername="postgresql+psycopg") if database_url else url)
        try:
            with engine.connect() as connection:
                at = _version(connection)
        finally:
            engine.dispose()
    except (SQLAlchemyError, sqlite3.Error, ImportError) as error:
        said = " ".join(str(getattr(error, "orig", None) or error).split())[:200]
        raise LedgerError(said) from error
    if at in (None, NEWEST):
        return "none" if at is None else "current"
    from hushpoint.ledger.migrating import earlier  # noqa: PLC0415 - takes as long as the rest of opening a ledger

    return "older" if at in earlier() else "newer"


def _version(connection: sa.Connection) -> str | None:
    """Return the version that a database says it is of, None where it says none."""
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    said = sa.select(sa.column("version_num", sa.Text)).select_from(sa.table("alembic_version"))
    return connection.execute(said).scalar_one_or_none()


def _prepare_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # transactions are begun below, never by the driver
    cursor = connection.cursor()
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "secure_delete=ON"):
        cursor.execute(f"PRAGMA {pragma}")
    cursor.close()


def _begin_sqlite(connection: sa.Connection) -> None:
    """Writers take the lock at once; a reader that later wrote would be told "locked" whatever the timeout."""
    writes = connection.get_execution_options().get("hushpoint_write")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _copy_sqlite(path: Path, revision: str) -> None:
    copy = path.with_name(f"{path.name}.before-{revision}")
    copy.touch(mode=0o600)
    source, target = sqlite3.connect(path), sqlite3.connect(copy)
    try:
        source.backup(target)
    finally:
        source.close()
        target.close()


def _migrate(engine: sa.Engine, *, backup: Callable[[str], None]) -> None:
    with engine.connect() as connection:
        at = _version(connection)
        strangers = at is None and sa.inspect(connection).has_table("journal")
    if at == NEWEST:
        return
    if strangers:
        raise LedgerError("the database holds a table named journal that is not Hushpoint's")
    from hushpoint.ledger.migrating import earlier, migrate  # noqa: PLC0415 - most starts have nothing to migrate

    if at is not None:
        if at not in earlier():
            raise LedgerError(f"the ledger is of version {at}, newer than this Hushpoint ({NEWEST}): use the newer one")
        backup(NEWEST)
    migrate(engine, at)
