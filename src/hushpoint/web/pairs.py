"""Pairs: opened by the lecturer, entered on two devices, shown on both at once; paper sheets and files afterwards."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from itertools import islice
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint.agreement import AgreementError, agree, agreement_by_hand, digits_by_hand
from hushpoint.desk import classes, kit, pairs, pairs_written
from hushpoint.desk.undo import Offer
from hushpoint.desk.whose import digit_lines, digits_of
from hushpoint.errors import BadInputError, NotAllowedError, NotFoundError
from hushpoint.ledger.records import Kind
from hushpoint.web.context import (
    Learner,
    context_of,
    done,
    known_learner,
    lecturer_only,
    off_loop,
    offer,
    page,
    reader_of,
)
from hushpoint.web.forms import Form, form_of, read_json
from hushpoint.web.kit_pick import come_back, kit_choice, kit_choices, remember

LATEST = 40
"""How many of the newest pairs of a class, or of a learner, are listed at first."""
FEWEST_DRAWN = 2
"""Readings of one pair: differences are drawn from the second pair on."""
DOOR = "/"
_FIELDS = {
    "the learner's numbers": "mine",
    "the reference's numbers": "theirs",
    "client": "client",
    "day": "day",
    "day and time": "day",
    "arm": "arm",
}
"""Which field of a paper sheet a refusal speaks of, by the words it begins with; any other speaks of the learner."""


async def class_pairs(request: Request) -> Response:
    """Show a class's pairs, and open one."""
    lecturer_only(request)
    if request.method == "GET":
        return await _class_page(request)
    form = await form_of(request)
    info = await _info(request)
    ledger = context_of(request).ledger
    try:
        chosen = await _kit_in(request, form)
        opening = opening_in(form, learner=form.text("learner"))
        ref = form.text("ref") or secrets.token_hex(8)
        pair = await off_loop(lambda: pairs.open_pair(ledger, room=info.code, opening=opening, ref=ref))
    except (BadInputError, NotFoundError) as refusal:
        return await _class_page(request, refusal=str(refusal), form=form)
    response = RedirectResponse(f"/class/{info.code}/pairs/{pair}", 303)
    remember(request, response, chosen)
    return await done(request, response, Kind.PAIR_OPENED, room=info.code, pair=pair)


async def paper(request: Request) -> Response:
    """Type in a paper sheet, a line a pair: Enter stores it and the next line is ready."""
    lecturer_only(request)
    if request.method == "GET":
        return await _paper_page(request)
    form = await form_of(request)
    info = await _info(request)
    ledger = context_of(request).ledger
    try:
        chosen = await _kit_in(request, form)
        written = await off_loop(lambda: _line_of_paper(request, info.code, form))
        ref = form.text("ref") or secrets.token_hex(8)
        stored = [(*written, f"paper.{info.code}.{pairs.checked_ref(ref)}")]
        new = await off_loop(lambda: pairs.store_written(ledger, room=info.code, written=stored))
    except (BadInputError, NotFoundError) as refusal:
        return await _paper_page(request, form=form, refusal=str(refusal))
    offered = await offer(request, Kind.PAIR_OPENED, room=info.code)
    response = await _paper_page(request, form=form, new=new, offered=offered)
    remember(request, response, chosen)
    return response


