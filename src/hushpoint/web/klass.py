"""The lecturer's pages: coming in, classes, the private board, the wall, one learner."""

from __future__ import annotations

import io
from collections.abc import AsyncIterator, Sequence
from typing import Any

import segno
from sse_starlette import EventSourceResponse, ServerSentEvent
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import access, bench, classes, path, results
from hushpoint.desk.decisions import OUTCOMES
from hushpoint.desk.undo import Offer
from hushpoint.errors import BadInputError, NotAllowedError, NotFoundError
from hushpoint.guideline import default_policy_id, teaching_policies, teaching_policy
from hushpoint.ledger.records import Kind
from hushpoint.practice.next_person import WORDS
from hushpoint.web.context import (
    backup_trouble,
    context_of,
    done,
    lecturer_only,
    let_in,
    off_loop,
    offer,
    page,
    reader_of,
    role_of,
    safe_next,
)
from hushpoint.web.forms import Form, form_of
from hushpoint.web.live import news_of

NOTHING_YET = -1
"""Of the rows that a stream has shown: a class in which nobody is has none, and its board is shown all the same."""
_HOME = {access.PRACTITIONER: "/client", access.AUDITOR: "/evidence"}
"""Where a role that has no classes begins."""


async def list_classes(request: Request) -> Response:
    """Show the classes, or ask who comes."""
    ledger = context_of(request).ledger
    there = safe_next(request.query_params.get("next", ""))
    if not await off_loop(lambda: access.has_password(ledger)):
        _at_the_laptop(request)
        return page(request, "sign_in.html", {"first_run": True, "shortest": access.SHORTEST, "next": there})
    role = role_of(request)
    if not role:
        return await _sign_in_page(request, there=there)
    if there:
        return RedirectResponse(there, 303)
    if role in _HOME:
        return RedirectResponse(_HOME[role], 303)
    return await _classes_page(request)


async def first_run(request: Request) -> Response:
    """Set the lecturer's password: only at the laptop itself, where the class network could come first."""
    _at_the_laptop(request)
    form = await form_of(request)
    ledger = context_of(request).ledger
    try:
        await off_loop(lambda: access.set_password(ledger, form.text("password")))
    except BadInputError as refusal:
        values = {"first_run": True, "shortest": access.SHORTEST, "refusal": str(refusal)}
        values["next"] = safe_next(form.text("next"))
        return page(request, "sign_in.html", values, status=422)
    return _come_in(request, access.LECTURER, form)


async def sign_in(request: Request) -> Response:
    """Let a role in by its password; wrong guesses from one address are answered more and more slowly."""
    form = await form_of(request)
    context = context_of(request)
    role = form.text("role") or access.LECTURER
    if role not in access.WITH_PASSWORD:
        raise BadInputError(f"role: must be one of {', '.join(access.WITH_PASSWORD)}")
    address = request.client.host if request.client else ""
    async with context.guesses.turn(address):
        right = await off_loop(lambda: access.is_password(context.ledger, form.text("password"), role))
        context.guesses.tell(address, right=right)
    if right:
        return _come_in(request, role, form)
    there = safe_next(form.text("next"))
    return await _sign_in_page(request, refusal="That is not the password.", chosen=role, there=there, status=403)


async def open_class(request: Request) -> Response:
    """Open a class."""
    lecturer_only(request)
    form = await form_of(request)
    ledger = context_of(request).ledger
    policy_id = form.text("policy") or default_policy_id
    try:
        code = await off_loop(lambda: classes.open_class(ledger, name=form.text("name"), policy_id=policy_id))
    except BadInputError as refusal:
        return await _classes_page(request, refusal=str(refusal))
    return await done(request, RedirectResponse(f"/class/{code}", 303), Kind.CLASS_OPENED, room=code)


async def change(request: Request) -> Response:
    """Give a class another name or teaching policy."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, code = context_of(request).ledger, request.path_params["code"].upper()
    name, policy_id = form.text("name"), form.text("policy")
    try:
        await off_loop(lambda: classes.change_class(ledger, code, name=name, policy_id=policy_id))
    except BadInputError as refusal:
        return await _board_page(request, refusal=str(refusal), status=422)
    return await done(request, RedirectResponse(f"/class/{code}", 303), Kind.CLASS_CHANGED, room=code)


async def board(request: Request) -> Response:
    """Show a class by name, for the lecturer's eyes."""
    lecturer_only(request)
    return await _board_page(request)


