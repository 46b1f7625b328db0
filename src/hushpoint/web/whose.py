"""Whose error it is, for the lecturer alone: a class, or all classes of the year; observers, gauges, slips, the pen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from hushpoint.agreement import EndErrors, ObserverError, digits_by_hand, errors_by_hand
from hushpoint.desk import classes, kit, pairs
from hushpoint.desk.judging import REVIEW_HABIT
from hushpoint.desk.whose import (
    NO_GAUGE,
    Shown,
    digit_lines,
    gauge_words,
    slip_words,
    untold_words,
    written_words,
)
from hushpoint.errors import NotFoundError
from hushpoint.web.context import context_of, lecturer_only, off_loop, page, reader_of

MEAN = "mean"
"""What the chooser sends for nobody's bias called 0."""


WAIT_S = 0.5
"""How long a page waits for figures before it shows what there is [s]."""

PICTURE_WAIT_S = 30.0
"""How long a picture waits: its page stands already."""

AT_ONCE = 100
"""Observers on one page; the rest are found by name or on the next."""

MOST_TO_CHOOSE = 200
"""From more observers on, the zero is chosen in the table, not from a list."""


LEAN_MMHG = 2.0
"""From which lean on somebody is named as one to listen with: a mark of the gauge (our choice) [mmHg]."""

MOST_LEANING = 6
"""How many are named at the top of the page; the table has them all."""


@dataclass(frozen=True, slots=True)
class Scope:
    """What is looked at: one class, or with `info` None all of them; who is who, and which gauge is which."""

    info: classes.ClassInfo | None
    here: str
    shown: Shown
    names: Mapping[str, str]
    gauges: Mapping[str, str]

    @property
    def room(self) -> str | None:
        """The class, None for all."""
        return None if self.info is None else self.info.code

    @property
    def observers(self) -> Mapping[str, str]:
        """Each observer's id and class."""
        return self.shown.observers

    @property
    def reference(self) -> str | None:
        """Whose bias is called 0, None for the mean."""
        return self.shown.reference

    def called(self, name: str) -> str:
        """Call an observer or a gauge by what the lecturer knows it by."""
        if name in self.names:
            return self.names[name]
        return self.gauges.get(name, name) or NO_GAUGE

    def order(self, one: ObserverError) -> tuple[float, str]:
        """Sort those first whose bias is more than chance would give, the largest on top."""
        return (-abs(one.bias_mmhg or 0) if _clear(one.bias_ci_mmhg) else 0.0, self.called(one.observer).casefold())


@dataclass(frozen=True, slots=True)
class Part:
    """Which observers a page shows: those whose name holds `find`, from place `first` on."""

    find: str
    first: int

    def address(self, scope: Scope, first: int, reference: str = "") -> str:
        """The address of the page that begins at another place or calls another observer 0."""
        values = {"reference": reference or scope.reference or MEAN, "find": self.find, "from": first or ""}
        return f"{scope.here}?{urlencode({name: value for name, value in values.items() if value})}"


async def whose_error(request: Request) -> Response:
    """Show whose error it is, with what to do about it."""
    lecturer_only(request)
    return await off_loop(lambda: _page(request))


async def picture(request: Request) -> Response:
    """Draw one end for a light page or a dark one."""
    lecturer_only(request)
    return Response(await off_loop(lambda: _drawn(request)), media_type="image/svg+xml")


def _page(request: Request) -> Response:
    scope = _scope(request, WAIT_S)
    if scope is None or (scope.shown.found is None and not scope.shown.too_few):
        return page(request, "whose_wait.html", {"here": str(request.url.path), "reading": scope is None})
    return page(request, "whose.html", _values(request, scope))


def _scope(request: Request, wait_s: float) -> Scope | None:
    """What is to be shown; None where it is not read within `wait_s`."""
    context = context_of(request)
    code = request.path_params.get("code")
    info = None if code is None else classes.find_class(context.ledger, code)
    room = None if info is None else info.code

    def choose(observers: Mapping[str, str]) -> str | None:
        asked = request.query_params.get("reference")
        if asked is None:
            asked = pairs.LECTURER if pairs.LECTURER in observers else MEAN
        if asked != MEAN and asked not in observers:
            raise NotFoundError("Nobody of this name has readings here. Choose the reference from the list.")
        return None if asked == MEAN else asked

    shown = context.live_readings.of(room).shown(room, choose, wait_s)
    if shown is None:
        return None
    names = {pairs.LECTURER: reader_of(request).on_pictures("the lecturer")}
    for one in sorted({*shown.observers.values()} if room is None else {room}):
        known = classes.names_of(context.ledger, one)
        names |= {
            who: f"{name} ({one})" if room is None else name for who, name in known.items() if who in shown.observers
        }
    return Scope(
        info,
        "/whose" if info is None else f"/class/{info.code}/whose",
        shown,
        names,
        {one.id: one.label for one in kit.register(context.ledger, retired=True).values()},
    )


