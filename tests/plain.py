"""What is left of an answer once ids, times, lengths and cookies are gone: they hold digits that tell nothing."""

from __future__ import annotations

import re

OWN_DIGITS = re.compile(
    r"hushpoint_\w+=[^;\s]*"  # what signs a cookie
    r"|[0-9a-f]{16,}"
    r"|[\d.]+Z|\d{13}(\.\d+)?|\d{4}-\d\d-\d\d\S*|\d\d:\d\d:\d\d"
    r"|(?:, )?\d\d? [A-Z][a-z]{2} \d{4}"
    r"|[\"']content-length[\"']: [\"']\d+[\"']"
    r"|maxlength=\"\d+\""
)


def plain(text: str) -> str:
    """A page, a state or headers as text, without the digits that every answer holds."""
    return OWN_DIGITS.sub("", text)
