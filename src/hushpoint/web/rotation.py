"""The rotation: planned and changed by the lecturer, by letters on the wall, and each learner's own turn by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import classes, consent, papers, rotation
from hushpoint.desk.path import local_now
from hushpoint.errors import BadInputError, NotAllowedError, NotFoundError
from hushpoint.ledger.records import Kind, Ledger, utc_now
from hushpoint.practice.rotation import LECTURER, Asked, Infeasible, Turn
from hushpoint.web.context import context_of, done, is_lecturer, known_learner, lecturer_only, off_loop, page, reader_of
from hushpoint.web.forms import Form, form_of

DOOR = "/"
NOBODY = "somebody who left"
MOST_FIELDS = 2 * classes.MOST_LEARNERS + 20
"""Two boxes for each learner, and the numbers."""
FIELDS = (("minutes", 60), ("gauges", 6), ("double_heads", 2), ("tests", 3), ("slot_minutes", 4))
"""What the form asks, with what it begins with: an hour at six gauges (job facts 1)."""


async def class_rotation(request: Request) -> Response:
    """Show a class's rotation and the form for another; plan it when asked."""
    lecturer_only(request)
    if request.method == "GET":
        return await _class_page(request)
    form = await form_of(request, most_fields=MOST_FIELDS)
    info = await _info(request)
    ledger = context_of(request).ledger
    try:
        asked = _asked(form)
        absent, competent = _ticked(form, "away-"), _ticked(form, "able-")
        paper = form.text("paper") == "yes"
        found = await off_loop(
            lambda: rotation.plan_rotation(
                ledger,
                room=info.code,
                asked=asked,
                absent=absent,
                competent=competent,
                paper=paper,
                today=local_now().date(),
            )
        )
    except BadInputError as refusal:
        return await _class_page(request, refusal=str(refusal), form=form)
    if isinstance(found, Infeasible):
        return await _class_page(request, infeasible=found, form=form)
    there = RedirectResponse(f"/class/{info.code}/rotation", 303)
    return await done(request, there, Kind.ROTATION_PLANNED, room=info.code)


async def change(request: Request) -> Response:
    """Start, hold or go on with the clock; take somebody out or in, in one tap."""
    lecturer_only(request)
    form = await form_of(request)
    info = await _info(request)
    ledger = context_of(request).ledger
    act, who = form.text("act"), form.text("who")
    found = await off_loop(lambda: rotation.change(ledger, room=info.code, act=act, who=who, now=local_now()))
    if isinstance(found, Infeasible):
        return await _class_page(request, infeasible=found)
    there = RedirectResponse(f"/class/{info.code}/rotation", 303)
    return await done(request, there, Kind.ROTATION_CHANGED, room=info.code)


async def class_now(request: Request) -> Response:
    """Answer with the running part of the lecturer's page."""
    lecturer_only(request)
    return await _part(request, "rotation_class_part.html")


async def wall(request: Request) -> Response:
    """Show the projector's view: group letters and the clock."""
    lecturer_only(request)
    info = await _info(request)
    return page(request, "rotation_wall.html", {"info": info, **await _values(request, info.code)})


async def wall_now(request: Request) -> Response:
    """Answer with the running part of the wall."""
    lecturer_only(request)
    return await _part(request, "rotation_wall_part.html")


async def sheet(request: Request) -> Response:
    """Answer with the printed sheet."""
    lecturer_only(request)
    info = await _info(request)
    context = context_of(request)
    stands = await off_loop(lambda: rotation.rotation_of(context.ledger, info.code))
    if stands is None:
        raise NotFoundError("No rotation is planned for this class.")
    names = await off_loop(lambda: classes.names_of(context.ledger, info.code))
    made_at = local_now()
    to = reader_of(request)
    values = sheet_values(stands, names, info, made_at=made_at, invented=context.invented, say=to.ours)
    from hushpoint.desk.printed import printed

    made = await off_loop(lambda: printed("rotation", values, to=to, made_at=made_at))
    kept = {"Content-Disposition": f'inline; filename="rotation-{info.code}.pdf"'}
    return Response(made, media_type="application/pdf", headers=kept)


async def own_rotation(request: Request) -> Response:
    """Show a learner their own turn."""
    learner = await off_loop(lambda: known_learner(request))
    if learner is None or not learner.room:
        return RedirectResponse(DOOR, 303)
    return page(request, "rotation_own.html", await _own_values(request, learner.room, learner.who))


