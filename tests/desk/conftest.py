"""Ledgers for the acts of the desk."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Ledger
from hushpoint.ledger.store import open_sqlite


@pytest.fixture(params=["memory", "sqlite"])
def ledger(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Ledger]:
    """An empty ledger, in memory and as a file."""
    opened: Ledger = MemoryLedger() if request.param == "memory" else open_sqlite(tmp_path / "ledger.db")
    yield opened
    opened.close()
