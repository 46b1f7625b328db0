"""Whose error it is, for the lecturer alone: a class, or all classes of the year; observers, gauges, slips, the pen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from hushpoint.agreement import AgreementError, EndErrors, ErrorSources, ObserverError
from hushpoint.desk import classes, kit, pairs
from hushpoint.desk.whose import NO_GAUGE, digit_lines, gauge_words, slip_words, untold_words, written_words
from hushpoint.errors import NotFoundError
from hushpoint.web.context import context_of, lecturer_only, off_loop, page

MEAN = "mean"
"""What the chooser sends for nobody's bias called 0."""


@dataclass(frozen=True, slots=True)
class Scope:
    """What is looked at: one class, or with `info` None all of them; who is who, and which gauge is which."""

    info: classes.ClassInfo | None
    here: str
    observers: Mapping[str, str]
    """Each observer's id and class."""
    names: Mapping[str, str]
    gauges: Mapping[str, str]
    reference: str | None

    @property
    def room(self) -> str | None:
        """The class, None for all."""
        return None if self.info is None else self.info.code

    def called(self, name: str) -> str:
        """Call an observer or a gauge by what the lecturer knows it by."""
        if name in self.names:
            return self.names[name]
        return self.gauges.get(name, name) or NO_GAUGE

    def order(self, one: ObserverError) -> tuple[float, str]:
        """Sort those first whose bias is more than chance would give, the largest on top."""
        return (-abs(one.bias_mmhg or 0) if _clear(one.bias_ci_mmhg) else 0.0, self.called(one.observer).casefold())


async def whose_error(request: Request) -> Response:
    """Show whose error it is, with what to do about it."""
    lecturer_only(request)
    return page(request, "whose.html", await off_loop(lambda: _values(request, _scope(request))))


async def picture(request: Request) -> Response:
    """Draw one end for a light page or a dark one."""
    lecturer_only(request)
    return Response(await off_loop(lambda: _drawn(request)), media_type="image/svg+xml")


def _scope(request: Request) -> Scope:
    context = context_of(request)
    code = request.path_params.get("code")
    info = None if code is None else classes.find_class(context.ledger, code)
    room = None if info is None else info.code
    observers = context.live_readings.observers(room)
    names = {pairs.LECTURER: "the lecturer"}
    for one in sorted({*observers.values()} if room is None else {room}):
        known = classes.names_of(context.ledger, one)
        names |= {who: f"{name} ({one})" if room is None else name for who, name in known.items() if who in observers}
    asked = request.query_params.get("reference")
    if asked is None:
        asked = pairs.LECTURER if pairs.LECTURER in observers else MEAN
    if asked != MEAN and asked not in observers:
        raise NotFoundError("Nobody of this name has readings here. Choose the reference from the list.")
    return Scope(
        info,
        "/whose" if info is None else f"/class/{info.code}/whose",
        observers,
        names,
        {one.id: one.label for one in kit.register(context.ledger, retired=True).values()},
        None if asked == MEAN else asked,
    )


def _values(request: Request, scope: Scope) -> dict[str, Any]:
    readings = context_of(request).live_readings
    values: dict[str, Any] = {
        "scope": scope,
        "info": scope.info,
        "reference": scope.reference or MEAN,
        "people": sorted(((who, scope.called(who)) for who in scope.observers), key=lambda one: one[1].casefold()),
        "ends": [],
        "classes": sorted({*scope.observers.values()}),
        "digits": [],
    }
    if scope.room is not None:
        values["digits"] = [
            {"name": scope.called(one.observer), "lines": digit_lines(one), "counts": one}
            for one in readings.digits(scope.room)
        ]
    try:
        found = readings.whose(scope.room, scope.reference)
    except AgreementError as too_few:
        return values | {"too_few": str(too_few)}
    measured_in = readings.measured_in(scope.room)
    values["ends"] = [_end(scope, one, measured_in) for one in found.ends()]
    return values


def _end(scope: Scope, found: EndErrors, measured_in: Mapping[str, str]) -> dict[str, Any]:
    slips = [
        {
            "link": f"/class/{measured_in[one.measurement]}/pairs/{one.measurement.partition('.')[0]}",
            "words": slip_words(one, scope.called),
            "written": written_words(one, scope.called),
        }
        for one in found.outlying
    ]
    suspects = [
        {"id": one.gauge, "label": scope.called(one.gauge), "words": gauge_words(one, scope.called)}
        for one in found.watch.gauges
        if one.named
    ]
    return {
        "found": found,
        "observers": [
            {
                "one": one,
                "name": scope.called(one.observer),
                "link": _link(scope, one.observer),
                "met": _met(scope, one),
            }
            for one in sorted(found.observers, key=scope.order)
        ],
        "suspects": suspects,
        "undecided": [(one, scope.called(one)) for one in found.watch.undecided],
        "gauges": [(one, scope.called(one.gauge)) for one in found.gauges],
        "odds": [(one, scope.called(one.gauge)) for one in found.watch.gauges],
        "slips": slips,
        "untold": [untold_words(one, scope.called) for one in found.untold],
    }


def _link(scope: Scope, observer: str) -> str:
    return "" if observer == pairs.LECTURER else f"/class/{scope.observers[observer]}/learner/{observer}/pairs"


def _met(scope: Scope, one: ObserverError) -> str:
    """Say through how many others an observer is compared with the reference."""
    if scope.reference is None:
        return ""
    match one.steps:
        case None:
            return "no chain to the reference: against the mean of their own group"
        case 0:
            return "is the zero"
        case 1:
            return "met"
        case steps:
            return f"through {steps - 1} other{'s' if steps > 2 else ''}"


def _clear(ends: tuple[float, float] | None) -> bool:
    return ends is not None and (ends[0] > 0 or ends[1] < 0)


def _drawn(request: Request) -> bytes:
    from hushpoint.sheet.errors_picture import ErrorRow, errors_picture

    scope = _scope(request)
    try:
        whole: ErrorSources = context_of(request).live_readings.whose(scope.room, scope.reference)
    except AgreementError as too_few:
        raise NotFoundError(f"No picture yet: {too_few}") from None
    found = next((one for one in whole.ends() if one.end == request.query_params.get("end", "systolic")), None)
    if found is None:
        raise NotFoundError("end: must be systolic, or diastolic where two diastolic readings share a measurement")
    people = [
        ErrorRow(scope.called(one.observer), one.bias_mmhg, one.bias_ci_mmhg, one.spread_mmhg, one.spread_ci_mmhg)
        for one in sorted(found.observers, key=scope.order)
    ]
    gauges = [ErrorRow(scope.called(one.gauge), one.bias_mmhg, one.bias_ci_mmhg) for one in found.gauges]
    return errors_picture(people, gauges, dark=request.query_params.get("on") == "dark")


routes = [
    Route("/class/{code}/whose", whose_error),
    Route("/class/{code}/whose/picture.svg", picture),
    Route("/whose", whose_error),
    Route("/whose/picture.svg", picture),
]
