"""Who is practising, JSON read with limits, and where to go next: what the bench's routes ask for."""

from __future__ import annotations

import json
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse

from hushpoint.desk import classes
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.web.context import Learner, context_of, learner_or_none, page

__all__ = ["Learner", "context_of", "go", "learner_of", "page", "read_json"]


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
