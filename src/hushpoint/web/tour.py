"""The tour of the invented college: a strip above the pages, from stop to stop, left at any moment."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import access, tour
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.web.context import TOUR_COOKIE, TOUR_S, context_of, give_cookie, let_in, off_loop, role_of
from hushpoint.web.forms import form_of


async def go(request: Request) -> Response:
    """Go to a stop, or leave the tour (stop 0). Whoever begins comes in as the invented lecturer.

    The password of the invented college is printed on its page: letting somebody in here opens nothing more.
    """
    context = context_of(request)
    if not context.invented:
        raise NotFoundError("The tour goes over invented data only: `hushpoint demo` has it.")
    asked = (await form_of(request)).text("to")
    if asked not in {str(one) for one in range(len(tour.STOPS) + 1)}:
        raise BadInputError(f"stop of the tour: a whole number from 0 (leave) to {len(tour.STOPS)}")
    number = int(asked)
    if number == 0:
        response = RedirectResponse("/", 303)
        response.delete_cookie(TOUR_COOKIE, path="/")
        return response
    address = await off_loop(lambda: tour.address_of(context.ledger, number))
    response = RedirectResponse(address, 303)
    give_cookie(request, response, TOUR_COOKIE, {"stop": str(number), "at": address}, TOUR_S)
    if role_of(request) != access.LECTURER:
        let_in(request, response, access.LECTURER)
    return response


routes = [Route("/tour", go, methods=["POST"])]
