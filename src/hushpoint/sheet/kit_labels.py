"""Labels for kit: a picture code that a phone's camera opens, and the item's label large. 24 on a page of A4."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

PER_PAGE = 24
"""Three across, eight down, 70 × 37 mm each: a common size of label sheet."""


@dataclass(frozen=True, slots=True)
class Label:
    """What one label says: the item's own label, a line of kind, a line of measure, and the address in its picture."""

    text: str
    kind: str
    line: str
    address: str


def labels(found: Sequence[Label], *, used: int = 0, invented: bool = False) -> tuple[dict[str, Any], dict[str, bytes]]:
    """Return the values and pictures for the layout `kit_labels`; the first `used` places of the sheet stay empty.

    Pictures are SVG in capitals mode where the address allows it, error correction M, with the four modules of white
    around them that a reader needs (ISO/IEC 18004).
    """
    import segno

    pictures: dict[str, bytes] = {}
    rows: list[dict[str, str] | None] = [None] * used
    for place, one in enumerate(found):
        drawn = io.BytesIO()
        segno.make(one.address, error="m", micro=False).save(drawn, kind="svg", border=4, light="#fff")
        pictures[f"code-{place}.svg"] = drawn.getvalue()
        rows.append({"text": one.text, "kind": one.kind, "line": one.line, "picture": f"code-{place}.svg"})
    return {"labels": rows, "invented": invented}, pictures