async def wall(request: Request) -> Response:
    """Show a class to everyone: code, counts and spread, no names."""
    lecturer_only(request)
    info, state = await _state(request)
    address = _address(request)
    drawn = io.BytesIO()
    segno.make(f"{address}/join/{info.code}", error="m").save(drawn, kind="svg", xmldecl=False, omitsize=True, border=4)
    values = {
        "info": info,
        "wall": state.wall(),
        "seq": state.seq,
        "qr": drawn.getvalue().decode(),
        "address": address,
        "only_here": _only_here(request),
    }
    return page(request, "wall.html", values)


async def board_events(request: Request) -> Response:
    """Send the board anew whenever something was stored."""
    lecturer_only(request)
    return await _events(request, "board_part.html")


async def wall_events(request: Request) -> Response:
    """Send the wall anew whenever something was stored."""
    lecturer_only(request)
    return await _events(request, "wall_part.html")


async def roster(request: Request) -> Response:
    """Show how a pasted or uploaded list is read, row by row; added once asked, and only while no row is wrong."""
    lecturer_only(request)
    form = await form_of(request)
    text = form.text("names")
    file_name, data = form.files.get("file", ("", b""))
    if file_name or data:
        try:
            text = f"{text}\n{data.decode('utf-8-sig')}" if text.strip() else data.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise BadInputError("the file: must be text in UTF-8") from None
    rows = classes.parse_roster(text)
    if not rows:
        raise BadInputError("the list: holds no names; paste one a line, or choose a file")
    wrong = any(row.problem for row in rows)
    if wrong or form.text("add") != "yes":
        return await _board_page(request, preview=rows, status=422 if wrong else 200)
    ledger, code = context_of(request).ledger, request.path_params["code"]
    added = await off_loop(lambda: classes.add_roster(ledger, room=code, names=[row.name for row in rows]))
    return await _board_page(request, added=added, offered=await offer(request, Kind.ROSTER_ADDED, room=code.upper()))


async def close(request: Request) -> Response:
    """Close a class to newcomers, or open it again."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, code = context_of(request).ledger, request.path_params["code"]
    await off_loop(lambda: classes.close_class(ledger, code, closed=form.text("closed") == "yes"))
    return await done(request, RedirectResponse(f"/class/{code}", 303), Kind.CLASS_CLOSED, room=code.upper())


async def learner(request: Request) -> Response:
    """Show one learner's readings over time."""
    lecturer_only(request)
    ledger, who = context_of(request).ledger, request.path_params["who"]
    info = await off_loop(lambda: classes.find_class(ledger, request.path_params["code"]))
    name = await off_loop(lambda: classes.name_of(ledger, info.code, who))
    readings = await off_loop(lambda: bench.own_readings(ledger, who))
    values = {
        "info": info,
        "who": who,
        "name": name,
        "readings": readings,
        "came_in": await off_loop(lambda: classes.devices_in(ledger, info.code, who)),
        "word": await off_loop(lambda: classes.word_of(ledger, info.code, who)),
        "off": await off_loop(lambda: classes.is_off(ledger, info.code, who)),
    }
    return page(request, "learner.html", values)


async def let_in_again(request: Request) -> Response:
    """Sign out the devices of one learner or of all of a class; who names themselves next is let in."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, code, who = context_of(request).ledger, request.path_params["code"].upper(), form.text("who")
    await off_loop(lambda: classes.end_devices(ledger, room=code, who=who))
    return RedirectResponse(f"/class/{code}/learner/{who}" if who else f"/class/{code}", 303)


async def off_the_list(request: Request) -> Response:
    """Take a learner off the class list, or put them back; nothing of theirs is lost."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, code, who = context_of(request).ledger, request.path_params["code"].upper(), request.path_params["who"]
    act = classes.put_back if form.text("back") == "yes" else classes.take_off
    await off_loop(lambda: act(ledger, room=code, who=who))
    return await done(request, RedirectResponse(f"/class/{code}", 303), Kind.ROSTER_CHANGED, room=code, who=who)