async def own_now(request: Request) -> Response:
    """Answer with a learner's own turn as it is now."""
    learner = await off_loop(lambda: known_learner(request))
    if learner is None or not learner.room:
        raise NotAllowedError("nobody has joined a class on this device")
    values = await _own_values(request, learner.room, learner.who)
    return HTMLResponse(context_of(request).draw("rotation_own_part.html", values, request))


def told(turn: Turn, names: Mapping[str, str], say: Callable[[str], str]) -> dict[str, Any]:
    """Return a turn with names for the page, and what stands for a name in the reader's words."""

    def name(one: str) -> str:
        return say("the lecturer") if one == LECTURER else names.get(one) or say(NOBODY)

    return {
        "group": rotation.letter(turn.group),
        "tester": name(turn.tester),
        "client": name(turn.client),
        "arm": turn.arm,
        "recorder": name(turn.recorder) if turn.recorder else say("the tester"),
        "watchers": [name(one) for one in turn.watchers],
        "pair": name(turn.pair) if turn.pair else "",
    }


def sheet_values(
    stands: rotation.Rotation,
    names: Mapping[str, str],
    info: classes.ClassInfo,
    *,
    made_at: datetime,
    invented: bool,
    say: Callable[[str], str] = str,
) -> dict[str, Any]:
    """Return what the printed sheet is filled with."""
    step = stands.asked.slot_minutes
    groups = []
    for number, members in enumerate(stands.plan.groups):
        turns = [
            (place, told(turn, names, say))
            for place, slot in enumerate(stands.plan.slots)
            for turn in slot
            if turn.group == number
        ]
        rows = [
            [
                say(f"{place * step} to {(place + 1) * step}"),
                one["tester"],
                one["client"],
                say(one["arm"]),
                one["recorder"],
                ", ".join(one["watchers"]),
                one["pair"],
            ]
            for place, one in turns
        ]
        if members:
            people = ", ".join(names.get(one) or say(NOBODY) for one in members)
            groups.append({"letter": rotation.letter(number), "people": people, "rows": rows})
    return {
        "title": say(f"Rotation, class {info.code}"),
        "line": f"{info.name} · " + say(f"{len(stands.plan.slots)} readings of {step} minutes at each gauge"),
        "groups": groups,
        "foot": say(f"Class {info.code} · printed {made_at:%d.%m.%Y %H:%M} · names: keep off the wall"),
        "invented": invented,
        "caution": "Only who agreed is measured, on the arm named. Stop at once when asked to; nobody says why.",
    }


async def _class_page(
    request: Request, *, refusal: str = "", infeasible: Infeasible | None = None, form: Form | None = None
) -> Response:
    info = await _info(request)
    ledger = context_of(request).ledger
    values = await _values(request, info.code)
    stands: rotation.Rotation | None = values["stands"]
    people = await off_loop(lambda: classes.people_of(ledger, info.code))
    said = await off_loop(lambda: consent.agreements(ledger, info.code, local_now().date()))
    if form is not None:
        absent, competent = _ticked(form, "away-"), _ticked(form, "able-")
        kept: dict[str, Any] = {name: form.text(name) for name, _ in FIELDS} | {"paper": form.text("paper") == "yes"}
    elif stands is not None:
        absent, competent = stands.absent, stands.competent
        kept = {name: getattr(stands.asked, name) for name, _ in FIELDS} | {"paper": stands.paper}
    else:
        absent, competent = frozenset(), frozenset()
        kept = dict(FIELDS) | {"paper": False}
    values |= {
        "info": info,
        "people": sorted(people.items(), key=lambda one: one[1].casefold()),
        "absent": absent,
        "competent": competent,
        "form": kept,
        "agreed": sum(one.arms != "none" for who, one in said.items() if who in people),
        "silent": sum(who not in said for who in people),
        "refusal": refusal,
        "infeasible": infeasible,
    }
    return page(request, "rotation_class.html", values, status=422 if refusal or infeasible else 200)


async def _part(request: Request, template: str) -> Response:
    info = await _info(request)
    return HTMLResponse(
        context_of(request).draw(template, {"info": info, **await _values(request, info.code)}, request)
    )


