"""Who may come in: change of password, other roles, links for auditors, sign out everywhere."""

from __future__ import annotations

from datetime import datetime, timedelta

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import access
from hushpoint.errors import BadInputError
from hushpoint.web.context import context_of, lecturer_only, let_in, off_loop, page
from hushpoint.web.forms import form_of

MOST_DAYS = 30
"""An auditor's link lasts at most so long (design choice)."""


async def overview(request: Request) -> Response:
    """Show which roles can come in, and what can be changed."""
    lecturer_only(request)
    return await _page(request)


async def password(request: Request) -> Response:
    """Give a role a new password, or take it away; the lecturer's own needs the old one."""
    lecturer_only(request)
    form, context = await form_of(request), context_of(request)
    role, new = form.text("role") or access.LECTURER, form.text("password")
    try:
        if role == access.LECTURER:
            await _check_old(request, form.text("old"))
        if form.text("remove") == "yes":
            await off_loop(lambda: access.remove_password(context.ledger, role))
            return await _page(request, done=f"The {role}'s password is taken away.")
        await off_loop(lambda: access.change_password(context.ledger, new, role))
    except BadInputError as refusal:
        return await _page(request, refusal=str(refusal), status=422)
    response = RedirectResponse("/access?changed=yes", 303)
    if role == access.LECTURER:
        let_in(request, response, role)  # every other device of the lecturer's is signed out
    return response


async def sign_out_everywhere(request: Request) -> Response:
    """End every session of every role, this one too; links given to auditors end as well."""
    lecturer_only(request)
    ledger = context_of(request).ledger
    await off_loop(lambda: access.end_sessions(ledger, *access.ROLES))
    return RedirectResponse("/class", 303)


async def make_link(request: Request) -> Response:
    """Make a link with which an auditor reads the evidence until it ends."""
    lecturer_only(request)
    form, context = await form_of(request), context_of(request)
    days = form.text("days")
    if not (days.isascii() and days.isdigit() and len(days) < 3 and 1 <= int(days) <= MOST_DAYS):
        return await _page(request, refusal=f"days: must be 1 to {MOST_DAYS}", status=422)
    until = (context.clock() + timedelta(days=int(days))).isoformat(timespec="minutes")
    word = await off_loop(lambda: access.session_word(context.ledger, access.AUDITOR))
    signed = context.sign({"link": access.AUDITOR, "session": word, "until": until})
    address = context.addresses[0] if context.addresses else f"{request.url.scheme}://{request.url.netloc}"
    return await _page(request, link=f"{address}/audit/{signed}", until=until)


async def end_links(request: Request) -> Response:
    """End every link given to auditors, and whoever came in by one."""
    lecturer_only(request)
    ledger = context_of(request).ledger
    await off_loop(lambda: access.end_sessions(ledger, access.AUDITOR))
    return RedirectResponse("/access?changed=yes", 303)


async def audit(request: Request) -> Response:
    """Let an auditor in by a link that is not over."""
    context = context_of(request)
    found = context.signed(request.path_params["link"], MOST_DAYS * 24 * 3600) or {}
    word = await off_loop(lambda: access.session_word(context.ledger, access.AUDITOR))
    if found.get("link") != access.AUDITOR or found.get("session") != word or _over(found["until"], context.clock()):
        raise HTTPException(403, "This link has ended. Ask the lecturer for a new one.")
    response = RedirectResponse("/evidence", 303)
    let_in(request, response, access.AUDITOR, until=found["until"])
    return response


def _over(until: str, now: datetime) -> bool:
    return until <= now.isoformat()


async def _check_old(request: Request, old: str) -> None:
    context = context_of(request)
    address = request.client.host if request.client else ""
    async with context.guesses.turn(address):
        right = await off_loop(lambda: access.is_password(context.ledger, old))
        context.guesses.tell(address, right=right)
    if not right:
        raise BadInputError("old password: that is not the password")


async def _page(
    request: Request, *, refusal: str = "", done: str = "", link: str = "", until: str = "", status: int = 200
) -> Response:
    ledger = context_of(request).ledger
    others = access.WITH_PASSWORD[1:]
    values = {
        "others": await off_loop(lambda: [(one, access.has_password(ledger, one)) for one in others]),
        "shortest": access.SHORTEST,
        "longest": access.LONGEST,
        "most_days": MOST_DAYS,
        "refusal": refusal,
        "done": "Changed." if request.query_params.get("changed") == "yes" else done,
        "link": link,
        "until": until,
    }
    return page(request, "access.html", values, status=status)


routes = [
    Route("/access", overview),
    Route("/access/password", password, methods=["POST"]),
    Route("/access/sign-out-everywhere", sign_out_everywhere, methods=["POST"]),
    Route("/access/audit-link", make_link, methods=["POST"]),
    Route("/access/end-audit-links", end_links, methods=["POST"]),
    Route("/audit/{link}", audit),
]