async def learner_results(request: Request) -> Response:
    """Show what a learner sees of their own results."""
    lecturer_only(request)
    ledger, who = context_of(request).ledger, request.path_params["who"]
    info = await off_loop(lambda: classes.find_class(ledger, request.path_params["code"]))
    name = await off_loop(lambda: classes.name_of(ledger, info.code, who))
    now = path.local_now()
    found = await off_loop(lambda: results.results_of(ledger, room=info.code, who=who, now=now))
    back = f"/class/{info.code}/learner/{who}"
    values = {"found": found, "words": WORDS, "outcomes": OUTCOMES, "own": False, "name": name, "back": back}
    return page(request, "results.html", values)


async def release(request: Request) -> Response:
    """Show one measurement of a learner: what was judged, the picture of the release and the same as a table."""
    info, name, judgement = await _judged(request)
    if judgement is None:
        raise NotFoundError("This measurement is being judged. Load the page again in a moment.")
    from hushpoint.sheet.release_picture import release_table

    values = {
        "info": info,
        "who": request.path_params["who"],
        "name": name,
        "judgement": judgement,
        "rows": release_table(judgement),
    }
    return page(request, "release.html", values)


async def release_svg(request: Request) -> Response:
    """Draw the picture of a release, for a light page or a dark one."""
    _, _, judgement = await _judged(request)
    if judgement is None:
        raise NotFoundError("This measurement is being judged.")
    from hushpoint.sheet.release_picture import release_picture

    dark, say = request.query_params.get("on") == "dark", reader_of(request).on_pictures
    drawn = await off_loop(lambda: release_picture(judgement, form="svg", dark=dark, say=say))
    return Response(drawn, media_type="image/svg+xml")


async def _judged(request: Request) -> tuple[classes.ClassInfo, str, dict[str, Any] | None]:
    lecturer_only(request)
    ledger, who = context_of(request).ledger, request.path_params["who"]
    info = await off_loop(lambda: classes.find_class(ledger, request.path_params["code"]))
    name = await off_loop(lambda: classes.name_of(ledger, info.code, who))
    measurement = request.path_params["measurement"]
    return info, name, await off_loop(lambda: bench.judgement(ledger, who=who, measurement=measurement))


async def erase(request: Request) -> Response:
    """Erase everything about a learner."""
    lecturer_only(request)
    form = await form_of(request)
    if form.text("sure") != "yes":
        raise BadInputError("Tick that you want to erase everything about this learner.")
    ledger, who = context_of(request).ledger, request.path_params["who"]
    code = request.path_params["code"].upper()
    await off_loop(lambda: classes.erase_learner(ledger, room=code, who=who, why=form.text("why")))
    return RedirectResponse(f"/class/{code}", 303)


async def _sign_in_page(
    request: Request, *, refusal: str = "", chosen: str = "", there: str = "", status: int = 200
) -> Response:
    ledger = context_of(request).ledger
    roles = await off_loop(lambda: [one for one in access.WITH_PASSWORD if access.has_password(ledger, one)])
    values = {"first_run": False, "roles": roles, "chosen": chosen, "refusal": refusal, "next": there}
    return page(request, "sign_in.html", values, status=status)


async def _classes_page(request: Request, refusal: str = "") -> Response:
    ledger = context_of(request).ledger
    values = {
        "classes": await off_loop(lambda: classes.all_classes(ledger)),
        "policies": list(teaching_policies().values()),
        "default_policy": default_policy_id,
        "refusal": refusal,
        "backup_trouble": await off_loop(lambda: backup_trouble(request)),
    }
    return page(request, "classes.html", values, status=422 if refusal else 200)


async def _board_page(
    request: Request,
    *,
    preview: Sequence[classes.RosterRow] = (),
    added: int | None = None,
    offered: Offer | None = None,
    refusal: str = "",
    status: int = 200,
) -> Response:
    info, state = await _state(request)
    values = {
        **({"did": offered} if offered else {}),
        "policies": list(teaching_policies().values()),
        "refusal": refusal,
        "taken_off": state.taken_off(),
        "info": info,
        "code": info.code,
        "policy": teaching_policy(info.policy_id),
        "backup_trouble": await off_loop(lambda: backup_trouble(request)),
        "lines": state.in_order(),
        "wall": state.wall(),
        "seq": state.seq,
        "address": _address(request),
        "only_here": _only_here(request),
        "preview": preview,
        "known": {line.name.casefold() for line in state.lines.values() if not line.off},
        "pasted": "\n".join(_as_csv(row.name) for row in preview),
        "added": added,
    }
    return page(request, "board.html", values, status=status)


