"""A file that a passphrase opens: scrypt makes the key, AES-256-GCM seals one piece after another.

Layout: a first line, 16 bytes of salt, then pieces of 4 bytes of length and the sealed bytes. The key is of this salt
alone, so the nonce of a piece is its number and whether it is the last: pieces cannot be left out, moved or cut off
(the STREAM construction, Hoang, Reyhanitabar, Rogaway and Vizár 2015).
"""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import BinaryIO

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

from hushpoint.ledger.records import LedgerError

FIRST_LINE = b"hushpoint sealed 1\n"
SHORTEST, LONGEST = 12, 1000
"""Length of a passphrase (design choice)."""
_SALT, _PIECE, _TAG = 16, 1 << 20, 16
_COST, _BLOCK, _PARALLEL = 1 << 16, 8, 1
"""64 MB and some tenths of a second for each guess (RFC 7914 names the parameters, not these values)."""


def passphrase_in(path: Path) -> str:
    """Return the one line of a file; raises LedgerError, which never repeats it."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise LedgerError(f"{path}: cannot be read: {error.strerror}") from None
    except ValueError:
        raise LedgerError(f"{path}: the passphrase must be text in UTF-8") from None
    return checked_passphrase(text.removesuffix("\n").removesuffix("\r"), str(path))


def checked_passphrase(text: str, what: str) -> str:
    """Return a passphrase of a legal length; raises LedgerError, which never repeats it."""
    if text.splitlines() != [text] or not SHORTEST <= len(text) <= LONGEST:
        raise LedgerError(f"{what}: must be one line, a passphrase of {SHORTEST} to {LONGEST} characters")
    return text


def is_sealed(path: Path) -> bool:
    """Return whether a file begins as a sealed one; raises OSError where it cannot be read."""
    with path.open("rb") as file:
        return file.read(len(FIRST_LINE)) == FIRST_LINE


class Sealing(io.RawIOBase):
    """Writes what it is given to a file, sealed; whole only once it was closed."""

    def __init__(self, raw: BinaryIO, passphrase: str) -> None:
        super().__init__()
        salt = os.urandom(_SALT)
        self._raw, self._cipher, self._number = raw, _cipher(passphrase, salt), 0
        self._held = bytearray()
        raw.write(FIRST_LINE + salt)

    def writable(self) -> bool:
        """Return True."""
        return True

    def write(self, data: bytes | bytearray | memoryview, /) -> int:  # type: ignore[override]
        """Take bytes; a full piece is sealed at once."""
        self._held += data
        while len(self._held) > _PIECE:
            self._put(bytes(self._held[:_PIECE]), last=False)
            del self._held[:_PIECE]
        return len(data)

    def finish(self) -> None:
        """Seal the last piece: without it the file counts as cut short."""
        self._put(bytes(self._held), last=True)
        self._held.clear()

    def _put(self, piece: bytes, *, last: bool) -> None:
        sealed = self._cipher.encrypt(_nonce(self._number, last=last), piece, None)
        self._raw.write(len(sealed).to_bytes(4, "big") + sealed)
        self._number += 1


class Unsealing(io.RawIOBase):
    """Reads a sealed file; raises LedgerError where the passphrase does not fit or the file is not as it was."""

    def __init__(self, path: Path, passphrase: str) -> None:
        super().__init__()
        self._path, self._raw = path, path.open("rb")
        self._raw.seek(len(FIRST_LINE))
        self._cipher, self._number, self._held, self._over = _cipher(passphrase, self._raw.read(_SALT)), 0, b"", False

    def readable(self) -> bool:
        """Return True."""
        return True

    def readinto(self, into: bytearray | memoryview, /) -> int:  # type: ignore[override]
        """Give the next bytes, none at the end."""
        while not self._held and not self._over:
            self._held = self._piece()
        count = min(len(into), len(self._held))
        into[:count] = self._held[:count]
        self._held = self._held[count:]
        return count

    def close(self) -> None:
        """Let go of the file."""
        self._raw.close()
        super().close()

    def _piece(self) -> bytes:
        length = int.from_bytes(self._raw.read(4), "big")
        sealed = self._raw.read(length) if _TAG <= length <= _PIECE + _TAG else b""
        for last in (False, True):
            try:
                piece = self._cipher.decrypt(_nonce(self._number, last=last), sealed, None)
            except InvalidTag:
                continue
            self._number, self._over = self._number + 1, last
            return piece
        if self._number:
            raise LedgerError(f"{self._path}: was altered or cut short")
        raise LedgerError(
            f"{self._path}: the passphrase does not open it, or its beginning was altered; "
            "without the right passphrase nobody can open it"
        )


def derived_key(passphrase: str, salt: bytes) -> bytes:
    """Return the 32 bytes that scrypt makes of a passphrase and a salt."""
    return Scrypt(salt=salt, length=32, n=_COST, r=_BLOCK, p=_PARALLEL).derive(passphrase.encode())


def _cipher(passphrase: str, salt: bytes) -> AESGCM:
    return AESGCM(derived_key(passphrase, salt))


def _nonce(number: int, *, last: bool) -> bytes:
    return number.to_bytes(11, "big") + bytes([last])
