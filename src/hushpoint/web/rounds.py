"""Rounds: the lecturer's controls and the wall, the learners' phones, and the clock they share."""

from __future__ import annotations

import gzip
import json
import time
from collections.abc import AsyncIterator
from http import HTTPStatus
from typing import Any

from sse_starlette import EventSourceResponse, ServerSentEvent
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import classes, playing, rounds
from hushpoint.errors import NotAllowedError, NotFoundError
from hushpoint.ledger.records import Kind
from hushpoint.practice.sealed import KINDS
from hushpoint.web.context import Context, Learner, context_of, done, known_learner, lecturer_only, off_loop, page
from hushpoint.web.forms import form_of, read_json
from hushpoint.web.live import news_of

ON_THE_PHONE = frozenset(rounds.ROWS) - {Kind.ROUND_READY}
"""What changes a phone's page: that another phone is ready does not."""


async def control(request: Request) -> Response:
    """Show the lecturer's page of the newest round: open, start, open the answers, cancel."""
    lecturer_only(request)
    info = await _info(request)
    found, seq = await _newest(request, info.code)
    values = {
        "info": info,
        "seq": seq,
        "kinds": [(kind, rounds.kind_words(kind)) for kind in KINDS],
        **await _values(info, found),
    }
    return page(request, "round_control.html", values)


async def open_round(request: Request) -> Response:
    """Open a round on the class."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, code = context_of(request).ledger, (await _info(request)).code
    await off_loop(lambda: rounds.open_round(ledger, room=code, kind=form.text("kind") or rounds.ANY))
    return await done(
        request, RedirectResponse(f"/class/{code}/rounds", HTTPStatus.SEE_OTHER), Kind.ROUND_OPENED, room=code
    )


async def start(request: Request) -> Response:
    """Let every phone play at one moment."""
    lecturer_only(request)
    ledger, code = context_of(request).ledger, (await _info(request)).code
    round_id = request.path_params["round"]
    await off_loop(lambda: rounds.start(ledger, room=code, round_id=round_id, now_ms=server_ms()))
    return RedirectResponse(f"/class/{code}/rounds", HTTPStatus.SEE_OTHER)


async def close(request: Request) -> Response:
    """Open the answers, or cancel the round."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, code = context_of(request).ledger, (await _info(request)).code
    round_id = request.path_params["round"]
    await off_loop(lambda: rounds.close(ledger, room=code, round_id=round_id, how=form.text("how")))
    return RedirectResponse(f"/class/{code}/rounds", HTTPStatus.SEE_OTHER)


async def control_events(request: Request) -> Response:
    """Send the lecturer's part anew whenever something was stored."""
    lecturer_only(request)
    return await _drawn_events(request, "round_control_part.html")


async def wall(request: Request) -> Response:
    """Show the round to everyone: how many sealed, then the spread; no names, no controls."""
    lecturer_only(request)
    info = await _info(request)
    found, seq = await _newest(request, info.code)
    return page(request, "round_wall.html", {"info": info, "seq": seq, **await _values(info, found)})


async def wall_events(request: Request) -> Response:
    """Send the wall anew whenever something was stored."""
    lecturer_only(request)
    return await _drawn_events(request, "round_wall_part.html")


async def server_time(_request: Request) -> Response:
    """Answer at once with the server's clock, from which a phone works out how far its own is off."""
    return JSONResponse({"now_ms": server_ms()})


async def learners_page(request: Request) -> Response:
    """Show the learner's page of rounds: it follows whatever round the class has."""
    learner = await off_loop(lambda: known_learner(request))
    if learner is None or not learner.room:
        return RedirectResponse("/", HTTPStatus.SEE_OTHER)
    return page(request, "round.html")


async def learners_events(request: Request) -> Response:
    """Tell a phone what the newest round of its class is at, whenever that changes."""
    learner = await _in_class(request)
    context = context_of(request)

    async def parts() -> AsyncIterator[ServerSentEvent]:
        sent = ""
        looking = news_of(request).changes(
            request, lambda: rounds.newest(context.ledger, learner.room), room=learner.room, kinds=ON_THE_PHONE
        )
        async for found in looking:
            told = json.dumps(rounds.told(found, learner.who))
            if told != sent:
                yield ServerSentEvent(data=told, event="round")
                sent = told

    return EventSourceResponse(parts(), ping=15)


async def sound(request: Request) -> Response:
    """Answer with the round's sound for this phone's profile: WAV, nothing else in it."""
    found = await _mine(request)
    profile = request.query_params.get("for", "headphones")
    made = await off_loop(lambda: playing.sound(found.measurement, profile))
    return await packed(request, made, "audio/wav")


async def needle(request: Request) -> Response:
    """Answer with the pointer's path."""
    found = await _mine(request)
    made = await off_loop(lambda: playing.needle(found.measurement))
    return await packed(request, made, "application/json")


