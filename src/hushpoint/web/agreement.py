"""The page that compares observers: a readings file in, tables and picture out, nothing kept."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from hushpoint.agreement import agree, agreement_by_hand, digits_by_hand, digits_by_observer
from hushpoint.desk.agreeing import agreement_in_full, in_full_lines, json_in_full
from hushpoint.desk.readings_csv import parse_readings
from hushpoint.errors import BadInputError
from hushpoint.web.context import off_loop, page, reader_of
from hushpoint.web.forms import form_of

MOST_PAIRS = 60
"""Anyone on the class network may send a file: more pairs than this would keep the laptop busy (design choice)."""


async def agreement(request: Request) -> Response:
    """Ask for a readings file; say how far its observers agree."""
    if request.method == "GET":
        return page(request, "agreement.html", {"reference": ""})
    form = await form_of(request)
    reference = form.text("reference").strip()
    name, data = form.files.get("file", ("the file", b""))
    try:
        values = await off_loop(
            lambda: _compare(name or "the file", data, reference or None, reader_of(request).on_pictures)
        )
    except BadInputError as refusal:
        values = {"refusal": str(refusal), "reference": reference[:80]}
        return page(request, "agreement.html", values, status=422)
    return page(request, "agreement.html", {**values, "reference": reference})


def _compare(name: str, data: bytes, reference: str | None, say: Callable[[str], str]) -> dict[str, Any]:
    from hushpoint.sheet.agreement_picture import agreement_picture

    readings = parse_readings(data, name)
    observers = len({row.observer for row in readings})
    pairs = observers - 1 if reference else observers * (observers - 1) // 2
    if pairs > MOST_PAIRS:
        raise BadInputError(
            f"{name[:80]}: {observers} observers make {pairs} pairs, at most {MOST_PAIRS} are compared here; "
            "name an observer to compare with, or use hushpoint agree"
        )
    found = agree(readings, reference)
    full = agreement_in_full(found, readings)
    result = json_in_full(found, full)
    habits = digits_by_observer(readings)
    return {
        "result": result,
        "by_hand": [agreement_by_hand(pair) for pair in found.pairs],
        "digits_by_hand": [(one.observer, digits_by_hand(one)) for one in habits],
        "in_full": [{end: in_full_lines(one) for end, one in ends.items()} for ends in full],
        "digits": {"observers": [one.as_json() for one in habits]},
        "picture": base64.b64encode(agreement_picture(found, "svg", say=say)).decode(),
        "json": json.dumps(result, indent=2),
    }


routes = [Route("/agreement", agreement, methods=["GET", "POST"])]
