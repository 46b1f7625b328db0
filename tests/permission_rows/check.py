"""The device check: who may do what."""

from __future__ import annotations

from permission_rows.rows import Asked, anyone

TABLE: dict[tuple[str, str], Asked] = {
    ("GET", "/practise/check"): anyone(200),
    ("GET", "/practise/check/sound/{phase}.wav"): anyone(200),
    ("POST", "/practise/check/step"): anyone(200, json={"profile": "phone", "answers": []}),
}


def furnish(_app: object, _ledger: object, words: dict[str, object]) -> None:
    """Name a phase."""
    words["phase"] = "IV"
