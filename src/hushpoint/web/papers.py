"""Listening papers: the lecturer sets, exports and reads them; a learner hears, writes and seals."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import classes, paper_export, papers, playing
from hushpoint.errors import BadInputError, NotAllowedError, NotFoundError
from hushpoint.guideline import teaching_policy
from hushpoint.ledger.records import Kind, utc_now
from hushpoint.practice.profiles import profile_of
from hushpoint.web.check import device_of
from hushpoint.web.context import Learner, context_of, done, known_learner, lecturer_only, off_loop, page, reader_of
from hushpoint.web.forms import Form, form_of, read_json
from hushpoint.web.rounds import packed

_PAIR = re.compile(r"\s*(\d{1,3}|-|not heard)\s*/\s*(\d{1,3}|-|not heard)\s*", re.IGNORECASE | re.ASCII)
_LOCAL = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d", re.ASCII)


async def class_papers(request: Request) -> Response:
    """List a class's papers, and ask for another."""
    lecturer_only(request)
    return await _class_page(request)


async def set_paper(request: Request) -> Response:
    """Set a paper for the class."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, info = context_of(request).ledger, await _info(request)
    try:
        setting = papers.Setting(
            title=form.text("title"),
            rule_id=form.text("rule"),
            marking=form.text("marking"),
            plays=_whole(form, "plays"),
            attempts=_whole(form, "attempts"),
            from_at=_utc(form, "from"),
            until_at=_utc(form, "until"),
            speakers=form.text("speakers") == "yes",
        )
        paper_id = await off_loop(lambda: papers.set_paper(ledger, room=info.code, setting=setting))
    except BadInputError as refusal:
        return await _class_page(request, refusal=str(refusal), typed=form.text("title")[:80])
    there = RedirectResponse(f"/class/{info.code}/papers/{paper_id}", HTTPStatus.SEE_OTHER)
    return await done(request, there, Kind.PAPER_SET, room=info.code)


async def paper(request: Request) -> Response:
    """Show one paper: settings, who has done what, results once they may be seen."""
    lecturer_only(request)
    info, found = await _paper(request)
    board = await off_loop(lambda: context_of(request).boards.now(info.code))
    names = {line.who: line.name for line in board.lines.values()}
    lines = sorted(
        ({"who": who, "name": name, "attempts": found.of(who)} for who, name in names.items() if who and name),
        key=lambda line: (not line["attempts"], str(line["name"]).casefold()),
    )
    return page(request, "paper.html", {"info": info, "lines": lines, **_settings(found)})


async def change(request: Request) -> Response:
    """Withdraw or offer again, open the results or cover them."""
    lecturer_only(request)
    form = await form_of(request)
    info, found = await _paper(request)
    ledger = context_of(request).ledger
    await off_loop(lambda: papers.change(ledger, room=info.code, paper_id=found.id, to=form.text("to")))
    there = RedirectResponse(f"/class/{info.code}/papers/{found.id}", HTTPStatus.SEE_OTHER)
    return await done(request, there, Kind.PAPER_CHANGED, room=info.code, paper=found.id)


async def attempt(request: Request) -> Response:
    """Show one learner's attempt to the lecturer, once its results may be seen."""
    lecturer_only(request)
    info, found = await _paper(request)
    one = found.attempts.get(request.path_params["attempt"])
    if one is None:
        raise NotFoundError("No such attempt at this paper.")
    ledger = context_of(request).ledger
    name = await off_loop(lambda: classes.name_of(ledger, info.code, one.who))
    values = {"info": info, "name": name, "result": papers.result(found, one), "mine": False, **_settings(found)}
    return page(request, "paper_result.html", values)


async def export(request: Request) -> Response:
    """Take a form out for a room without a server."""
    lecturer_only(request)
    info, found = await _paper(request)
    ledger = context_of(request).ledger
    number = await off_loop(lambda: papers.export_form(ledger, room=info.code, paper_id=found.id))
    return RedirectResponse(f"/class/{info.code}/papers/{found.id}/forms/{number}", HTTPStatus.SEE_OTHER)


async def exported(request: Request) -> Response:
    """Show an exported form: its files, its key, and a place to type what was written on paper."""
    lecturer_only(request)
    return await _exported_page(request)


async def form_zip(request: Request) -> Response:
    """Answer with sound files and answer sheet of an exported form."""
    lecturer_only(request)
    _, found, number = await _exported(request)
    invented, made_at, to = context_of(request).invented, datetime.now(UTC), reader_of(request)
    made = await off_loop(lambda: paper_export.form_zip(found, number, made_at=made_at, invented=invented, to=to))
    named = f"{'INVENTED-' if invented else ''}paper-form-{number}.zip"
    return Response(
        made, media_type="application/zip", headers={"Content-Disposition": f'attachment; filename="{named}"'}
    )


