"""Oral questions on the phone: one after another, the right answer and its source after each."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import questions
from hushpoint.errors import BadInputError, NotAllowedError
from hushpoint.web.context import context_of, known_learner, off_loop, page
from hushpoint.web.forms import form_of

DOOR = "/"


async def ask(request: Request) -> Response:
    """Show the next question; take an answer and show what was right."""
    learner = await off_loop(lambda: known_learner(request))
    ledger = context_of(request).ledger
    if learner is None:
        if request.method == "GET":
            return RedirectResponse(DOOR, 303)
        raise NotAllowedError("nobody has joined on this device: join a class or practise alone first")
    given, refusal = None, ""
    if request.method == "POST":
        form = await form_of(request)
        number, choice = form.text("number"), form.text("choice")
        try:
            given = await off_loop(
                lambda: questions.answer(ledger, room=learner.room, who=learner.who, number=number, choice=choice)
            )
        except BadInputError as refused:
            refusal = str(refused)
    values = {
        "given": given,
        "refusal": refusal,
        "asked": given.question if given else await off_loop(lambda: questions.next_question(ledger, learner.who)),
        "tally": await off_loop(lambda: questions.tally(ledger, learner.who)),
    }
    return page(request, "questions.html", values, status=422 if refusal else 200)


routes = [Route("/practise/questions", ask, methods=["GET", "POST"])]
