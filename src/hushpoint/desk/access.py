"""Who may come in: the lecturer's password, and the key that signs cookies."""

from __future__ import annotations

import secrets

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from hushpoint.errors import AlreadyDoneError, BadInputError
from hushpoint.ledger.records import Ledger

PASSWORD_SETTING = "lecturer_password"  # noqa: S105 - the name of a setting
COOKIE_KEY_SETTING = "cookie_key"
SHORTEST, LONGEST = 10, 200
"""Length of the lecturer's password; length beats rules (common practice)."""

_hasher = PasswordHasher()


def has_password(ledger: Ledger) -> bool:
    """Return whether the first run is over."""
    return ledger.setting(PASSWORD_SETTING) is not None


def set_password(ledger: Ledger, password: str) -> None:
    """Set the lecturer's password on first run; raises BadInputError for its length, AlreadyDoneError if set."""
    if has_password(ledger):
        raise AlreadyDoneError("the lecturer's password is set already")
    if not SHORTEST <= len(password) <= LONGEST:
        raise BadInputError(f"password: must have {SHORTEST} to {LONGEST} characters")
    hashed = _hasher.hash(password)
    if ledger.keep_setting(PASSWORD_SETTING, hashed) != hashed:  # of two first runs at once, one wins
        raise AlreadyDoneError("the lecturer's password is set already")


def is_password(ledger: Ledger, password: str) -> bool:
    """Return whether this is the lecturer's password."""
    kept = ledger.setting(PASSWORD_SETTING)
    if kept is None or len(password) > LONGEST:
        return False
    try:
        return _hasher.verify(kept, password)
    except (Argon2Error, InvalidHashError):
        return False


def cookie_key(ledger: Ledger) -> str:
    """Return the key that signs cookies, made on first use."""
    return ledger.setting(COOKIE_KEY_SETTING) or ledger.keep_setting(COOKIE_KEY_SETTING, secrets.token_urlsafe(32))
