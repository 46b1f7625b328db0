"""A learner's own data: what is kept, the word for another device, erasing; and the list of lone learners."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import classes
from hushpoint.errors import BadInputError, NotAllowedError
from hushpoint.web.context import LEARNER_COOKIE, context_of, known_learner, lecturer_only, off_loop, page
from hushpoint.web.forms import form_of

OWN_WISH = "at the learner's own wish"


async def own_data(request: Request) -> Response:
    """Show what is kept about the learner, and the word for another device."""
    learner = await off_loop(lambda: known_learner(request))
    if learner is None:
        return RedirectResponse("/", 303)
    ledger = context_of(request).ledger
    word = await off_loop(lambda: classes.word_of(ledger, learner.room, learner.who)) if learner.room else ""
    return page(request, "own_data.html", {"word": word, "mark": learner.who[:8], "room": learner.room})


async def erase_own(request: Request) -> Response:
    """Erase everything about somebody who practises alone, at their own wish."""
    learner = await off_loop(lambda: known_learner(request))
    if learner is None:
        raise NotAllowedError("nobody has joined on this device: join a class or practise alone first")
    if learner.room:
        raise NotAllowedError("Your readings are part of your class's record. Ask your lecturer to erase them.")
    form = await form_of(request)
    if form.text("sure") != "yes":
        raise BadInputError("Tick that you want to erase everything about you.")
    ledger, who = context_of(request).ledger, learner.who
    await off_loop(lambda: classes.erase_lone(ledger, who=who, why=OWN_WISH))
    response = RedirectResponse("/", 303)
    response.delete_cookie(LEARNER_COOKIE, path="/")
    return response


async def lone(request: Request) -> Response:
    """List those who practise alone, by their mark."""
    lecturer_only(request)
    ledger = context_of(request).ledger
    return page(request, "own_data_lone.html", {"people": await off_loop(lambda: classes.lone_learners(ledger))})


async def erase_lone(request: Request) -> Response:
    """Erase everything about one of them, when they ask for it."""
    lecturer_only(request)
    form = await form_of(request)
    if form.text("sure") != "yes":
        raise BadInputError("Tick that you want to erase everything about this learner.")
    ledger, who = context_of(request).ledger, request.path_params["lone"]
    await off_loop(lambda: classes.erase_lone(ledger, who=who, why="at the learner's request"))
    return RedirectResponse("/class/alone", 303)


routes = [
    Route("/practise/my-data", own_data),
    Route("/practise/my-data/erase", erase_own, methods=["POST"]),
    Route("/class/alone", lone),
    Route("/class/alone/{lone}/erase", erase_lone, methods=["POST"]),
]
"""Before the routes of classes: a class's code has four letters, so none is called alone."""
