"""A small file system of its own, for what happens on a full disk; only root can mount one."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def mounted(place: Path, size: str) -> Iterator[Path]:
    """Mount a file system of a size such as 1m on a new folder; the test skips where that cannot be done."""
    if os.geteuid() != 0 or not shutil.which("mount"):
        pytest.skip("a small file system can be mounted by root alone")
    place.mkdir()
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "none", place], check=False)
    if made.returncode:
        pytest.skip("a file system cannot be mounted here")
    try:
        yield place
    finally:
        subprocess.run(["umount", place], check=True)