async def ready(request: Request) -> Response:
    """Note that this phone has loaded the measurement."""
    learner, asked = await _in_class(request), await read_json(request)
    ledger, round_id = context_of(request).ledger, request.path_params["round"]
    profile = asked.get("profile")
    profile_id = profile if isinstance(profile, str) else ""
    await off_loop(
        lambda: rounds.get_ready(ledger, room=learner.room, who=learner.who, round_id=round_id, profile_id=profile_id)
    )
    return JSONResponse({"ready": True}, HTTPStatus.CREATED)


async def answer(request: Request) -> Response:
    """Seal a learner's answer: stored once, however often it comes."""
    learner, asked = await _in_class(request), await read_json(request)
    ledger, round_id = context_of(request).ledger, request.path_params["round"]
    known = await off_loop(
        lambda: rounds.seal(ledger, room=learner.room, who=learner.who, round_id=round_id, reading=asked.get("reading"))
    )
    return JSONResponse({"sealed": True}, HTTPStatus.OK if known else HTTPStatus.CREATED)


async def result(request: Request) -> Response:
    """Tell a learner the truth and their own error, once the answers are open."""
    learner = await _in_class(request)
    found = await _mine(request)
    return JSONResponse(await off_loop(lambda: rounds.own_result(found, learner.who)))


def server_ms() -> float:
    """Return the server's clock [ms since 1970]."""
    return round(time.time() * 1000, 2)


async def packed(request: Request, content: bytes, media_type: str) -> Response:
    """Answer with content, gzipped where the asker takes it: a quiet recording shrinks to a tenth."""
    if "gzip" not in request.headers.get("accept-encoding", ""):
        return Response(content, media_type=media_type)
    small = await off_loop(lambda: gzip.compress(content, 6, mtime=0))
    return Response(small, media_type=media_type, headers={"Content-Encoding": "gzip", "Vary": "Accept-Encoding"})


async def _info(request: Request) -> classes.ClassInfo:
    ledger = context_of(request).ledger
    return await off_loop(lambda: classes.find_class(ledger, request.path_params["code"]))


async def _newest(request: Request, code: str) -> tuple[rounds.Round | None, int]:
    context = context_of(request)
    return await off_loop(lambda: _look(context, code))


def _look(context: Context, code: str) -> tuple[rounds.Round | None, int]:
    # the board's newest row, not the journal's: that would tell that half of a pair is sealed
    return rounds.newest(context.ledger, code), context.boards.now(code).seq


async def _values(info: classes.ClassInfo, found: rounds.Round | None) -> dict[str, Any]:
    """What both drawn parts need; the spread is there only once the answers are open."""
    spread = None
    if found is not None and found.closed == "opened":
        spread = await off_loop(lambda: rounds.spread(found))
    return {"code": info.code, "round": found, "spread": spread, "ruler_mmhg": rounds.RULER_MMHG}


async def _drawn_events(request: Request, template: str) -> Response:
    info = await _info(request)
    context = context_of(request)
    seen = request.headers.get("last-event-id") or request.query_params.get("after", "")

    async def parts() -> AsyncIterator[ServerSentEvent]:
        first, sent = True, ""
        looking = news_of(request).changes(
            request, lambda: _look(context, info.code), room=info.code, kinds=rounds.ROWS
        )
        async for found, seq in looking:
            drawn = context.draw(template, await _values(info, found), request)
            if drawn != sent and not (first and seen == str(seq)):
                yield ServerSentEvent(data=drawn, event="board", id=str(seq))
            first, sent = False, drawn

    return EventSourceResponse(parts(), ping=15)


async def _in_class(request: Request) -> Learner:
    learner = await off_loop(lambda: known_learner(request))
    if learner is None or not learner.room:
        raise NotAllowedError("Rounds are for those who joined a class: join with its code first.")
    return learner


async def _mine(request: Request) -> rounds.Round:
    """Return the asked round of the learner's own class; raises NotFoundError for another's or a cancelled one."""
    learner = await _in_class(request)
    ledger, round_id = context_of(request).ledger, request.path_params["round"]
    found = await off_loop(lambda: rounds.round_of(ledger, learner.room, round_id))
    if found.closed == "cancelled":
        raise NotFoundError("This round was cancelled.")
    return found


routes = [
    Route("/class/{code}/rounds", control),
    Route("/class/{code}/rounds", open_round, methods=["POST"]),
    Route("/class/{code}/rounds/events", control_events),
    Route("/class/{code}/rounds/wall", wall),
    Route("/class/{code}/rounds/wall/events", wall_events),
    Route("/class/{code}/rounds/{round}/start", start, methods=["POST"]),
    Route("/class/{code}/rounds/{round}/close", close, methods=["POST"]),
    Route("/practise/time", server_time),
    Route("/practise/round", learners_page),
    Route("/practise/round/events", learners_events),
    Route("/practise/rounds/{round}/sound.wav", sound),
    Route("/practise/rounds/{round}/needle", needle),
    Route("/practise/rounds/{round}/ready", ready, methods=["POST"]),
    Route("/practise/rounds/{round}/answer", answer, methods=["POST"]),
    Route("/practise/rounds/{round}/result", result),
]
