"""Language and unit: everybody's own choice, kept on their device."""

from __future__ import annotations

from typing import Any

from starlette.applications import Starlette

from hushpoint.ledger.memory import MemoryLedger
from permission_rows.rows import Asked, anyone

TABLE: dict[tuple[str, str], Asked] = {
    ("POST", "/habits"): anyone(303, data={"language": "de", "unit": "kPa", "next": "/policy"}),
    ("GET", "/words/{language}.json"): anyone(200),
}


def furnish(app: Starlette, ledger: MemoryLedger, words: dict[str, Any]) -> None:
    """Name a language."""
    words["language"] = "de"
