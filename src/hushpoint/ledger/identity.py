"""Names and notes about people, kept encrypted: a random key seals them, a passphrase wraps that key.

The digest of a row is taken over what was said, as ever; below it, what names a person is taken out of the payload and
sealed together with the salt (AES-256-GCM, the row's number, kind and person as associated data), so that neither a
name nor a guess at one can be tried against the file. Readings, codes and verdicts stay as they are: without the
passphrase they can still be read, and the chain still be walked.
"""

from __future__ import annotations

import base64
import json
import os
import secrets
from collections.abc import Mapping
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from hushpoint.errors import NotAllowedError
from hushpoint.ledger.chain import canonical
from hushpoint.ledger.records import Kind, LedgerError, Row, Sealed, Stored
from hushpoint.ledger.sealed_file import derived_key

SETTING = "names_key"
"""Where the wrapped key lies in the ledger's settings."""
UNREAD = "(encrypted)"
_NAME_KINDS = frozenset({Kind.ROSTER_ADDED, Kind.LEARNER_JOINED})
_FIELDS: Mapping[Kind, tuple[str, ...]] = {
    Kind.ROSTER_ADDED: ("name",),
    Kind.LEARNER_JOINED: ("name",),
    Kind.FINDING_NOTED: ("note",),
    Kind.REFERRAL_REPLIED: ("reply",),
    Kind.TECHNIQUE_MARKED: ("notes",),
    Kind.DECISION_SIGNED: (
        "reasons", "place", "adjustment", "assessor", "credential", "second_assessor", "second_says",
    ),
    Kind.DECISION_AMENDED: ("by", "why"),
    Kind.DECISION_APPEALED: ("by", "grounds"),
    Kind.READING_AMENDED: ("why",),
    Kind.READING_CORRECTED: ("why",),
    Kind.PAIR_CANCELLED: ("why",),
    Kind.RECALL_DECIDED: ("why",),
}  # fmt: skip
"""What names a person or is free text about one, by kind; nothing that is counted, judged or measured."""
SEALED_KINDS = frozenset(_FIELDS)
_SALT, _NONCE, _KEY = 16, 12, 32


class NamesLockedError(LedgerError, NotAllowedError):
    """Names are encrypted and their passphrase was not given: nothing was read or written of them."""

    def __init__(self) -> None:
        super().__init__(
            "Names and notes are encrypted, and this was started without their passphrase: none can be read or kept. "
            "Start it with --passphrase-file."
        )


class NameKey:
    """Seals and opens what names people. `mark` tells one key from another; it is no secret."""

    def __init__(self, key: bytes, mark: str) -> None:
        self._key, self._cipher, self.mark = key, AESGCM(key), mark

    def seal(self, stored: Stored) -> Sealed | None:
        """Return what is to be kept in place of salt and text; None where the row names nobody."""
        body: Any = stored.row.body
        named = identifying(stored.row.kind, body) if body is not None else ()
        if not named:
            return None
        secret = json.dumps({"salt": stored.salt, "said": {name: body[name] for name in named}}).encode()
        nonce = os.urandom(_NONCE)
        sealed = nonce + self._cipher.encrypt(nonce, secret, _about(stored.row))
        left = {name: None if name in named else value for name, value in body.items()}
        return Sealed(canonical(left), f"{self.mark}.{_b64(sealed)}")

    def open(self, row: Row, sealed: Sealed) -> tuple[str, str] | None:
        """Return salt and text as they were digested; None where another key sealed them.

        Where this key did and they were altered since, the text is returned as it lies there: no digest fits it.
        """
        mark, _, secret_text = sealed.secret.partition(".")
        if mark != self.mark:
            return None
        try:
            raw = base64.b64decode(secret_text, validate=True)
            secret = json.loads(self._cipher.decrypt(raw[:_NONCE], raw[_NONCE:], _about(row)))
            body = json.loads(sealed.text)
            return secret["salt"], canonical({**body, **secret["said"]})
        except (InvalidTag, ValueError, LookupError, TypeError):
            return "", sealed.text

    def wrapped(self, passphrase: str) -> str:
        """Return this key as a passphrase opens it, for the settings."""
        salt = os.urandom(_SALT)
        nonce = os.urandom(_NONCE)
        sealed = nonce + AESGCM(derived_key(passphrase, salt)).encrypt(nonce, self._key, self.mark.encode())
        text = {"version": 1, "mark": self.mark, "salt": _b64(salt), "key": _b64(sealed)}
        return json.dumps(text, separators=(",", ":"))


def new_key() -> NameKey:
    """Return a fresh random key."""
    return NameKey(AESGCM.generate_key(_KEY * 8), secrets.token_hex(8))


def unwrapped(text: str, passphrase: str) -> NameKey:
    """Return the key that lies in the settings; raises LedgerError, one line, where the passphrase does not open it."""
    try:
        kept = json.loads(text)
        raw = base64.b64decode(kept["key"])
        cipher = AESGCM(derived_key(passphrase, base64.b64decode(kept["salt"])))
        return NameKey(cipher.decrypt(raw[:_NONCE], raw[_NONCE:], kept["mark"].encode()), kept["mark"])
    except InvalidTag:
        raise LedgerError(
            "the passphrase does not open the names; without the right one nobody can, but readings and codes stay"
        ) from None
    except (ValueError, LookupError, TypeError, AttributeError):
        raise LedgerError("the key of the names is not as it was kept: restore the newest backup") from None


def mark_of(text: str | None) -> str:
    """Return which key lies in the settings, "" where names are not encrypted."""
    if text is None:
        return ""
    try:
        return str(json.loads(text)["mark"])
    except (ValueError, LookupError, TypeError):
        return "altered"


def identifying(kind: Kind, body: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the fields of this body that name a person or may."""
    names = _FIELDS.get(kind, ())
    if kind is Kind.DECISION_AMENDED and body.get("field") in _FIELDS[Kind.DECISION_SIGNED]:
        names = (*names, "old", "new")
    return tuple(name for name in names if body.get(name))


def coded(row: Row, text: str) -> dict[str, Any] | None:
    """Return a body without what names the person: a code stands for the name."""
    try:
        body = json.loads(text)
        for name in _FIELDS.get(row.kind, ()) if body.get("field") is None else (*_FIELDS[row.kind], "old", "new"):
            if name in body and body[name] is None:
                body[name] = {} if name == "notes" else code_of(row.who) if row.kind in _NAME_KINDS else UNREAD
    except (ValueError, LookupError, TypeError, AttributeError):
        return None
    return dict(body)


def code_of(who: str) -> str:
    """Return what stands for a person whose name cannot be read."""
    return f"Person {who[:6]}"


def _about(row: Row) -> bytes:
    return json.dumps([row.seq, str(row.kind), row.who]).encode()


def _b64(data: bytes) -> str:
    return base64.b64encode(data).decode()
