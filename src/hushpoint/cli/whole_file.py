"""Writing one file that appears whole or not at all."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from hushpoint.errors import BadInputError

OWN, ANYBODYS = 0o600, 0o666
"""Modes: for the owner alone, or as the machine lets its files be read."""


def whole_file(path: Path, content: bytes, mode: int = OWN) -> None:
    """Write a file, for its owner alone unless said, beside its place first; raises BadInputError, one line."""
    part = path.with_name(f".{path.name}.part")
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as trouble:
        with suppress(OSError):
            part.unlink()
        raise BadInputError(f"{path}: cannot be written: {trouble.strerror}") from None