async def _values(request: Request, room: str) -> dict[str, Any]:
    """Return what every view of the lecturer shows."""
    ledger = context_of(request).ledger
    stands = await off_loop(lambda: rotation.rotation_of(ledger, room))
    names = await off_loop(lambda: classes.names_of(ledger, room))
    now = local_now()
    values: dict[str, Any] = {"stands": stands, "names": names, "slot": None, "turns": [], "next_turns": []}
    if stands is None:
        return values
    say = reader_of(request).ours
    slot = stands.slot(now)
    slots = stands.plan.slots
    shown = 0 if slot is None else slot
    short = sorted(
        names.get(who) or say(NOBODY)
        for who, count in stands.plan.tests.items()
        if count < stands.asked.tests and who not in stands.absent
    )
    unpaired = sorted(
        names[who]
        for who in stands.plan.tests
        if who in names and who not in stands.plan.pairs and who not in stands.competent
    )
    return values | {
        "slot": slot,
        "left_s": stands.left_s(now),
        "held": stands.held_at is not None,
        "letters": [rotation.letter(place) for place, group in enumerate(stands.plan.groups) if group],
        "turns": [told(turn, names, say) for turn in slots[shown]] if shown < len(slots) else [],
        "next_turns": [told(turn, names, say) for turn in slots[shown + 1]] if shown + 1 < len(slots) else [],
        "groups": [
            {"letter": rotation.letter(place), "members": [(who, names.get(who) or say(NOBODY)) for who in group]}
            for place, group in enumerate(stands.plan.groups)
            if group
        ],
        "away": sorted((names[who], who) for who in stands.absent if who in names),
        "over": slot is not None and slot >= len(slots),
        "least": min((count for who, count in stands.plan.tests.items() if who not in stands.absent), default=0),
        "short": short,
        "unpaired": unpaired,
        "paired": len(stands.plan.pairs),
    }


async def _own_values(request: Request, room: str, who: str) -> dict[str, Any]:
    ledger = context_of(request).ledger
    stands = await off_loop(lambda: rotation.rotation_of(ledger, room))
    values: dict[str, Any] = {"stands": stands, "mine": None, "after": None, "group": "", "is_lecturer": False}
    if stands is None:
        return values
    names = await off_loop(lambda: classes.names_of(ledger, room))
    say = reader_of(request).ours
    names = names | {who: say("you")}
    now = local_now()
    slot = stands.slot(now)
    shown = 0 if slot is None else slot
    group = next((place for place, members in enumerate(stands.plan.groups) if who in members), None)
    return values | {
        "slot": slot,
        "slots": len(stands.plan.slots),
        "left_s": stands.left_s(now),
        "held": stands.held_at is not None,
        "over": slot is not None and slot >= len(stands.plan.slots),
        "away": who in stands.absent,
        "group": "" if group is None or who in stands.absent else rotation.letter(group),
        "mine": _own_turn(stands, who, shown, names, say),
        "after": _own_turn(stands, who, shown + 1, names, say),
        "clips": await _clips(ledger, room),
        "is_lecturer": is_lecturer(request),
    }


async def _clips(ledger: Ledger, room: str) -> int:
    """Return how many clips the class's open listening paper has, 0 without one: work for whoever only watches."""
    found = await off_loop(lambda: papers.papers_of(ledger, room))
    return next((one.size for one in found if not one.closed_because(utc_now())), 0)


def _own_turn(
    stands: rotation.Rotation, who: str, slot: int, names: Mapping[str, str], say: Callable[[str], str]
) -> dict[str, Any] | None:
    turn = rotation.turn_for(stands, who, slot)
    return None if turn is None else told(turn, names, say) | {"role": turn.role_of(who)}


def _asked(form: Form) -> Asked:
    numbers: dict[str, int] = {}
    for name, _ in FIELDS:
        text = form.text(name).strip()
        if not (text.isascii() and text.isdigit() and len(text) <= 4):
            raise BadInputError(f"{name.replace('_', ' ')}: must be a whole number")
        numbers[name] = int(text)
    return Asked(**numbers, lecturer_pairs=form.text("lecturer_pairs") != "no")


def _ticked(form: Form, prefix: str) -> frozenset[str]:
    return frozenset(
        name.removeprefix(prefix) for name, value in form.texts.items() if name.startswith(prefix) and value
    )


async def _info(request: Request) -> classes.ClassInfo:
    ledger, code = context_of(request).ledger, request.path_params["code"]
    return await off_loop(lambda: classes.find_class(ledger, code))


routes = [
    Route("/class/{code}/rotation", class_rotation, methods=["GET", "POST"]),
    Route("/class/{code}/rotation/change", change, methods=["POST"]),
    Route("/class/{code}/rotation/now", class_now),
    Route("/class/{code}/rotation/wall", wall),
    Route("/class/{code}/rotation/wall/now", wall_now),
    Route("/class/{code}/rotation/sheet.pdf", sheet),
    Route("/practise/rotation", own_rotation),
    Route("/practise/rotation/now", own_now),
]
