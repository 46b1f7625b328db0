"""The reader's habits: the language of the pages and the unit beside mmHg, kept on the device alone."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.web.context import LANGUAGE_COOKIE, UNIT_COOKIE, safe_next
from hushpoint.web.forms import form_of
from hushpoint.words import LANGUAGES, UNITS, reader

KEPT_S = 365 * 24 * 3600
"""How long a device keeps its habits [s]; each choice begins the year anew."""


async def choose(request: Request) -> Response:
    """Keep the language and the unit on this device, and go back to the page they were chosen on."""
    form = await form_of(request)
    response = RedirectResponse(safe_next(form.text("next"), "/"), 303)
    for name, cookie, known in (("language", LANGUAGE_COOKIE, LANGUAGES), ("unit", UNIT_COOKIE, UNITS)):
        value = form.text(name)
        if value not in known:
            raise BadInputError(f"{name} must be one of {', '.join(known)}")
        response.set_cookie(
            cookie, value, max_age=KEPT_S, samesite="lax", secure=request.url.scheme == "https", httponly=True
        )
    return response


async def words(request: Request) -> Response:
    """Give words.js what scripts may put on a page, in a language."""
    language = request.path_params["language"]
    if language not in LANGUAGES:
        raise NotFoundError(f"there are no words in this language; there are {', '.join(LANGUAGES)}")
    return JSONResponse(reader(language).of_scripts, headers={"Cache-Control": "private, max-age=600"})


routes = [
    Route("/habits", choose, methods=["POST"]),
    Route("/words/{language}.json", words),
]