def _part(request: Request) -> Part:
    first = request.query_params.get("from", "")
    whole = first.isascii() and first.isdigit() and len(first) <= 6
    return Part(request.query_params.get("find", "").strip()[:80], int(first) // AT_ONCE * AT_ONCE if whole else 0)


def _values(request: Request, scope: Scope) -> dict[str, Any]:
    readings = context_of(request).live_readings.of(scope.info.code if scope.info else None)
    people = sorted(((who, scope.called(who)) for who in scope.observers), key=lambda one: one[1].casefold())
    if many := len(people) > MOST_TO_CHOOSE:
        people = [one for one in people if one[0] in (scope.reference, pairs.LECTURER)]
    values: dict[str, Any] = {
        "scope": scope,
        "info": scope.info,
        "reference": scope.reference or MEAN,
        "people": people,
        "many": many,
        "too_few": scope.shown.too_few,
        "behind": scope.shown.behind,
        "part": _part(request),
        "ends": [],
        "classes": sorted({*scope.observers.values()}),
        "digits": [],
    }
    if scope.room is not None:
        values["digits"] = [
            {"name": scope.called(one.observer), "lines": digit_lines(one), "by_hand": digits_by_hand(one)}
            for one in readings.digits(scope.room)
        ]
    if scope.shown.found is not None:
        ends = scope.shown.found.ends()
        measured_in = readings.measured_in({slip.measurement for end in ends for slip in end.outlying})
        values["ends"] = [_end(scope, one, measured_in, values["part"]) for one in ends]
        values["next"] = _next(scope, ends, values["ends"], values["digits"])
    return values


def _next(
    scope: Scope, found: Sequence[EndErrors], ends: Sequence[Mapping[str, Any]], digits: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Return what there is to do, both ends together: gauges to check, who leans or scatters, what to look at."""
    leans: dict[str, list[tuple[float, str]]] = {}
    for end in found:
        for one in end.observers:
            bias = one.bias_mmhg or 0.0
            if one.observer != scope.reference and _clear(one.bias_ci_mmhg) and abs(bias) >= LEAN_MMHG:
                leans.setdefault(one.observer, []).append((bias, f"{abs(bias):.1f} {_way(bias)} on {end.end}"))
            if one.spread_mmhg and one.spread_ci_mmhg and one.spread_ci_mmhg[0] > end.error_sd_mmhg:
                words = f"scatters by {one.spread_mmhg:.1f} on {end.end}, all together by {end.error_sd_mmhg:.1f}"
                leans.setdefault(one.observer, []).append((one.spread_mmhg, words))
    order = sorted(leans, key=lambda who: -max(abs(bias) for bias, _ in leans[who]))
    return {
        "check": list({one["label"]: one for end in ends for one in end["suspects"]}.values()),
        "undecided": list(dict(gauge for end in ends for gauge in end["undecided"]).items()),
        "leaning": [
            {"name": scope.called(who), "link": _link(scope, who), "words": [words for _, words in leans[who]]}
            for who in order[:MOST_LEANING]
        ],
        "more_leaning": max(0, len(order) - MOST_LEANING),
        "slips": sum(len(end["slips"]) for end in ends),
        "habits": [one["name"] for one in digits if any(REVIEW_HABIT in line for line in one["lines"])],
        "open": any(end["untold"] for end in ends),
    }


def _way(bias_mmhg: float) -> str:
    return "low" if bias_mmhg < 0 else "high"


def _end(scope: Scope, found: EndErrors, measured_in: Mapping[str, str], part: Part) -> dict[str, Any]:
    wanted = part.find.casefold()
    named = [one for one in found.observers if wanted in scope.called(one.observer).casefold()]
    on_page = sorted(named, key=scope.order)[part.first : part.first + AT_ONCE]
    last = part.first + len(on_page)
    slips = [
        {
            "link": f"/class/{measured_in[one.measurement]}/pairs/{one.measurement.partition('.')[0]}",
            "words": slip_words(one, scope.called),
            "written": written_words(one, scope.called),
        }
        for one in found.outlying
        if one.measurement in measured_in
    ]
    suspects = [
        {"id": one.gauge, "label": scope.called(one.gauge), "words": gauge_words(one, scope.called)}
        for one in found.watch.gauges
        if one.named
    ]
    return {
        "found": found,
        "by_hand": errors_by_hand(found),
        "observers": [
            {
                "one": one,
                "name": scope.called(one.observer),
                "link": _link(scope, one.observer),
                "met": _met(scope, one),
            }
            for one in on_page
        ],
        "matching": len(named),
        "last": last,
        "before": part.address(scope, max(0, part.first - AT_ONCE)) if part.first else "",
        "after": part.address(scope, last) if last < len(named) else "",
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

    scope = _scope(request, PICTURE_WAIT_S)
    if scope is None or scope.shown.found is None:
        why = "" if scope is None else scope.shown.too_few
        raise NotFoundError(f"No picture yet: {why or 'it is being worked out'}")
    ends = scope.shown.found.ends()
    found = next((one for one in ends if one.end == request.query_params.get("end", "systolic")), None)
    if found is None:
        raise NotFoundError("end: must be systolic, or diastolic where two diastolic readings share a measurement")
    people = [
        ErrorRow(scope.called(one.observer), one.bias_mmhg, one.bias_ci_mmhg, one.spread_mmhg, one.spread_ci_mmhg)
        for one in sorted(found.observers, key=scope.order)
    ]
    gauges = [ErrorRow(scope.called(one.gauge), one.bias_mmhg, one.bias_ci_mmhg) for one in found.gauges]
    dark = request.query_params.get("on") == "dark"
    return errors_picture(people, gauges, dark=dark, say=reader_of(request).on_pictures)


routes = [
    Route("/class/{code}/whose", whose_error),
    Route("/class/{code}/whose/picture.svg", picture),
    Route("/whose", whose_error),
    Route("/whose/picture.svg", picture),
]