async def open_key(request: Request) -> Response:
    """Open the key of an exported form: noted first, then to be had."""
    lecturer_only(request)
    info, found, number = await _exported(request)
    ledger = context_of(request).ledger
    await off_loop(lambda: papers.open_key(ledger, room=info.code, paper_id=found.id, number=number))
    return RedirectResponse(f"/class/{info.code}/papers/{found.id}/forms/{number}/key.pdf", HTTPStatus.SEE_OTHER)


async def key(request: Request) -> Response:
    """Answer with the key of an exported form once it was opened."""
    lecturer_only(request)
    _, found, number = await _exported(request)
    if not found.exported[number]:
        raise NotAllowedError("The key of this form was not opened yet.")
    invented, made_at, to = context_of(request).invented, datetime.now(UTC), reader_of(request)
    made = await off_loop(lambda: paper_export.key_sheet(found, number, made_at=made_at, invented=invented, to=to))
    named = f"{'INVENTED-' if invented else ''}KEY-form-{number}.pdf"
    return Response(
        made, media_type="application/pdf", headers={"Content-Disposition": f'attachment; filename="{named}"'}
    )


async def type_in(request: Request) -> Response:
    """Show how a typed sheet is read; once asked, seal and mark it: what is sealed stays."""
    lecturer_only(request)
    form = await form_of(request)
    info, found, number = await _exported(request)
    ledger = context_of(request).ledger
    try:
        readings = {
            place: _pair(form.text(f"pair_{place}"), place)
            for place in range(1, found.size + 1)
            if form.text(f"pair_{place}").strip()
        }
        if not readings:
            raise BadInputError("answers: at least one must be written")
        if form.text("sure") != "yes":
            return await _exported_page(request, typed=form.texts, read=readings)
        one = await off_loop(
            lambda: papers.type_in(
                ledger, room=info.code, who=form.text("who"), paper_id=found.id, number=number, readings=readings
            )
        )
    except BadInputError as refusal:
        return await _exported_page(request, refusal=str(refusal), typed=form.texts)
    return await _exported_page(request, stored=one.who)


async def own_papers(request: Request) -> Response:
    """List the papers of the learner's class with their own attempts."""
    learner = await off_loop(lambda: known_learner(request))
    if learner is None or not learner.room:
        return RedirectResponse("/", HTTPStatus.SEE_OTHER)
    ledger, now = context_of(request).ledger, utc_now()
    found = await off_loop(lambda: papers.papers_of(ledger, learner.room))
    lines = [{**_settings(one), "mine": one.of(learner.who), "closed": one.closed_because(now)} for one in found]
    return page(request, "papers_own.html", {"lines": lines, "device": device_of(request)})


async def begin(request: Request) -> Response:
    """Begin an attempt, or go on with the one at hand; the device check on this device comes first."""
    learner = await _in_class(request)
    device = device_of(request)
    if device is None:
        raise NotAllowedError("Check this device first: open Hear a cuff sound on your page, then come back.")
    ledger, paper_id, now = context_of(request).ledger, request.path_params["paper"], utc_now()
    one = await off_loop(
        lambda: papers.begin(
            ledger, room=learner.room, who=learner.who, paper_id=paper_id, profile_id=device.profile, now=now
        )
    )
    return RedirectResponse(f"/practise/attempts/{one.id}", HTTPStatus.SEE_OTHER)


async def attempt_page(request: Request) -> Response:
    """Show the learner's page of an attempt; handed in, it leads to its result."""
    if await off_loop(lambda: known_learner(request)) is None:
        return RedirectResponse("/", HTTPStatus.SEE_OTHER)
    found, one = await _own(request)
    if one.marked is not None:
        return RedirectResponse(f"/practise/attempts/{one.id}/result", HTTPStatus.SEE_OTHER)
    values = {"attempt": one, "says": profile_of(one.profile).says, **_settings(found)}
    return page(request, "paper_attempt.html", values)


async def state(request: Request) -> Response:
    """Tell the learner's page what is played and sealed."""
    found, one = await _own(request)
    return JSONResponse(papers.told(found, one))


async def sound(request: Request) -> Response:
    """Answer with one measurement's sound: WAV, nothing else in it."""
    found, one, place = await _measurement(request)
    made = await off_loop(lambda: playing.sound(papers.measurement_of(found, one.form, place), one.profile))
    return await packed(request, made, "audio/wav")


