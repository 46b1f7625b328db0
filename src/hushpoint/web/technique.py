"""The technique sheet on a phone, its delivery, and what assessors saw side by side."""

from __future__ import annotations

import secrets
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import classes, technique
from hushpoint.guideline.technique_steps import MOMENTS, technique_steps
from hushpoint.ledger.records import Kind
from hushpoint.web.context import context_of, done, lecturer_only, off_loop, page
from hushpoint.web.forms import form_of, read_json

LATEST = 40
"""How many of a class's newest performances its page lists."""


async def sheets(request: Request) -> Response:
    """List the performances of a class, and begin one."""
    lecturer_only(request)
    info = await _info(request)
    ledger = context_of(request).ledger
    if request.method == "POST":
        form = await form_of(request)
        ref = form.text("ref") or secrets.token_hex(8)
        learner = form.text("learner")
        begun = await off_loop(lambda: technique.begin(ledger, room=info.code, learner=learner, ref=ref))
        return RedirectResponse(f"/class/{info.code}/technique/{begun}", 303)
    names = await off_loop(lambda: classes.names_of(ledger, info.code))
    people = await off_loop(lambda: classes.people_of(ledger, info.code))
    watched = await off_loop(lambda: technique.performances(ledger, info.code))
    chosen = request.query_params.get("learner", "")
    values = {
        "info": info,
        "names": names,
        "people": sorted(people.items(), key=lambda one: one[1].casefold()),
        "chosen": chosen if chosen in names else "",
        "watched": [one for one in watched if one.learner in names][:LATEST],
        "compared": technique.assessors_compared(watched),
        "overall": technique.OVERALL,
        "ref": secrets.token_hex(8),
    }
    return page(request, "technique.html", values)


async def sheet(request: Request) -> Response:
    """Show an empty sheet for a performance, or store one that is delivered."""
    lecturer_only(request)
    info = await _info(request)
    ledger, key = context_of(request).ledger, request.path_params["performance"]
    if request.method == "POST":
        asked = await read_json(request)
        seq = await off_loop(lambda: technique.mark(ledger, room=info.code, performance=key, sheet=asked))
        return await done(
            request, JSONResponse({"stored": seq}), Kind.TECHNIQUE_MARKED, room=info.code, performance=key
        )
    return page(request, "technique_sheet.html", {"info": info, **await _performance(request, info)})


async def marks(request: Request) -> Response:
    """Show what the assessors of one performance saw, step by step, and how far they agree."""
    lecturer_only(request)
    info = await _info(request)
    values = await _performance(request, info)
    watched: technique.Performance = values["performance"]
    return page(
        request, "technique_marks.html", {"info": info, **values, "compared": technique.assessors_compared([watched])}
    )


async def _performance(request: Request, info: classes.ClassInfo) -> dict[str, Any]:
    ledger, key = context_of(request).ledger, request.path_params["performance"]
    found = await off_loop(lambda: technique.find(ledger, info.code, key))
    name = await off_loop(lambda: classes.name_of(ledger, info.code, found.learner))
    return {
        "performance": found,
        "name": name,
        "moments": MOMENTS,
        "steps": technique_steps(),
        "overall": technique.OVERALL,
    }


async def _info(request: Request) -> classes.ClassInfo:
    ledger, code = context_of(request).ledger, request.path_params["code"]
    return await off_loop(lambda: classes.find_class(ledger, code))


routes = [
    Route("/class/{code}/technique", sheets, methods=["GET", "POST"]),
    Route("/class/{code}/technique/{performance}", sheet, methods=["GET", "POST"]),
    Route("/class/{code}/technique/{performance}/marks", marks),
]
