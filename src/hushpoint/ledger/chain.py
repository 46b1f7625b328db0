"""How a row is digested and chained: SHA-256 over unambiguous text, salted so that an erased payload stays erased.

The digest of a payload is taken over a random salt and the canonical JSON of its body; the chain of a row over the
chain of the row before it and every column of its own. When a payload is erased its salt goes too, so nobody can find
out what it said by trying likely bodies against the digest that stays.
"""

from __future__ import annotations

import hashlib
import json
import math
import secrets
from collections.abc import Mapping
from typing import Any

from hushpoint.ledger.records import Entry, Kind, Row, Stored, UnkeepableError

GENESIS = "0" * 64
"""The chain before the first row."""
SALT_BYTES = 16
VERSION = 1
"""The version of the bodies written today."""
ERASED = "this person's data was erased; nothing more is kept about them"
_LOWEST_INTEGER, _HIGHEST_INTEGER = -(2**63), 2**63 - 1


def new_salt() -> str:
    """A fresh random salt, 32 hexadecimal digits."""
    return secrets.token_hex(SALT_BYTES)


def canonical(body: Mapping[str, Any]) -> str:
    """Write a body as canonical JSON: keys sorted, no spaces; raises UnkeepableError naming what cannot be kept."""
    try:
        _check(body, "body")
    except RecursionError:
        raise UnkeepableError("body: lists and mappings are nested too deeply") from None
    return json.dumps(body, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def check_text(text: str, where: str) -> None:
    """Refuse a column's text that a store would not give back as it was; raises UnkeepableError, one line."""
    _check(text, where)


def payload_digest(salt: str, text: str) -> str:
    """SHA-256 of a payload's salt and canonical text, 64 hexadecimal digits."""
    return hashlib.sha256(f"{salt}\n{text}".encode()).hexdigest()


def chained(
    before: str, seq: int, at: str, kind: str, version: int, room: str, who: str, ref: str | None, digest: str
) -> str:
    """SHA-256 of the chain before and every column of this row, 64 hexadecimal digits."""
    columns = json.dumps([before, seq, at, kind, version, room, who, ref, digest], ensure_ascii=True)
    return hashlib.sha256(columns.encode()).hexdigest()


def entry_text(entry: Entry) -> str:
    """Return the canonical text of an entry's body; raises UnkeepableError where body or columns cannot be kept."""
    for name, column in (("room", entry.room), ("who", entry.who), ("ref", entry.ref)):
        if column is not None:
            check_text(column, name)
    return canonical(entry.body)


def check_person(who: str) -> None:
    """Refuse to erase nobody: rows with an empty `who` belong to no person."""
    if not who:
        raise UnkeepableError("who: must name a person")


def seal(entry: Entry, text: str, seq: int, at: str, before: str) -> Stored:
    """Give an entry its place: salt, digest and chain."""
    salt = new_salt()
    digest = payload_digest(salt, text)
    kind = Kind(entry.kind)
    chain = chained(before, seq, at, str(kind), VERSION, entry.room, entry.who, entry.ref, digest)
    row = Row(seq, at, kind, VERSION, entry.room, entry.who, entry.ref, json.loads(text), digest, chain)
    return Stored(row, salt, text)


def _check(value: object, where: str) -> None:
    """Refuse, in one line, whatever JSON, SQLite or PostgreSQL would not give back as it was."""
    if value is None or isinstance(value, bool):
        return
    if isinstance(value, str):
        if "\x00" in value or any("\ud800" <= letter <= "\udfff" for letter in value):
            raise UnkeepableError(f"{where}: text must not hold NUL or half a character")
    elif isinstance(value, int):
        if not _LOWEST_INTEGER <= value <= _HIGHEST_INTEGER:
            raise UnkeepableError(f"{where}: whole numbers must fit 64 bits")
    elif isinstance(value, float):
        if not math.isfinite(value):
            raise UnkeepableError(f"{where}: numbers must be finite")
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            if not isinstance(key, str):
                raise UnkeepableError(f"{where}: keys must be texts")
            _check(key, f"{where}, a key")
            _check(inner, f"{where}.{key[:40]}")
    elif isinstance(value, (list, tuple)):
        if set(map(type, value)) == {float} and all(map(math.isfinite, value)):
            return  # thousands of samples: looked at once each, without naming their places
        for place, inner in enumerate(value):
            _check(inner, f"{where}[{place}]")
    else:
        raise UnkeepableError(f"{where}: {type(value).__name__} cannot be kept as JSON")