def _as_csv(name: str) -> str:
    """Write a name so that it is read again as one column."""
    return '"' + name.replace('"', '""') + '"' if any(sign in name for sign in ',;\t"') else name


async def _state(request: Request) -> tuple[classes.ClassInfo, classes.Board]:
    context = context_of(request)
    info = await off_loop(lambda: classes.find_class(context.ledger, request.path_params["code"]))
    return info, await off_loop(lambda: context.boards.now(info.code))


async def _events(request: Request, template: str) -> Response:
    """Stream a drawn part; event ids are the ledger's row numbers."""
    info, state = await _state(request)
    seen = request.headers.get("last-event-id") or request.query_params.get("after", "")
    sent = _seq(seen) if seen else NOTHING_YET
    sent = sent if sent <= state.seq else NOTHING_YET  # seen in another ledger: nothing of this one was
    return EventSourceResponse(_parts(request, info.code, sent, template), ping=15)


async def _parts(request: Request, code: str, sent: int, template: str) -> AsyncIterator[ServerSentEvent]:
    context = context_of(request)
    looking = news_of(request).changes(request, lambda: context.boards.now(code), room=code, kinds=classes.ON_THE_BOARD)
    async for state in looking:
        if state.seq > sent:
            values: dict[str, Any] = {"code": code, "lines": state.in_order(), "wall": state.wall()}
            yield ServerSentEvent(data=context.draw(template, values, request), event="board", id=str(state.seq))
            sent = state.seq


def _seq(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else 0


def _come_in(request: Request, role: str, form: Form) -> Response:
    response = RedirectResponse(safe_next(form.text("next"), _HOME.get(role, "/class")), 303)
    let_in(request, response, role)
    return response


def _at_the_laptop(request: Request) -> None:
    # behind a proxy on this machine everybody seems to sit here
    through = any(name in request.headers for name in ("forwarded", "x-forwarded-for", "x-real-ip", "via"))
    if through or request.client is None or request.client.host not in {"127.0.0.1", "::1"}:
        raise NotAllowedError(
            f"The lecturer's password is not set yet. Set it on the laptop itself, at "
            f"{request.url.scheme}://localhost:{request.url.port or 80}/class, then come back."
        )


def _address(request: Request) -> str:
    """Where learners find this laptop: the class network's address where it is open to it."""
    found = context_of(request).addresses
    return found[0] if found else f"{request.url.scheme}://{request.url.netloc}"


def _only_here(request: Request) -> str:
    """Return the command that opens this to phones, "" where the address that learners are shown is open already."""
    context = context_of(request)
    if context.addresses or request.url.hostname not in ("localhost", "127.0.0.1", "::1"):
        return ""
    return "hushpoint demo --class" if context.invented else "hushpoint serve --class"


routes = [
    Route("/class", list_classes),
    Route("/class/first-run", first_run, methods=["POST"]),
    Route("/class/sign-in", sign_in, methods=["POST"]),
    Route("/class/open", open_class, methods=["POST"]),
    Route("/class/{code}", board),
    Route("/class/{code}/wall", wall),
    Route("/class/{code}/events", board_events),
    Route("/class/{code}/wall/events", wall_events),
    Route("/class/{code}/roster", roster, methods=["POST"]),
    Route("/class/{code}/change", change, methods=["POST"]),
    Route("/class/{code}/close", close, methods=["POST"]),
    Route("/class/{code}/devices", let_in_again, methods=["POST"]),
    Route("/class/{code}/learner/{who}", learner),
    Route("/class/{code}/learner/{who}/off", off_the_list, methods=["POST"]),
    Route("/class/{code}/learner/{who}/results", learner_results),
    Route("/class/{code}/learner/{who}/release/{measurement}", release),
    Route("/class/{code}/learner/{who}/release/{measurement}/picture.svg", release_svg),
    Route("/class/{code}/learner/{who}/erase", erase, methods=["POST"]),
]
