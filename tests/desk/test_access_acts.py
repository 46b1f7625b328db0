"""The lecturer's password and the key that signs cookies, in memory and in a file."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import pytest

from hushpoint.desk import access
from hushpoint.errors import AlreadyDoneError, BadInputError, HushpointError
from hushpoint.ledger.records import Ledger

PASSWORD = "a sentence is easiest"


def test_a_password_is_set_once_and_kept_as_a_hash(ledger: Ledger) -> None:
    """Set once, it opens; another does not; the text itself is nowhere in the settings."""
    assert not access.has_password(ledger)
    assert not access.is_password(ledger, PASSWORD)
    access.set_password(ledger, PASSWORD)
    assert access.has_password(ledger)
    assert access.is_password(ledger, PASSWORD)
    assert not access.is_password(ledger, PASSWORD + " ")
    assert not access.is_password(ledger, PASSWORD.upper())
    assert not access.is_password(ledger, "")
    kept = ledger.setting(access.PASSWORD_SETTING)
    assert kept is not None
    assert kept.startswith("$argon2id$")
    assert PASSWORD not in kept
    with pytest.raises(AlreadyDoneError, match="set already"):
        access.set_password(ledger, "another good password")
    assert ledger.setting(access.PASSWORD_SETTING) == kept


@pytest.mark.parametrize("length", [0, 1, 9, 201, 100_000])
def test_a_password_too_short_or_too_long_is_refused(ledger: Ledger, length: int) -> None:
    """Outside 10 to 200 characters nothing is set, and the line does not repeat the password."""
    with pytest.raises(BadInputError, match="10 to 200 characters") as refusal:
        access.set_password(ledger, "q" * length)
    assert "qq" not in str(refusal.value)
    assert not access.has_password(ledger)
    assert not access.is_password(ledger, "q" * length)


@pytest.mark.parametrize("length", [10, 200])
def test_the_ends_of_the_legal_lengths_are_taken(ledger: Ledger, length: int) -> None:
    """Ten characters and two hundred are both passwords."""
    access.set_password(ledger, "ä" * length)
    assert access.is_password(ledger, "ä" * length)


def test_of_two_first_runs_at_once_one_wins(ledger: Ledger) -> None:
    """Four at the same time: one password is set, the others are told so, and only that one opens."""
    words = [f"password number {number}" for number in range(4)]

    def first_run(word: str) -> bool:
        try:
            access.set_password(ledger, word)
        except HushpointError:
            return False
        return True

    with ThreadPoolExecutor(4) as pool:
        taken = list(pool.map(first_run, words))
    assert taken.count(True) == 1
    assert [access.is_password(ledger, word) for word in words] == taken


def test_the_cookie_key_is_made_once(ledger: Ledger) -> None:
    """Asked for by many at once it is one key of at least 256 bits, and it stays."""
    with ThreadPoolExecutor(8) as pool:
        keys = set(pool.map(lambda _: access.cookie_key(ledger), range(8)))
    assert len(keys) == 1
    assert len(keys.pop()) >= 43  # 32 random bytes in base64
    assert access.cookie_key(ledger) == ledger.setting(access.COOKIE_KEY_SETTING)


def test_a_damaged_hash_opens_nothing(ledger: Ledger) -> None:
    """A setting that is no hash lets nobody in, and raises nothing."""
    ledger.set_setting(access.PASSWORD_SETTING, "no hash at all")
    assert not access.is_password(ledger, "no hash at all")