async def take_in(request: Request) -> Response:
    """Show how a file of pairs is read, row by row; store them once asked, and only while no row is wrong."""
    lecturer_only(request)
    info = await _info(request)
    if request.method == "GET":
        return page(request, "pairs_import.html", {"info": info, "rows": None, "reference": "", "day": ""})
    form = await form_of(request)
    name, data = form.files.get("file", ("", b""))
    name, data = (name or "the file", data) if data else (form.text("name") or "the file", form.text("text").encode())
    values = {"info": info, "reference": form.text("reference")[:80], "day": form.text("day")[:10], "name": name[:80]}
    try:
        found = await off_loop(lambda: _pairs_in(request, info.code, form, data, name))
    except BadInputError as refusal:
        return page(request, "pairs_import.html", {**values, "rows": None, "refusal": str(refusal)}, status=422)
    wrong = sum(bool(one.problem) for one in found)
    fresh = [one for one in found if not one.problem and (not one.alike or form.text("alike") == "yes")]
    values |= {"rows": found, "wrong": wrong, "fresh": len(fresh), "alike": sum(bool(one.alike) for one in found)}
    if wrong or form.text("store") != "yes":
        values["text"] = data.decode("utf-8-sig")
        return page(request, "pairs_import.html", values, status=422 if wrong else 200)
    ledger = context_of(request).ledger
    written = [(one.opening, one.mine, one.theirs, one.ref) for one in fresh]
    new = await off_loop(lambda: pairs.store_written(ledger, room=info.code, written=written))
    values |= {"rows": None, "stored": new, "again": len(found) - new}
    if new:
        values["did"] = await offer(request, Kind.PAIR_OPENED, room=info.code)
    return page(request, "pairs_import.html", values)


async def class_pair(request: Request) -> Response:
    """Show one pair to the lecturer: own numbers to enter, both once both are in."""
    lecturer_only(request)
    info = await _info(request)
    pair = _found(request, info.code)
    names, say = await _names(request, info.code), reader_of(request).ours
    values = {
        "info": info,
        "base": f"/class/{info.code}/pairs/{pair.id}",
        "pair": pair,
        "state": pairs.view(pair, pairs.LECTURER),
        "learner_label": names.get(pair.opening.learner) or say("learner"),
        "reference_label": names.get(pair.opening.reference) or say("you, the reference"),
        "role": "reference" if pair.opening.reference == pairs.LECTURER else "watcher",
        "for_lecturer": True,
        "gauges": await off_loop(lambda: _gauges(request, pair)),
    }
    return page(request, "pairs_pair.html", values)


async def class_state(request: Request) -> Response:
    """Answer with what the lecturer may see of a pair now."""
    lecturer_only(request)
    info = await _info(request)
    return JSONResponse(pairs.view(_found(request, info.code), pairs.LECTURER))


async def class_seal(request: Request) -> Response:
    """Seal the lecturer's numbers."""
    lecturer_only(request)
    info = await _info(request)
    return await _seal(request, info.code, pairs.LECTURER)


async def class_take_back(request: Request) -> Response:
    """Take the lecturer's own numbers back while the pair is open."""
    lecturer_only(request)
    info = await _info(request)
    return await _take_back(request, info.code, pairs.LECTURER)


async def class_correction(request: Request) -> Response:
    """Correct either half of a turned pair, as the lecturer."""
    lecturer_only(request)
    info = await _info(request)
    opening = _found(request, info.code).opening
    asked = await read_json(request)
    observer = opening.learner if asked.get("whose") == "learner" else opening.reference
    return await _correct(request, info.code, asked, observer=observer, by=pairs.LECTURER)


async def class_cancel(request: Request) -> Response:
    """Set a pair aside with a reason, or take it in again."""
    lecturer_only(request)
    info = await _info(request)
    form = await form_of(request)
    ledger, pair, cancelled = context_of(request).ledger, request.path_params["pair"], form.text("cancelled") == "yes"
    why = form.text("why")
    await off_loop(lambda: pairs.cancel(ledger, room=info.code, pair=pair, cancelled=cancelled, why=why))
    there = RedirectResponse(f"/class/{info.code}/pairs/{pair}", 303)
    return await done(request, there, Kind.PAIR_CANCELLED, room=info.code, pair=pair)


async def learner_pairs(request: Request) -> Response:
    """Show the lecturer one learner's pairs: each of them, and how far the fair ones agree."""
    lecturer_only(request)
    info = await _info(request)
    who, ledger = request.path_params["who"], context_of(request).ledger
    name = await off_loop(lambda: classes.name_of(ledger, info.code, who))
    mine = await off_loop(lambda: pairs.of_learner(ledger, info.code, who))
    reference = reader_of(request).on_pictures("reference")
    values = await off_loop(lambda: summary(mine, name, reference, every=_every(request)))
    values |= await off_loop(lambda: _digits(request, info.code, who))
    return page(request, "pairs_learner.html", {"info": info, "who": who, "name": name, "own": False, **values})


