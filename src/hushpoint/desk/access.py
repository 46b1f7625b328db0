"""Who may come in: a password for each role, what ends a session, and the key that signs cookies."""

from __future__ import annotations

import secrets

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from hushpoint.errors import AlreadyDoneError, BadInputError
from hushpoint.ledger.records import Ledger

LECTURER, ASSESSOR, PRACTITIONER, AUDITOR = "lecturer", "assessor", "practitioner", "auditor"
WITH_PASSWORD = (LECTURER, ASSESSOR, PRACTITIONER)
"""Roles that come in with a password of their own; an auditor comes by a link."""
ROLES = (*WITH_PASSWORD, AUDITOR)
PASSWORD_SETTING = "lecturer_password"  # noqa: S105 - the name of a setting
COOKIE_KEY_SETTING = "cookie_key"
SHORTEST, LONGEST = 10, 200
"""Length of a password; length beats rules (common practice)."""

_hasher = PasswordHasher()


def has_password(ledger: Ledger, role: str = LECTURER) -> bool:
    """Return whether a role has a password; of the lecturer: whether the first run is over."""
    return bool(ledger.setting(_password_of(role)))


def set_password(ledger: Ledger, password: str) -> None:
    """Set the lecturer's password on first run; raises BadInputError for its length, AlreadyDoneError if set."""
    if has_password(ledger):
        raise AlreadyDoneError("the lecturer's password is set already")
    hashed = _hashed(password)
    if ledger.keep_setting(PASSWORD_SETTING, hashed) != hashed:  # of two first runs at once, one wins
        raise AlreadyDoneError("the lecturer's password is set already")


def change_password(ledger: Ledger, password: str, role: str = LECTURER) -> None:
    """Give a role a new password and end the role's sessions; raises BadInputError for its length or for an own one."""
    hashed = _hashed(password)
    if any(other != role and is_password(ledger, password, other) for other in WITH_PASSWORD):
        raise BadInputError("password: another role has this one; each role needs its own")
    ledger.set_setting(_password_of(role), hashed)
    end_sessions(ledger, role)


def remove_password(ledger: Ledger, role: str) -> None:
    """Take a role's password away and end its sessions; the lecturer's stays, or nobody could come in."""
    if role == LECTURER:
        raise BadInputError("role: the lecturer's password can be changed, not taken away")
    ledger.set_setting(_password_of(role), "")
    end_sessions(ledger, role)


def is_password(ledger: Ledger, password: str, role: str = LECTURER) -> bool:
    """Return whether this is the role's password."""
    kept = ledger.setting(_password_of(role))
    if not kept or len(password) > LONGEST:
        return False
    try:
        return _hasher.verify(kept, password)
    except (Argon2Error, InvalidHashError):
        return False


def session_word(ledger: Ledger, role: str) -> str:
    """Return the word that a cookie of this role must carry; another one is of a session that was ended."""
    return ledger.setting(f"{role}_session") or ""


def end_sessions(ledger: Ledger, *roles: str) -> None:
    """Sign out everybody of these roles, on every device; links given to auditors end with theirs."""
    for role in roles:
        ledger.set_setting(f"{role}_session", secrets.token_urlsafe(12))


def cookie_key(ledger: Ledger) -> str:
    """Return the key that signs cookies, made on first use."""
    return ledger.setting(COOKIE_KEY_SETTING) or ledger.keep_setting(COOKIE_KEY_SETTING, secrets.token_urlsafe(32))


def _password_of(role: str) -> str:
    if role not in WITH_PASSWORD:
        raise BadInputError(f"role: must be one of {', '.join(WITH_PASSWORD)}")
    return f"{role}_password"


def _hashed(password: str) -> str:
    if not SHORTEST <= len(password) <= LONGEST:
        raise BadInputError(f"password: must have {SHORTEST} to {LONGEST} characters")
    return _hasher.hash(password)
