"""The examples of the manual: fenced blocks marked `console`, and what a reader would type in them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

DOCS = Path(__file__).resolve().parents[1] / "docs"
PAGES = sorted(DOCS.glob("*.md"))
_BLOCK = re.compile(r"^ *```console\n(.*?)^ *```", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Typed:
    """One line that a reader types, and what the page shows for it."""

    line: str
    shown: str

    @property
    def command(self) -> str:
        """The command of `hushpoint` that is called, "" for a line of the shell's own."""
        words = self.line.split()
        return words[1] if words[0] == "hushpoint" and len(words) > 1 else ""


def typed_in(page: Path) -> list[Typed]:
    """Every line a page's examples have the reader type, in order."""
    found = []
    for block in _BLOCK.findall(page.read_text(encoding="utf-8")):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            line, _, shown = part.replace("\\\n", " ").partition("\n")
            found.append(Typed(line.strip(), shown))
    return found