async def learner_picture(request: Request) -> Response:
    """Draw how far one learner's fair pairs agree, for the lecturer."""
    lecturer_only(request)
    info = await _info(request)
    who, ledger = request.path_params["who"], context_of(request).ledger
    name = await off_loop(lambda: classes.name_of(ledger, info.code, who))
    return await off_loop(lambda: _picture(request, info.code, who, name))


async def own_pairs(request: Request) -> Response:
    """Show a learner their own pairs."""
    learner = await off_loop(lambda: known_learner(request))
    if learner is None:
        return RedirectResponse(DOOR, 303)
    ledger = context_of(request).ledger
    mine = await off_loop(lambda: pairs.of_learner(ledger, learner.room, learner.who))
    say = reader_of(request).on_pictures
    values = await off_loop(lambda: summary(mine, say("you"), say("reference"), every=_every(request)))
    values |= await off_loop(lambda: _digits(request, learner.room, learner.who))
    return page(request, "pairs_learner.html", {"name": "Your pairs", "own": True, **values})


async def own_picture(request: Request) -> Response:
    """Draw how far a learner's own fair pairs agree."""
    learner = await _learner(request)
    you = reader_of(request).on_pictures("you")
    return await off_loop(lambda: _picture(request, learner.room, learner.who, you))


async def waiting(request: Request) -> Response:
    """Answer with the newest pair that waits for this learner's numbers, so that the phone opens it by itself."""
    learner = await _learner(request)
    book = await off_loop(lambda: context_of(request).pair_books.now(learner.room))
    mine = [one for one in book.with_observer(learner.who) if one.state == "open"]
    asked = [one.id for one in mine if one.side(learner.who).written is None]
    return JSONResponse({"pair": asked[-1] if asked else None})


async def own_pair(request: Request) -> Response:
    """Show one pair to a learner in it."""
    learner = await _learner(request)
    pair = _found(request, learner.room)
    state = pairs.view(pair, learner.who)
    is_learner, say = pair.opening.learner == learner.who, reader_of(request).ours
    values = {
        "base": f"/practise/pairs/{pair.id}",
        "pair": pair,
        "state": state,
        "learner_label": say("you" if is_learner else "learner"),
        "reference_label": say("reference" if is_learner else "you, the reference"),
        "role": "learner" if is_learner else "reference",
        "for_lecturer": False,
        "gauges": await off_loop(lambda: _gauges(request, pair)),
    }
    return page(request, "pairs_pair.html", values)


async def own_state(request: Request) -> Response:
    """Answer with what a learner may see of a pair now."""
    learner = await _learner(request)
    return JSONResponse(pairs.view(_found(request, learner.room), learner.who))


async def own_seal(request: Request) -> Response:
    """Seal a learner's numbers."""
    learner = await _learner(request)
    return await _seal(request, learner.room, learner.who)


async def own_take_back(request: Request) -> Response:
    """Take a learner's own numbers back while the pair is open."""
    learner = await _learner(request)
    return await _take_back(request, learner.room, learner.who)


async def own_correction(request: Request) -> Response:
    """Correct a learner's own numbers of a turned pair."""
    learner = await _learner(request)
    asked = await read_json(request)
    return await _correct(request, learner.room, asked, observer=learner.who, by=learner.who)


def opening_in(form: Form, *, learner: str) -> pairs.Opening:
    """Read from a form how a pair is measured."""
    return pairs.Opening(
        learner=learner,
        reference=form.text("reference") or pairs.LECTURER,
        same_inflation=form.text("inflation") != "different",
        two_gauges=form.text("two_gauges") == "yes",
        gauge=form.text("gauge"),
        reference_gauge=form.text("reference_gauge") if form.text("two_gauges") == "yes" else "",
        cuff=form.text("cuff"),
        stethoscope=form.text("stethoscope"),
        client=form.text("client"),
        arm=form.text("arm"),
    )


