"""The auditors' page of the bundle format: its lines are typed, its table is what is compared."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

from frozen_bundle import frozen_path
from hushpoint.desk.bundle_check import FIELDS, WORDED

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "bundle-format.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```sh\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
NEEDED = ("bash", "unzip", "sha256sum", "python3")
by_hand = pytest.mark.skipif(not all(map(shutil.which, NEEDED)), reason=f"needs {', '.join(NEEDED)}")


def typed(folder: Path, blocks: Sequence[str]) -> subprocess.CompletedProcess[str]:
    """Type lines of the page in a folder, stopping where one goes wrong."""
    given = "set -e -o pipefail\n" + "".join(blocks)
    return subprocess.run(["bash"], input=given, cwd=folder, capture_output=True, text=True, timeout=60, check=False)


@by_hand
def test_a_bundle_is_checked_by_hand_as_the_page_says(tmp_path: Path) -> None:
    """The kept bundle: all eight files OK, every row as appended, the verdict and its counts."""
    shutil.copy(frozen_path(2), tmp_path)
    told = typed(tmp_path, BLOCKS)
    assert told.returncode == 0, told.stderr
    lines = told.stdout.splitlines()
    assert sum(line.endswith(": OK") for line in lines) == 8
    assert "every row is what was appended" in lines
    assert any(re.fullmatch(r"row \d+ competent shown: competent", line) for line in lines)
    assert any(re.fullmatch(r"systolic within 5 : \d+ of \d+ asked \d+", line) for line in lines)


@by_hand
@pytest.mark.parametrize(
    ("name", "old", "new", "block", "told"),
    [
        ("evidence.json", '"number": 2', '"number": 3', 0, "evidence.json: FAILED"),
        ("rows.jsonl", 'systolic\\":1', 'systolic\\":2', 1, "AssertionError"),
        ("evidence.json", '"written": [\n     1', '"written": [\n     2', 2, "AssertionError"),
    ],
)
def test_what_was_altered_is_found_by_hand(
    name: str, old: str, new: str, block: int, told: str, tmp_path: Path
) -> None:
    """A figure changed after unpacking: the digest of the file, the row's own, and the row it follows from say so."""
    shutil.copy(frozen_path(2), tmp_path)
    typed(tmp_path, BLOCKS[:1])
    path = tmp_path / "bundle" / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    lines = BLOCKS[block].split("\n", 1)[1].replace("cd bundle\n", "") if block == 0 else BLOCKS[block]
    found = typed(tmp_path / "bundle", [lines])
    assert found.returncode != 0
    assert told in found.stdout + found.stderr


def test_the_table_is_what_is_compared() -> None:
    """Each place with its fields, which of them are words, and the format since which they are there."""
    shown = re.findall(r"^\| `([^`]+)` \| (.+) \| (\d+) \|$", PAGE, re.MULTILINE)
    wanted = []
    for version, told in FIELDS.items():
        for where, names in told.items():
            fields = []
            for name in names:
                key = name if where == "evidence.json" else f"{where}.{name}"
                fields.append(f"`{name}`" + (" (words)" if {key, f"{key}[]"} & WORDED else ""))
            wanted.append((where, ", ".join(fields), str(version)))
    assert shown == wanted
