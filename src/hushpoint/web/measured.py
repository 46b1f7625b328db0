"""Being measured by classmates: yes or no in private, the course's own plan, and private notes for the lecturer."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import classes, consent
from hushpoint.desk.path import local_now
from hushpoint.desk.undo import Offer
from hushpoint.errors import BadInputError, NotAllowedError
from hushpoint.ledger.records import Kind
from hushpoint.web.context import Learner, context_of, done, known_learner, lecturer_only, off_loop, offer, page
from hushpoint.web.forms import form_of

DOOR = "/"


async def measured(request: Request) -> Response:
    """Show what a learner said about being measured, and the course's plan; take a new answer."""
    if request.method == "GET":
        learner = await off_loop(lambda: known_learner(request))
        if learner is None or not learner.room:
            return RedirectResponse(DOOR, 303)
        return await _page(request, learner)
    learner = await _learner(request)
    form = await form_of(request)
    ledger = context_of(request).ledger
    left, right = form.text("left") == "yes", form.text("right") == "yes"
    today = local_now().date()
    await off_loop(
        lambda: consent.agree(ledger, room=learner.room, who=learner.who, left=left, right=right, today=today)
    )
    kind = Kind.CONSENT_GIVEN if left or right else Kind.CONSENT_WITHDRAWN
    return await done(request, RedirectResponse("/practise/measured", 303), kind, room=learner.room, who=learner.who)


async def withdraw(request: Request) -> Response:
    """Take the agreement back: one tap, no reason."""
    learner = await _learner(request)
    ledger = context_of(request).ledger
    await off_loop(lambda: consent.withdraw(ledger, room=learner.room, who=learner.who))
    there = RedirectResponse("/practise/measured", 303)
    return await done(request, there, Kind.CONSENT_WITHDRAWN, room=learner.room, who=learner.who)


async def finding(request: Request) -> Response:
    """Note a reading of one's own for the lecturer, in private."""
    learner = await _learner(request)
    form = await form_of(request)
    ledger = context_of(request).ledger
    try:
        await off_loop(
            lambda: consent.note_finding(
                ledger,
                room=learner.room,
                who=learner.who,
                systolic=form.text("systolic"),
                diastolic=form.text("diastolic"),
                wish=form.text("wish"),
                note=form.text("note"),
            )
        )
    except BadInputError as refusal:
        return await _page(request, learner, refusal=str(refusal))
    offered = await offer(request, Kind.FINDING_NOTED, room=learner.room, who=learner.who)
    return await _page(request, learner, noted=True, offered=offered)


async def findings(request: Request) -> Response:
    """Show the lecturer the private notes of a class and the course's plan; take a new plan."""
    lecturer_only(request)
    ledger = context_of(request).ledger
    info = await off_loop(lambda: classes.find_class(ledger, request.path_params["code"]))
    refusal = ""
    if request.method == "POST":
        form = await form_of(request)
        try:
            await off_loop(lambda: consent.set_plan(ledger, room=info.code, text=form.text("plan")))
            there = RedirectResponse(f"/class/{info.code}/findings", 303)
            return await done(request, there, Kind.FINDING_PLAN_SET, room=info.code)
        except BadInputError as refused:
            refusal = str(refused)
    names = await off_loop(lambda: classes.names_of(ledger, info.code))
    values = {
        "info": info,
        "names": names,
        "notes": await off_loop(lambda: consent.findings(ledger, info.code)),
        "plan": await off_loop(lambda: consent.plan_text(ledger, info.code)),
        "wishes": consent.WISHES,
        "refusal": refusal,
    }
    return page(request, "findings.html", values, status=422 if refusal else 200)


async def _page(
    request: Request, learner: Learner, *, refusal: str = "", noted: bool = False, offered: Offer | None = None
) -> Response:
    ledger, today = context_of(request).ledger, local_now().date()
    said = await off_loop(lambda: consent.agreements(ledger, learner.room, today).get(learner.who))
    values = {
        **({"did": offered} if offered else {}),
        "said": said,
        "plan": await off_loop(lambda: consent.plan_text(ledger, learner.room)),
        "wishes": consent.WISHES,
        "days": consent.VALID_DAYS,
        "refusal": refusal,
        "noted": noted,
    }
    return page(request, "measured.html", values, status=422 if refusal else 200)


async def _learner(request: Request) -> Learner:
    learner = await off_loop(lambda: known_learner(request))
    if learner is None or not learner.room:
        raise NotAllowedError("nobody has joined a class on this device")
    return learner


routes = [
    Route("/practise/measured", measured, methods=["GET", "POST"]),
    Route("/practise/measured/withdraw", withdraw, methods=["POST"]),
    Route("/practise/measured/finding", finding, methods=["POST"]),
    Route("/class/{code}/findings", findings, methods=["GET", "POST"]),
]
