"""The door: what are you here to do, joining a class, leaving."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import classes
from hushpoint.errors import BadInputError, NotAllowedError
from hushpoint.guideline import teaching_policies
from hushpoint.web.context import (
    LEARNER_COOKIE,
    LEARNER_S,
    STAFF_COOKIE,
    context_of,
    give_cookie,
    is_lecturer,
    known_learner,
    off_loop,
    page,
)
from hushpoint.web.forms import form_of

LONGEST_WORD = 20


async def door(request: Request) -> Response:
    """Ask what the visitor is here to do."""
    return page(request, "door.html")


async def find(request: Request) -> Response:
    """Go on from a typed code to its class."""
    code = request.query_params.get("code", "").strip().upper()
    if not code:
        return RedirectResponse("/", 303)
    info = await off_loop(lambda: classes.find_class(context_of(request).ledger, code))
    return RedirectResponse(f"/join/{info.code}", 303)


async def join(request: Request) -> Response:
    """Ask for a name, and let the learner in."""
    ledger = context_of(request).ledger
    info = await off_loop(lambda: classes.find_class(ledger, request.path_params["code"]))
    values = {"info": info, "name": "", "refusal": "", "ask_word": False, "ask_new": False}
    if request.method == "GET":
        return page(request, "join.html", values)
    form = await form_of(request)
    name, word = form.text("name"), form.text("word")[:LONGEST_WORD]
    try:
        who = await _joined(request, info.code, name, word, new=form.text("new") == "yes")
    except (BadInputError, NotAllowedError, classes.NameTakenError, classes.NotListedError) as refusal:
        taken, unlisted = (isinstance(refusal, one) for one in (classes.NameTakenError, classes.NotListedError))
        values |= {"name": name[: classes.LONGEST_NAME], "refusal": str(refusal)}
        values |= {"ask_word": taken or bool(word), "ask_new": unlisted}
        status = 409 if taken or unlisted else 403 if isinstance(refusal, NotAllowedError) else 422
        return page(request, "join.html", values, status=status)
    return await _let_in(request, who, info.code)


async def _joined(request: Request, code: str, name: str, word: str, *, new: bool) -> str:
    """Join; guesses at a word cost time as guesses at a password do."""
    context = context_of(request)
    if not word:
        return await off_loop(lambda: classes.join(context.ledger, room=code, name=name, new=new))
    address = f"word of {request.client.host if request.client else ''}"
    async with context.guesses.turn(address):
        try:
            who = await off_loop(lambda: classes.join(context.ledger, room=code, name=name, word=word, new=new))
        except BadInputError:
            context.guesses.tell(address, right=False)
            raise
        context.guesses.tell(address, right=True)
    return who


async def alone(request: Request) -> Response:
    """Let someone practise without class or name."""
    who = await off_loop(lambda: classes.join_alone(context_of(request).ledger))
    return await _let_in(request, who, classes.ALONE)


async def leave(request: Request) -> Response:
    """Forget on this device who was here; who practises alone is asked first, as nobody could come back."""
    form = await form_of(request)
    learner = await off_loop(lambda: known_learner(request))
    if learner is not None and not learner.room and not is_lecturer(request) and form.text("sure") != "yes":
        return page(request, "leave.html")
    response = RedirectResponse("/", 303)
    for name in (LEARNER_COOKIE, STAFF_COOKIE):
        response.delete_cookie(name, path="/")
    return response


async def policy(request: Request) -> Response:
    """List the teaching policies with their sources."""
    return page(request, "policy.html", {"policies": list(teaching_policies().values())})


async def health(request: Request) -> Response:
    """Say whether the ledger answers; no count of rows, which would tell of a sealed half."""
    await off_loop(context_of(request).ledger.last)
    return JSONResponse({"ready": True})


async def _let_in(request: Request, who: str, room: str) -> Response:
    response = RedirectResponse("/practise", 303)
    row = await off_loop(lambda: classes.came_in_with(context_of(request).ledger, room, who))
    give_cookie(request, response, LEARNER_COOKIE, {"who": who, "room": room, "in": str(row)}, LEARNER_S)
    return response


routes = [
    Route("/", door),
    Route("/join", find),
    Route("/join/alone", alone, methods=["POST"]),
    Route("/join/{code}", join, methods=["GET", "POST"]),
    Route("/leave", leave, methods=["POST"]),
    Route("/policy", policy),
    Route("/healthz", health),
]