async def _kit_in(request: Request, form: Form) -> dict[kit.Type, str]:
    """Return the kit that a form names, the reference's own gauge checked too."""
    if form.text("two_gauges") == "yes":
        await kit_choice(request, {"gauge": form.text("reference_gauge")})
    return await kit_choice(request, form.texts)


def _line_of_paper(request: Request, room: str, form: Form) -> tuple[pairs.Opening, pairs.Numbers, pairs.Numbers]:
    """Read one line of a paper sheet."""
    names = classes.names_of(context_of(request).ledger, room)
    learner = pairs_written.who_is(form.text("learner"), {name.casefold(): who for who, name in names.items()})
    opening = replace(
        opening_in(form, learner=learner),
        via="paper",
        taken_at=_moment(form.text("day"), form.text("time")),
    )
    mine = pairs_written.numbers_in(form.text("mine"), "the learner's numbers")
    return opening, mine, pairs_written.numbers_in(form.text("theirs"), "the reference's numbers")


def _moment(day: str, time: str) -> str:
    """Return when a sheet was written: noon of its day where it tells no time, today where it tells no day."""
    if not time:
        return pairs_written.moment_of("", "day", day)
    today = datetime.now().astimezone().date().isoformat()
    return pairs_written.moment_of(f"{day or today}T{time}", "day and time")


def _pairs_in(request: Request, room: str, form: Form, data: bytes, name: str) -> list[pairs_written.FilePair]:
    """Read a file, and let each row that can be read be checked as an opening is."""
    ledger = context_of(request).ledger
    names = classes.names_of(ledger, room)
    day = form.text("day")
    pairs_written.moment_of("", "day", day)
    known = pairs_written.known_in(ledger, names, reference=form.text("reference"), day=day)
    found = pairs_written.pairs_in(data, name, known, room, context_of(request).pair_books.now(room))
    checked = []
    for one in found:
        try:
            if not one.problem:
                pairs.check_opening(ledger, room, one.opening, names)
            checked.append(one)
        except BadInputError as refusal:
            checked.append(replace(one, problem=str(refusal)))
    return checked


def summary(found: Sequence[pairs.Pair], learner: str, reference: str, *, every: bool = False) -> dict[str, Any]:
    """Return what a page shows of one learner's pairs: the newest or every one, and the agreement of the fair ones.

    Its picture has an address of its own: it takes longer to draw than all the rest of the page.
    """
    fair = [one for one in found if one.fair]
    readings = pairs.paired_readings(fair, learner, reference)
    unheard = len(fair) - len(readings) // 2
    values: dict[str, Any] = {
        "rows": [_line(one) for one in islice(reversed(found), None if every else LATEST)],
        "many": len(found),
        "fair": len(fair),
        "unfair": sum(one.state == "turned" and not one.fair for one in found),
        "unheard": unheard,
        "result": None,
    }
    try:
        agreed = agree(readings, reference)
    except AgreementError:
        return values
    by_hand = [agreement_by_hand(pair) for pair in agreed.pairs]
    return {**values, "result": agreed.as_json(), "by_hand": by_hand, "drawn": len(readings) > FEWEST_DRAWN}


def _every(request: Request) -> bool:
    return request.query_params.get("all") == "yes"


def _picture(request: Request, room: str, who: str, name: str) -> Response:
    """Draw what `summary` says of one learner; raises NotFoundError where there is nothing to draw."""
    from hushpoint.sheet.agreement_picture import agreement_picture

    say = reader_of(request).on_pictures
    reference = say("reference")
    fair = [one for one in pairs.of_learner(context_of(request).ledger, room, who) if one.fair]
    readings = pairs.paired_readings(fair, name, reference)
    if len(readings) <= FEWEST_DRAWN:
        raise NotFoundError("Nothing to draw yet: it takes two fair pairs in which both heard a systolic.")
    drawn = agreement_picture(agree(readings, reference), "svg", say=say)
    return Response(drawn, media_type="image/svg+xml")


