"""`hushpoint` with a clock that runs ahead by the seconds in a file: python served_by_clock_file.py FILE serve ..."""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from itsdangerous import TimestampSigner

from hushpoint.cli.main import run
from hushpoint.desk import path
from hushpoint.ledger import store
from hushpoint.web import context

AHEAD_S = Path(sys.argv.pop(1))


def now() -> datetime:
    """The time that this laptop believes."""
    return datetime.now(UTC) + timedelta(seconds=float(AHEAD_S.read_text() or 0))


def as_journal() -> str:
    """The same as the journal writes it."""
    return now().isoformat(timespec="microseconds").replace("+00:00", "Z")


def local() -> datetime:
    """The same in the laptop's zone."""
    return now().astimezone()


store.open_sqlite.__kwdefaults__["clock"] = as_journal
context.Context.__init__.__kwdefaults__["clock"] = now
path.begin_next.__kwdefaults__["now"] = local
context._utc, path.local_now = now, local
TimestampSigner.get_timestamp = lambda _signer: int(now().timestamp())  # type: ignore[method-assign]
run()
