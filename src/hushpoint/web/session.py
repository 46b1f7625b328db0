"""Who is practising, JSON read with limits, and where to go next: what the bench's routes ask for."""

from __future__ import annotations

import json
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse

from hushpoint.desk import classes
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.web.context import Learner, context_of, learner_or_none, page

__all__ = ["Learner", "context_of", "go", "learner_of", "page", "read_json"]

_LOWEST_INTEGER, _HIGHEST_INTEGER = -(2**63), 2**63 - 1
_DEEPEST = 20


def learner_of(request: Request) -> Learner | None:
    """Return the learner who joined on this device; None where nobody has, or their data was erased."""
    learner = learner_or_none(request)
    if learner is None:
        return None
    try:
        classes.name_of(context_of(request).ledger, learner.room, learner.who)
    except NotFoundError:
        return None
    return learner


def go(path: str) -> RedirectResponse:
    """Send the browser on after an act."""
    return RedirectResponse(path, 303)


async def read_json(request: Request) -> dict[str, Any]:
    """Return the body, a JSON object that every store can keep; raises BadInputError, one line."""
    raw = await request.body()
    try:
        body = json.loads(raw.decode("utf-8"), parse_constant=_no_constant)
        _keepable(body, 0)
    except UnicodeDecodeError:
        raise BadInputError("the body: must be JSON in UTF-8") from None
    except (ValueError, RecursionError):
        raise BadInputError("the body: must be JSON of finite numbers (integers of 64 bits), texts and lists") from None
    if not isinstance(body, dict):
        raise BadInputError("the body: must be a JSON object")
    return body


def _no_constant(name: str) -> float:
    raise ValueError(name)


def _keepable(value: object, depth: int) -> None:
    """Refuse what no store keeps: integers over 64 bits, infinities, NUL, half characters, deep nests."""
    if depth > _DEEPEST:
        raise ValueError("deep")
    if isinstance(value, str):
        if "\x00" in value or any("\ud800" <= letter <= "\udfff" for letter in value):
            raise ValueError("text")
    elif isinstance(value, int):
        if not _LOWEST_INTEGER <= value <= _HIGHEST_INTEGER:
            raise ValueError("integer")
    elif isinstance(value, float):
        if value in (float("inf"), float("-inf")):
            raise ValueError("float")
    elif isinstance(value, dict):
        for key, inner in value.items():
            _keepable(key, depth + 1)
            _keepable(inner, depth + 1)
    elif isinstance(value, list):
        for inner in value:
            _keepable(inner, depth + 1)
