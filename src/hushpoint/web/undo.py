"""Taking back what was done: the list of it, and the one form that every page's Undo posts."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import undo
from hushpoint.errors import BadInputError
from hushpoint.ledger.records import Kind, Row
from hushpoint.web.context import (
    DONE_COOKIE,
    DONE_S,
    asker_of,
    context_of,
    give_cookie,
    off_loop,
    page,
    safe_next,
)
from hushpoint.web.forms import form_of

LONGEST_ROW = 15


def _item(row: Row) -> str:
    return f"/kit/{(row.body or {})['item']}"


_THEN: Mapping[Kind, Callable[[Row], str]] = {
    Kind.CLASS_OPENED: lambda _row: "/class",
    Kind.VISIT_BEGUN: lambda _row: "/client",
    Kind.VISIT_CLOSED: lambda row: f"/client/{row.room}",
    Kind.PAPER_SET: lambda row: f"/class/{row.room}/papers",
    Kind.TECHNIQUE_BEGUN: lambda row: f"/class/{row.room}/technique",
    Kind.ROSTER_ADDED: lambda row: f"/class/{row.room}",
    Kind.KIT_ADDED: lambda _row: "/kit",
    Kind.KIT_CHECKED: _item,
    Kind.KIT_TIMED: _item,
}
"""Where to go on to where the page that was asked from is no more."""


async def lately(request: Request) -> Response:
    """List what whoever asks did and may take back."""
    asker = await _asker(request)
    context = context_of(request)
    found = await off_loop(lambda: undo.lately(context.ledger, asker, context.clock()))
    return page(request, "undo.html", {"found": found, "hours": undo.WITHIN_HOURS})


async def take_back(request: Request) -> Response:
    """Take an act back, and go on to the page it was asked from."""
    asker = await _asker(request)
    form = await form_of(request)
    context, text = context_of(request), form.text("row")
    if not (text.isascii() and text.isdigit() and len(text) <= LONGEST_ROW):
        raise BadInputError("row: must be the number of a row of the journal")
    row = await off_loop(lambda: undo.take_back(context.ledger, int(text), asker, context.clock()))
    then = _THEN.get(row.kind)
    response = RedirectResponse(then(row) if then else safe_next(form.text("next"), "/undo"), 303)
    give_cookie(request, response, DONE_COOKIE, {"row": text}, DONE_S)
    return response


async def _asker(request: Request) -> undo.Asker:
    asker = await off_loop(lambda: asker_of(request))
    if asker is None:
        raise HTTPException(401, "Acts are taken back by who did them. Join your class first, or come in at /class.")
    return asker


routes = [
    Route("/undo", lately),
    Route("/undo", take_back, methods=["POST"]),
]
