"""The manual inside the app, so that it is there without internet: the same pages that docs/ holds."""

from __future__ import annotations

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from hushpoint.web.context import off_loop, page
from hushpoint.web.manual_pages import FIRST, manual_page, picture


async def shown(request: Request) -> Response:
    """Show a page of the manual, the first one where none is named."""
    name = request.path_params.get("page", FIRST)
    found = await off_loop(lambda: manual_page(name))
    text = Markup(found.html)  # noqa: S704 - written by us, shipped with the app
    return page(request, "manual.html", {"found": found, "text": text, "first": name == FIRST})


async def pictured(request: Request) -> Response:
    """Return a picture of the manual."""
    name = request.path_params["name"]
    return FileResponse(await off_loop(lambda: picture(name)))


routes = [
    Route("/manual", shown),
    Route("/manual/{page}", shown),
    Route("/manual/pictures/{name}", pictured),
]