async def needle(request: Request) -> Response:
    """Answer with one measurement's pointer path."""
    found, one, place = await _measurement(request)
    made = await off_loop(lambda: playing.needle(papers.measurement_of(found, one.form, place)))
    return await packed(request, made, "application/json")


async def play(request: Request) -> Response:
    """Count a play before it is heard."""
    learner, asked = await _in_class(request), await read_json(request)
    number = asked.get("number")
    if isinstance(number, bool) or not isinstance(number, int):
        raise BadInputError("number: must be 1 for the first play of a measurement, 2 for the next")
    ledger, now = context_of(request).ledger, utc_now()
    attempt_id, place = request.path_params["attempt"], _place(request)
    played = await off_loop(
        lambda: papers.count_play(
            ledger, room=learner.room, who=learner.who, attempt_id=attempt_id, place=place, number=number, now=now
        )
    )
    return JSONResponse({"plays": played}, HTTPStatus.CREATED)


async def answer(request: Request) -> Response:
    """Seal one pair: stored once, however often it comes; the last one hands the attempt in."""
    learner, asked = await _in_class(request), await read_json(request)
    ledger, now = context_of(request).ledger, utc_now()
    attempt_id, place = request.path_params["attempt"], _place(request)
    known = await off_loop(
        lambda: papers.answer(
            ledger,
            room=learner.room,
            who=learner.who,
            attempt_id=attempt_id,
            place=place,
            reading=asked.get("reading"),
            now=now,
        )
    )
    return JSONResponse({"sealed": True}, HTTPStatus.OK if known else HTTPStatus.CREATED)


async def hand_in(request: Request) -> Response:
    """Hand an attempt in before everything is written."""
    learner = await _in_class(request)
    ledger, attempt_id = context_of(request).ledger, request.path_params["attempt"]
    await off_loop(lambda: papers.hand_in(ledger, room=learner.room, who=learner.who, attempt_id=attempt_id))
    return RedirectResponse(f"/practise/attempts/{attempt_id}/result", HTTPStatus.SEE_OTHER)


async def own_result(request: Request) -> Response:
    """Show a learner the result of an attempt, or that it is sealed until the lecturer opens it."""
    if await off_loop(lambda: known_learner(request)) is None:
        return RedirectResponse("/", HTTPStatus.SEE_OTHER)
    found, one = await _own(request)
    if one.marked is None:
        return RedirectResponse(f"/practise/attempts/{one.id}", HTTPStatus.SEE_OTHER)
    shown = papers.result(found, one) if found.results_shown(one) else None
    left = found.most_attempts - len(found.of(one.who))
    values = {
        "result": shown,
        "left": left,
        "mine": True,
        "closed": found.closed_because(utc_now()),
        **_settings(found),
    }
    return page(request, "paper_result.html", values)


def _settings(found: papers.Paper) -> dict[str, Any]:
    return {"paper": found, "rule": found.rule, "policy": teaching_policy(found.policy_id)}


async def _class_page(request: Request, refusal: str = "", typed: str = "") -> Response:
    ledger, info = context_of(request).ledger, await _info(request)
    values = {
        "info": info,
        "policy": teaching_policy(info.policy_id),
        "papers": await off_loop(lambda: papers.papers_of(ledger, info.code)),
        "rules": await off_loop(
            lambda: [(rule, papers.odds_on_a_paper(rule)) for rule in papers.fitting_rules(ledger)]
        ),
        "unfit": await off_loop(lambda: papers.unfit_rules(ledger)),
        "refusal": refusal,
        "typed": typed,
    }
    return page(request, "papers.html", values, status=422 if refusal else 200)


async def _exported_page(
    request: Request,
    *,
    refusal: str = "",
    typed: dict[str, str] | None = None,
    read: dict[int, dict[str, int | None]] | None = None,
    stored: str = "",
) -> Response:
    info, found, number = await _exported(request)
    board = await off_loop(lambda: context_of(request).boards.now(info.code))
    done = {one.who for one in found.attempts.values() if one.how == "paper" and one.form == number}
    names = sorted(((line.who, line.name) for line in board.lines.values() if line.name), key=lambda one: one[1])
    values = {
        "info": info,
        "number": number,
        "names": [(who, name) for who, name in names if who not in done],
        "done": [name for who, name in names if who in done],
        "stored": next((name for who, name in names if who == stored), ""),
        "typed": typed or {},
        "read": read,
        "refusal": refusal,
        **_settings(found),
    }
    return page(request, "paper_form.html", values, status=422 if refusal else 200)


