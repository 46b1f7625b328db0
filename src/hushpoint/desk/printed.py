"""A sheet in the language of whoever reads it: the layout's texts and the values, English where nobody is told.

Evidence bundles are not made here: they are recomputed by an auditor, and stay English to the byte.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from hushpoint.sheet.pdf import pdf
from hushpoint.words import ENGLISH, Reader, reader


def printed(
    layout: str,
    values: Mapping[str, Any],
    *,
    to: Reader | None,
    made_at: datetime,
    pictures: Mapping[str, bytes] | None = None,
) -> bytes:
    """Return a PDF of a layout; values that are no sentences of ours are taken as they are."""
    to = to or reader(ENGLISH)
    return pdf(layout, to.shown(values), made_at=made_at, pictures=pictures, say=to.say, language=to.language)
