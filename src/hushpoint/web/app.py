"""The app: its routes, and the one place where a refusal becomes an answer."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from http import HTTPStatus
from pathlib import Path
from urllib.parse import urlencode

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Mount
from starlette.staticfiles import StaticFiles

from hushpoint.errors import AlreadyDoneError, BadInputError, HushpointError, NotAllowedError, NotFoundError
from hushpoint.web import (
    access,
    agreement,
    check,
    client,
    door,
    evidence,
    habits,
    kit,
    klass,
    lesson,
    manual,
    measured,
    metrics,
    own_data,
    pairs,
    papers,
    practise,
    questions,
    recall,
    recordings,
    rotation,
    rounds,
    technique,
    tour,
    undo,
    whose,
)
from hushpoint.web.busy import Busy
from hushpoint.web.context import Context, page, reader_of, safe_next
from hushpoint.web.guard import Guard
from hushpoint.web.live import News

_log = logging.getLogger("hushpoint")
_STATIC = Path(__file__).with_name("static")
_STATUS: tuple[tuple[type[HushpointError], int], ...] = (
    (BadInputError, 422),
    (NotFoundError, 404),
    (NotAllowedError, 403),
    (AlreadyDoneError, 409),
)
AGAIN_S = "5"
"""When to come again while the store cannot be used [s]."""
_WORDS = {
    401: "Come in first",
    403: "Not for you here",
    404: "Not here",
    405: "Not like this",
    409: "Done already",
    413: "Too large",
    422: "Not taken",
    429: "Wait a moment",
}


def routes() -> list[BaseRoute]:
    """Return every route of the app."""
    return [
        *door.routes,
        *habits.routes,
        *access.routes,
        *own_data.routes,
        *klass.routes,
        *practise.routes,
        *pairs.routes,
        *whose.routes,
        *technique.routes,
        *agreement.routes,
        *check.routes,
        *recordings.routes,
        *client.routes,
        *rounds.routes,
        *recall.routes,
        *rotation.routes,
        *lesson.routes,
        *questions.routes,
        *measured.routes,
        *metrics.routes,
        *tour.routes,
        *undo.routes,
        *evidence.routes,
        *papers.routes,
        *kit.routes,
        *manual.routes,
        Mount("/static", StaticFiles(directory=_STATIC), name="static"),
    ]


def make_app(context: Context, *, names: frozenset[str] | None = None, https_only: bool = False) -> Starlette:
    """Return the app over these parts; nothing is opened here."""
    counts = metrics.Metrics()
    app = Starlette(
        routes=routes(),
        middleware=[
            Middleware(metrics.Counted, metrics=counts),
            Middleware(Guard, names=names, https_only=https_only),
            Middleware(Busy),
        ],
        exception_handlers={HushpointError: _refused, HTTPException: _refused},
    )
    app.state.context = context
    app.state.news = News(context.ledger)
    app.state.metrics = counts
    return app


async def _refused(request: Request, refusal: Exception) -> Response:
    """Answer a refusal with its one line, as JSON to a script and as a page to a person."""
    if isinstance(refusal, HTTPException):
        unknown = refusal.detail == HTTPStatus.NOT_FOUND.phrase
        line = (
            "There is no such page. Look whether the address is whole, or begin at the start."
            if unknown
            else refusal.detail
        )
        return _answer(request, refusal.status_code, line, refusal.headers)
    status = next((code for kind, code in _STATUS if isinstance(refusal, kind)), None)
    if status is None:  # a store that cannot write: where it stands and why is for whoever runs the laptop
        _log.error("%s", refusal)
        line = "The store cannot be used at the moment. Nothing was half written; try again."
        return _answer(request, 503, line, {"Retry-After": AGAIN_S})
    return _answer(request, status, str(refusal))


def _answer(request: Request, status: int, line: str, headers: Mapping[str, str] | None = None) -> Response:
    if "text/html" not in request.headers.get("accept", ""):
        return JSONResponse({"error": reader_of(request).sentence(line)}, status, headers)
    values = {"title": _WORDS.get(status, "Not now"), "line": line, "come_in": "", "ask_code": False}
    if status == HTTPStatus.NOT_FOUND and request.url.path.startswith("/join"):
        values |= {"ask_code": True, "typed": request.query_params.get("code", "")[:12]}
    if status == HTTPStatus.UNAUTHORIZED:
        there = safe_next(request.url.path if request.method == "GET" else "")
        values["come_in"] = f"/class?{urlencode({'next': there})}" if there else "/class"
    answer = page(request, "refused.html", values, status=status)
    answer.headers.update(headers or {})
    return answer
