"""What a careless merge leaves behind stops here."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[2]
LEFT_BY_A_MERGE = re.compile(rb"^(?:<{7}|>{7}|\|{7}) ", re.MULTILINE)


def test_no_file_of_the_project_holds_both_sides_of_a_merge() -> None:
    """A file with the marks of an unfinished merge would break make, the docs or the app."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=PROJECT, capture_output=True, check=False)
    if listed.returncode:
        pytest.skip("not a clone: the list of the project's files is git's")
    names = [name for name in listed.stdout.decode().split("\0") if name]
    assert names
    held = [
        name for name in names if (PROJECT / name).is_file() and LEFT_BY_A_MERGE.search((PROJECT / name).read_bytes())
    ]
    assert held == []
