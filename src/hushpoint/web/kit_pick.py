"""The kit in somebody's hands: picked in two taps or scanned, remembered on this device, read back from a form.

How another page uses it:

    values = {"kit": await kit_choices(request), ...}          # then {% include "kit_pick.html" %} inside its form
    chosen = await kit_choice(request, form.texts)             # {"gauge": id, "cuff": id, "stethoscope": id}, "" unsaid
    remember(request, response, chosen)                        # last used comes first the next time
    return come_back(request, page(...))                       # on the page shown: a scan leads back to it

The fields are named gauge, cuff and stethoscope; ids go into `desk.live.LiveReading` as they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from starlette.requests import Request
from starlette.responses import Response

from hushpoint.desk import kit_choice as desk
from hushpoint.desk.kit import TYPES, Type
from hushpoint.web.context import context_of, give_cookie, off_loop

KIT_COOKIE = "hushpoint_kit"
KIT_S = 30 * 24 * 3600
_BACK = "back"


async def kit_choices(request: Request) -> desk.Choices:
    """Return what there is to choose, what was last used on this device first."""
    ledger, last = context_of(request).ledger, in_hand(request)
    return await off_loop(lambda: desk.choices(ledger, last, datetime.now(UTC)))


async def kit_choice(request: Request, fields: Mapping[str, str]) -> dict[Type, str]:
    """Return the ids that a form or a JSON body names; raises BadInputError for kit that may not be used."""
    ledger = context_of(request).ledger
    return await off_loop(lambda: desk.chosen(ledger, fields))


def in_hand(request: Request) -> dict[str, str]:
    """Return the ids last used on this device by type."""
    return {kind: item_id for kind, item_id in _cookie(request).items() if kind in TYPES}


def remember(request: Request, response: Response, chosen: Mapping[Type, str]) -> None:
    """Remember on this device what was used; a type that was not said keeps what it had."""
    used = {str(kind): item_id for kind, item_id in chosen.items() if item_id}
    give_cookie(request, response, KIT_COOKIE, {**_cookie(request), **used}, KIT_S)


def come_back(request: Request, response: Response) -> Response:
    """Let a scan on this device lead back to the page that is shown, and return the answer."""
    give_cookie(request, response, KIT_COOKIE, {**_cookie(request), _BACK: request.url.path}, KIT_S)
    return response


def way_back(request: Request) -> str:
    """Return the page that a scan leads back to, "" where none asked for it."""
    return _cookie(request).get(_BACK, "")


def _cookie(request: Request) -> dict[str, str]:
    return context_of(request).signed(request.cookies.get(KIT_COOKIE), KIT_S) or {}
