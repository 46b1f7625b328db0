"""The manual: everyone may read it."""

from __future__ import annotations

from permission_rows.rows import Asked, anyone

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/manual"): anyone(200),
    ("GET", "/manual/{page}"): anyone(200),
    ("GET", "/manual/pictures/{name}"): anyone(404),
}


def furnish(_app: object, _ledger: object, words: dict[str, object]) -> None:
    """Name a page, and a picture that is not there."""
    words |= {"page": "words", "name": "none.png"}
