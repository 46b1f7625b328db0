"""Forms, files and JSON as they come in: read once, checked, nothing kept."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request

from hushpoint.errors import BadInputError

LARGEST_PART = 4_500_000
MOST_FIELDS = 20
_HALF = re.compile("[\ud800-\udfff]")
"""Halves of characters, which a form in an odd character set can hold and no page can show."""


@dataclass(frozen=True, slots=True)
class Form:
    """A form's texts, its files as bytes with their names, and every text of a field that was sent more than once."""

    texts: dict[str, str]
    files: dict[str, tuple[str, bytes]]
    lists: dict[str, list[str]] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """Return a field's text, "" where it is missing."""
        return self.texts.get(name, "")


async def opened_form(request: Request, *, most_fields: int = MOST_FIELDS) -> FormData:
    """Return a form whose files lie on disk beyond a megabyte; the caller closes it.

    Raises BadInputError, one line, where it cannot be read.
    """
    try:
        return await request.form(max_files=2, max_fields=most_fields, max_part_size=LARGEST_PART)
    except HTTPException as refusal:
        raise BadInputError(f"form: {refusal.detail}") from refusal
    except (ValueError, LookupError) as error:
        raise BadInputError("form: cannot be read") from error
    except OSError as trouble:  # what is sent lies in the temporary folder while it comes in
        raise BadInputError(f"the temporary folder: {trouble.strerror}; nothing was kept") from None


async def form_of(request: Request, *, most_fields: int = MOST_FIELDS) -> Form:
    """Read a form; raises BadInputError, one line, where it cannot be read."""
    texts: dict[str, str] = {}
    files: dict[str, tuple[str, bytes]] = {}
    lists: dict[str, list[str]] = {}
    form = await opened_form(request, most_fields=most_fields)
    try:
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                files[name] = (value.filename or "", await value.read())
            else:
                texts[name] = value
                lists.setdefault(name, []).append(value)
    finally:
        await form.close()
    if any(
        _HALF.search(text)
        for pair in (*texts.items(), *((key, name) for key, (name, _) in files.items()))
        for text in pair
    ):
        raise BadInputError("form: must be whole characters in UTF-8")
    return Form(texts, files, lists)


async def read_json(request: Request) -> dict[str, Any]:
    """Return the body, a JSON object; raises BadInputError, one line. What no store keeps, the ledger refuses."""
    raw = await request.body()
    try:
        body = await run_in_threadpool(lambda: json.loads(raw.decode("utf-8"), parse_constant=_no_constant))
    except UnicodeDecodeError:
        raise BadInputError("the body: must be JSON in UTF-8") from None
    except (ValueError, RecursionError):
        raise BadInputError("the body: must be JSON") from None
    if not isinstance(body, dict):
        raise BadInputError("the body: must be a JSON object")
    return body


def _no_constant(name: str) -> float:
    raise ValueError(name)
