"""What a bad gauge touched: the worklist, decisions on one line or many, the list as CSV and PDF."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import kit, visits
from hushpoint.desk import recall as desk
from hushpoint.desk import recall_sheet as sheet
from hushpoint.errors import BadInputError
from hushpoint.guideline.bands import CLINICAL_IDS
from hushpoint.web.context import context_of, lecturer_only, off_loop, page, reader_of
from hushpoint.web.forms import Form, form_of

LINES_PER_PAGE = 100
MOST_FIELDS = LINES_PER_PAGE + 10
PARTS: dict[str, tuple[str, Callable[[desk.Line], bool]]] = {
    "all": ("Everything", lambda _line: True),
    "undecided": ("Not decided", lambda line: line.decided is None),
    **{
        name: (words, lambda line, name=name: line.urgency == name)  # type: ignore[misc]
        for name, words in desk.URGENCIES.items()
    },
}
"""The parts of the list that can be shown alone."""


async def worklist(request: Request) -> Response:
    """Show what a failed gauge touched."""
    lecturer_only(request)
    return await _list_page(request)


async def decide(request: Request) -> Response:
    """Record one decision on the lines chosen."""
    lecturer_only(request)
    form = await form_of(request, most_fields=MOST_FIELDS)
    ledger = context_of(request).ledger
    found = await off_loop(lambda: _found(request))
    keys = form.lists.get("line", [])
    if form.text("all") == "yes":
        keys = [line.key for line in _shown(request, found)]
    try:
        await off_loop(
            lambda: desk.decide(
                ledger, found, keys=keys, decision=form.text("decision"), by=form.text("by"), why=form.text("why")
            )
        )
    except BadInputError as refusal:
        return await _list_page(request, form=form, refusal=str(refusal))
    return RedirectResponse(f"/kit/recall/{found.window.gauge.id}?{_query(request)}", 303)


async def as_csv(request: Request) -> Response:
    """Send the list as CSV."""
    lecturer_only(request)
    found = await off_loop(lambda: _found(request))
    text = io.StringIO(newline="")
    await off_loop(lambda: csv.writer(text).writerows(sheet.csv_rows(found)))
    return _file(text.getvalue().encode(), "text/csv; charset=utf-8", f"recall-{found.window.gauge.id}.csv")


async def as_pdf(request: Request) -> Response:
    """Send the part shown as PDF."""
    lecturer_only(request)
    found = await off_loop(lambda: _found(request))
    words, invented, to = PARTS[_part(request)][0], context_of(request).invented, reader_of(request)
    made = await off_loop(
        lambda: sheet.worklist_pdf(
            found, _shown(request, found), part=words, made_at=datetime.now(UTC), invented=invented, to=to
        )
    )
    return _file(made, "application/pdf", f"recall-{found.window.gauge.id}.pdf")


def _found(request: Request) -> desk.Recall:
    ledger = context_of(request).ledger
    gauge = kit.item(ledger, request.path_params["gauge"])
    policy = request.query_params.get("policy") or desk.POLICY
    known = visits.known_by_room(ledger)
    return desk.recall(ledger, desk.window_of(gauge), visit_known=known, policy_id=policy)


def _part(request: Request) -> str:
    asked = request.query_params.get("show", "all")
    if asked not in PARTS:
        raise BadInputError(f"show: must be one of {', '.join(PARTS)}")
    return asked


def _shown(request: Request, found: desk.Recall) -> list[desk.Line]:
    holds = PARTS[_part(request)][1]
    return [line for line in found.lines if holds(line)]


def _query(request: Request, **changed: str) -> str:
    kept = {"show": _part(request), "policy": request.query_params.get("policy", ""), **changed}
    return urlencode({name: value for name, value in kept.items() if value})


async def _list_page(request: Request, *, form: Form | None = None, refusal: str = "") -> Response:
    found = await off_loop(lambda: _found(request))
    lines = _shown(request, found)
    text = request.query_params.get("page", "1")
    pages = max(1, -(-len(lines) // LINES_PER_PAGE))
    number = min(int(text), pages) if text.isascii() and text.isdigit() and 0 < len(text) < 6 else 1
    part = lines[(max(number, 1) - 1) * LINES_PER_PAGE :][:LINES_PER_PAGE]
    counts = {name: sum(map(holds, found.lines)) for name, (_, holds) in PARTS.items()}

    def drawn() -> dict[str, Any]:
        return {
            "rows": {line.key: sheet.shown_rows(line) for line in part},
            "whys": {line.key: line.why for line in part},
            "by_hand": {line.key: sheet.by_hand(line) for line in part},
        }

    values = {
        **await off_loop(drawn),
        "found": found,
        "window": found.window,
        "lines": part,
        "chosen": set(form.lists.get("line", [])) if form else set(),
        "typed": form.texts if form else {},
        "parts": [(name, reader_of(request).on_pictures(words), counts[name]) for name, (words, _) in PARTS.items()],
        "showing": _part(request),
        "queries": {name: _query(request, show=name) for name in PARTS},
        "query": _query(request),
        "page_queries": [_query(request, page=str(each)) for each in range(1, pages + 1)],
        "number": max(number, 1),
        "total": len(lines),
        "touched": sum(len(line.touched) for line in found.lines),
        "moved": sheet.moved_words(found.moved),
        "basis": sheet.basis_words(found),
        "category": sheet.category_words,
        "action": sheet.action_words,
        "words": {name: words for name, (words, _) in desk.DECISIONS.items()},
        "roles": desk.ROLES,
        "longest": desk.LONGEST_WHY,
        "policies": CLINICAL_IDS,
        "policy": request.query_params.get("policy") or desk.POLICY,
        "cautions": found.cautions(),
        "refusal": refusal,
    }
    return page(request, "recall.html", values, status=422 if refusal else 200)


def _file(data: bytes, media_type: str, name: str) -> Response:
    return Response(data, media_type=media_type, headers={"Content-Disposition": f'attachment; filename="{name}"'})


routes = [
    Route("/kit/recall/{gauge}", worklist),
    Route("/kit/recall/{gauge}/decide", decide, methods=["POST"]),
    Route("/kit/recall/{gauge}/list.csv", as_csv),
    Route("/kit/recall/{gauge}/worklist.pdf", as_pdf),
]