def _digits(request: Request, room: str, who: str) -> dict[str, Any]:
    """Return how somebody writes their numbers of live readings, with the calculation behind it."""
    found = digits_of(context_of(request).ledger, room, who)
    return {
        "digits": [line for one in found for line in digit_lines(one)],
        "digits_by_hand": [each for one in found for each in digits_by_hand(one)],
    }


def _line(pair: pairs.Pair) -> dict[str, Any]:
    """Return one pair for a table; of an open one no number at all."""
    turned = bool(pair.turned_at)
    down = pairs.difference(pair) if turned else (None, None)
    corrected = bool(pair.learner.corrections or pair.reference.corrections)
    return {
        "pair": pair,
        "mine": _numbers(pair.learner.now) if turned else None,
        "theirs": _numbers(pair.reference.now) if turned else None,
        "difference": down,
        "label": _label(pair),
        "corrected": turned and corrected,
    }


def _label(pair: pairs.Pair) -> str:
    """Say whether a pair counts, and why not."""
    if pair.state == "cancelled":
        return f"set aside: {pair.why_cancelled}"
    if pair.state == "open":
        return "open"
    return pair.opening.unfair or "fair"


def _numbers(numbers: pairs.Numbers | None) -> dict[str, int | None] | None:
    return None if numbers is None else {"systolic": numbers[0], "diastolic": numbers[1]}


async def _class_page(request: Request, *, refusal: str = "", form: Form | None = None) -> Response:
    info = await _info(request)
    names = await _names(request, info.code)
    ledger = context_of(request).ledger
    people = await off_loop(lambda: classes.people_of(ledger, info.code))
    book = await off_loop(lambda: context_of(request).pair_books.now(info.code))
    newest = list(book.pairs.values())[::-1]
    last = newest[0].opening if newest else pairs.Opening("")
    opening = opening_in(form, learner="") if form else replace(last, client="", arm="", reference=pairs.LECTURER)
    chosen = request.query_params.get("learner", "") if form is None else form.text("learner")
    values = {
        "info": info,
        "refusal": refusal,
        "opening": opening,
        "chosen": chosen if chosen in names else "",
        "people": sorted(people.items(), key=lambda one: one[1].casefold()),
        "names": names,
        "open_pairs": [one for one in newest if one.state == "open"],
        "rows": [_line(one) for one in islice((each for each in newest if each.state != "open"), LATEST)],
        "ref": secrets.token_hex(8),
        "kit": await kit_choices(request),
    }
    return come_back(request, page(request, "pairs.html", values, status=422 if refusal else 200))


async def _paper_page(
    request: Request, *, form: Form | None = None, refusal: str = "", new: int = 0, offered: Offer | None = None
) -> Response:
    """Draw the grid: what the next line repeats stays; a refused line stays whole, the cursor where it is to mend."""
    info = await _info(request)
    names = await _names(request, info.code)
    book = await off_loop(lambda: context_of(request).pair_books.now(info.code))
    typed = [one for one in book.pairs.values() if one.opening.via == "paper" and one.state != "cancelled"][::-1]
    if form and refusal:
        line = {name: form.text(name) for name in ("learner", "client", "mine", "theirs")}
    else:
        who = pairs_written.likely_next([one.opening.learner for one in typed], list(names)) if form else ""
        line = {"learner": names.get(who, ""), "client": form.text("client") if form else "", "mine": "", "theirs": ""}
    values = {
        **({"did": offered} if offered else {}),
        "info": info,
        "names": names,
        "refusal": refusal,
        "wrong": _FIELDS.get(refusal.partition(":")[0], "learner"),
        "stored": _line(typed[0]) if new and typed else None,
        "opening": opening_in(form, learner="") if form else pairs.Opening("", via="paper"),
        "day": form.text("day")[:10] if form else "",
        "time": form.text("time")[:5] if form else "",
        "line": line,
        "ref": form.text("ref") if form and refusal else secrets.token_hex(8),
        "rows": [_line(one) for one in typed[:LATEST]],
        "kit": await kit_choices(request),
    }
    return page(request, "pairs_paper.html", values, status=422 if refusal else 200)