async def _info(request: Request) -> classes.ClassInfo:
    ledger = context_of(request).ledger
    return await off_loop(lambda: classes.find_class(ledger, request.path_params["code"]))


async def _paper(request: Request) -> tuple[classes.ClassInfo, papers.Paper]:
    ledger, info = context_of(request).ledger, await _info(request)
    paper_id = request.path_params["paper"]
    return info, await off_loop(lambda: papers.paper_of(ledger, info.code, paper_id))


async def _exported(request: Request) -> tuple[classes.ClassInfo, papers.Paper, int]:
    info, found = await _paper(request)
    text = request.path_params["number"]
    number = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else 0
    if number not in found.exported:
        raise NotFoundError("No such exported form of this paper.")
    return info, found, number


async def _in_class(request: Request) -> Learner:
    learner = await off_loop(lambda: known_learner(request))
    if learner is None or not learner.room:
        raise NotAllowedError("Papers are for those who joined a class: join with its code first.")
    return learner


async def _own(request: Request) -> tuple[papers.Paper, papers.Attempt]:
    learner = await _in_class(request)
    ledger, attempt_id = context_of(request).ledger, request.path_params["attempt"]
    return await off_loop(lambda: papers.own_attempt(ledger, room=learner.room, who=learner.who, attempt_id=attempt_id))


async def _measurement(request: Request) -> tuple[papers.Paper, papers.Attempt, int]:
    found, one = await _own(request)
    if one.marked is not None:
        raise NotAllowedError("This attempt is handed in: its measurements are sealed.")
    return found, one, _place(request)


def _place(request: Request) -> int:
    text = request.path_params["place"]
    if not (text.isascii() and text.isdigit() and len(text) < 4):
        raise NotFoundError("No such measurement in this paper.")
    return int(text)


def _whole(form: Form, name: str) -> int:
    text = form.text(name)
    if not (text.isascii() and text.isdigit() and len(text) < 4):
        raise BadInputError(f"{name}: must be a whole number")
    return int(text)


def _utc(form: Form, name: str) -> str:
    """Read a local date and time of this laptop as UTC; "" where empty."""
    text = form.text(name).strip()
    if not text:
        return ""
    try:
        if not _LOCAL.fullmatch(text):
            raise ValueError(text)
        local = datetime.fromisoformat(text).astimezone()
    except (ValueError, OverflowError, OSError):
        raise BadInputError(f"{name}: must be a date and time, or empty") from None
    return local.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def _pair(text: str, place: int) -> dict[str, int | None]:
    """Read a pair as written on paper: 128/82, a dash where not heard."""
    found = _PAIR.fullmatch(text)
    if found is None:
        raise BadInputError(f"measurement {place}: write systolic, a stroke, diastolic; a dash where not heard")
    upper, lower = (None if not one.isdigit() else int(one) for one in found.groups())
    return {"systolic": upper, "diastolic": lower}


routes = [
    Route("/class/{code}/papers", class_papers),
    Route("/class/{code}/papers", set_paper, methods=["POST"]),
    Route("/class/{code}/papers/{paper}", paper),
    Route("/class/{code}/papers/{paper}/change", change, methods=["POST"]),
    Route("/class/{code}/papers/{paper}/export", export, methods=["POST"]),
    Route("/class/{code}/papers/{paper}/attempts/{attempt}", attempt),
    Route("/class/{code}/papers/{paper}/forms/{number}", exported),
    Route("/class/{code}/papers/{paper}/forms/{number}", type_in, methods=["POST"]),
    Route("/class/{code}/papers/{paper}/forms/{number}/sounds.zip", form_zip),
    Route("/class/{code}/papers/{paper}/forms/{number}/key", open_key, methods=["POST"]),
    Route("/class/{code}/papers/{paper}/forms/{number}/key.pdf", key),
    Route("/practise/papers", own_papers),
    Route("/practise/papers/{paper}/begin", begin, methods=["POST"]),
    Route("/practise/attempts/{attempt}", attempt_page),
    Route("/practise/attempts/{attempt}/state", state),
    Route("/practise/attempts/{attempt}/{place}/sound.wav", sound),
    Route("/practise/attempts/{attempt}/{place}/needle", needle),
    Route("/practise/attempts/{attempt}/{place}/play", play, methods=["POST"]),
    Route("/practise/attempts/{attempt}/{place}/answer", answer, methods=["POST"]),
    Route("/practise/attempts/{attempt}/hand-in", hand_in, methods=["POST"]),
    Route("/practise/attempts/{attempt}/result", own_result),
]
