"""Bring a ledger of an older version, or an empty database, to the newest one, by Alembic."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory

from hushpoint.ledger.tables import NEWEST

_MIGRATIONS = Path(__file__).with_name("migrations")


def _config() -> Config:
    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    return config


def earlier() -> frozenset[str]:
    """Return the versions before the newest one."""
    scripts = ScriptDirectory.from_config(_config())
    return frozenset(script.revision for script in scripts.walk_revisions()) - {NEWEST}


def migrate(engine: sa.Engine, at: str | None) -> None:
    """Migrate from version `at`, None for an empty database, in one transaction."""
    config = _config()
    with engine.connect().execution_options(hushpoint_write=True) as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            # two processes starting at once must not both migrate
            connection.execute(sa.text("SELECT pg_advisory_xact_lock(748291)"))
            if at is not None:  # writers of older processes wait at their first step, before they hold anything
                connection.execute(sa.text("LOCK TABLE journal IN EXCLUSIVE MODE"))
        config.attributes["connection"] = connection
        command.upgrade(config, NEWEST)