async def _info(request: Request) -> classes.ClassInfo:
    ledger, code = context_of(request).ledger, request.path_params["code"]
    return await off_loop(lambda: classes.find_class(ledger, code))


async def _names(request: Request, code: str) -> dict[str, str]:
    ledger = context_of(request).ledger
    return await off_loop(lambda: classes.names_of(ledger, code))


def _gauges(request: Request, pair: pairs.Pair) -> list[str]:
    """Return the labels of the gauges of a pair, the learner's first."""
    items = kit.register(context_of(request).ledger, retired=True)
    return [items[one].label for one in (pair.opening.gauge, pair.opening.reference_gauge) if one in items]


def _found(request: Request, room: str) -> pairs.Pair:
    return context_of(request).pair_books.now(room).find(request.path_params["pair"])


async def _learner(request: Request) -> Learner:
    learner = await off_loop(lambda: known_learner(request))
    if learner is None:
        raise NotAllowedError("nobody has joined on this device: join a class first")
    return learner


async def _seal(request: Request, room: str, observer: str) -> Response:
    asked = await read_json(request)
    ledger, pair = context_of(request).ledger, request.path_params["pair"]
    given = {name: asked.get(name) for name in ("systolic", "diastolic", "ref")}
    if "systolic" not in asked or "diastolic" not in asked:
        raise BadInputError("systolic and diastolic: both are needed, null where not heard")
    await off_loop(lambda: pairs.seal(ledger, room=room, pair=pair, observer=observer, **given))
    return JSONResponse({"stored": True})


async def _take_back(request: Request, room: str, observer: str) -> Response:
    asked = await read_json(request)
    ledger, pair = context_of(request).ledger, request.path_params["pair"]
    ref = asked.get("ref")
    await off_loop(lambda: pairs.take_back(ledger, room=room, pair=pair, observer=observer, ref=ref))
    return JSONResponse({"stored": True})


async def _correct(request: Request, room: str, asked: dict[str, Any], *, observer: str, by: str) -> Response:
    ledger, pair = context_of(request).ledger, request.path_params["pair"]
    if "systolic" not in asked or "diastolic" not in asked:
        raise BadInputError("systolic and diastolic: both are needed, null where not heard")
    given = {name: asked.get(name) for name in ("systolic", "diastolic", "why", "ref")}
    await off_loop(lambda: pairs.correct(ledger, room=room, pair=pair, observer=observer, by=by, **given))
    return JSONResponse({"stored": True})


routes = [
    Route("/class/{code}/pairs", class_pairs, methods=["GET", "POST"]),
    Route("/class/{code}/pairs/paper", paper, methods=["GET", "POST"]),
    Route("/class/{code}/pairs/import", take_in, methods=["GET", "POST"]),
    Route("/class/{code}/pairs/{pair}", class_pair),
    Route("/class/{code}/pairs/{pair}/state", class_state),
    Route("/class/{code}/pairs/{pair}/seal", class_seal, methods=["POST"]),
    Route("/class/{code}/pairs/{pair}/take-back", class_take_back, methods=["POST"]),
    Route("/class/{code}/pairs/{pair}/correction", class_correction, methods=["POST"]),
    Route("/class/{code}/pairs/{pair}/cancel", class_cancel, methods=["POST"]),
    Route("/class/{code}/learner/{who}/pairs", learner_pairs),
    Route("/class/{code}/learner/{who}/pairs/picture.svg", learner_picture),
    Route("/practise/pairs", own_pairs),
    Route("/practise/pairs/picture.svg", own_picture),
    Route("/practise/pairs/waiting", waiting),
    Route("/practise/pairs/{pair}", own_pair),
    Route("/practise/pairs/{pair}/state", own_state),
    Route("/practise/pairs/{pair}/seal", own_seal, methods=["POST"]),
    Route("/practise/pairs/{pair}/take-back", own_take_back, methods=["POST"]),
    Route("/practise/pairs/{pair}/correction", own_correction, methods=["POST"]),
]
