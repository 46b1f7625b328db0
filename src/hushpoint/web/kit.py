"""The kit's pages: register, one item, labels, checks at the bench or from a file, timed tests, due days, cuff fit."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import access, cuff_fit, kit, kit_bench, kit_choice, kit_due, kit_sheets, kit_timed
from hushpoint.desk.gauge_words import check_notes, correction_rows, minus, one_decimal, signed_decimal
from hushpoint.errors import BadInputError, HushpointError, NotFoundError
from hushpoint.guideline import cuff_sizes, fit_by_hand, fit_shares, gauge_rules, gauge_tests
from hushpoint.instrument import USE, CorrectionCurve, check_by_hand, correction_by_hand
from hushpoint.ledger.records import Kind
from hushpoint.web.context import (
    asker_of,
    backup_trouble,
    context_of,
    done,
    lecturer_only,
    off_loop,
    page,
    reader_of,
    sentence,
)
from hushpoint.web.forms import Form, form_of
from hushpoint.web.kit_pick import kit_choices, remember, way_back

MOST_FIELDS = 60
LONGEST_REF = 40
_CHANGES = ("label", "serial", "bladder_width_cm", "bladder_length_cm", "claim", "latex", "head")


def role_of(request: Request) -> str:
    """Return who is asking as a role, never a name; raises status 401 for a stranger."""
    asker = asker_of(request)
    if asker is None or asker.role == access.AUDITOR:
        raise HTTPException(
            403 if asker else 401, "The kit is for those of a class. Join yours first, or come in at /class."
        )
    return asker.by


async def register(request: Request) -> Response:
    """Show every item with how it stands."""
    await off_loop(lambda: role_of(request))
    return await _register_page(request)


async def add(request: Request) -> Response:
    """Add an item; a gauge that is to be checked goes on to its check."""
    lecturer_only(request)
    form, ledger = await form_of(request), context_of(request).ledger
    try:
        added = await off_loop(lambda: kit.add(ledger, form.texts, by="lecturer"))
    except HushpointError as refusal:
        return await _register_page(request, form=form, refusal=refusal)
    to_check = added.type == "gauge" and form.text("to") == "check"
    response = RedirectResponse(f"/kit/{added.id}/check" if to_check else f"/kit#{added.id}", 303)
    return await done(request, response, Kind.KIT_ADDED, item=added.id)


async def item(request: Request) -> Response:
    """Show one item: what it is, its checks and tests."""
    await off_loop(lambda: role_of(request))
    return await _item_page(request)


async def change(request: Request) -> Response:
    """Describe an item anew."""
    lecturer_only(request)
    form, ledger, item_id = await form_of(request), context_of(request).ledger, request.path_params["item"]
    fields = {name: form.text(name) for name in _CHANGES}
    try:
        await off_loop(lambda: kit.change(ledger, item_id, fields, by="lecturer"))
    except NotFoundError:
        raise
    except HushpointError as refusal:
        return await _item_page(request, refusal=str(refusal))
    return await done(request, RedirectResponse(f"/kit/{item_id}", 303), Kind.KIT_CHANGED, item=item_id)


async def retire(request: Request) -> Response:
    """Take an item off the shelf, or bring it back."""
    lecturer_only(request)
    form, ledger, item_id = await form_of(request), context_of(request).ledger, request.path_params["item"]
    back = form.text("back") == "yes"
    try:
        await off_loop(lambda: kit.retire(ledger, item_id, why=form.text("why"), by="lecturer", retired=not back))
    except NotFoundError:
        raise
    except HushpointError as refusal:
        return await _item_page(request, refusal=str(refusal))
    return await done(request, RedirectResponse(f"/kit/{item_id}", 303), Kind.KIT_RETIRED, item=item_id)


async def wiped(request: Request) -> Response:
    """Log that an item was wiped now."""
    return await _logged(request, kit.wipe, Kind.KIT_WIPED)


async def knocked(request: Request) -> Response:
    """Log that an item was knocked or dropped: a gauge is then due for a check at once."""
    return await _logged(request, kit.knock, Kind.KIT_KNOCKED)


async def scanned(request: Request) -> Response:
    """Take the item of a scanned label as the one in use on this device, and go back to where it is needed."""
    ledger = context_of(request).ledger
    found = await off_loop(lambda: kit.item(ledger, request.path_params["item"]))
    found = await off_loop(lambda: kit_choice.in_use(ledger, found.id))
    answer = RedirectResponse(way_back(request) or "/k", 303)
    remember(request, answer, {found.type: found.id})
    return answer


async def in_hand(request: Request) -> Response:
    """Show what is in use on this device."""
    choices = await kit_choices(request)
    held = [one for kind in kit.TYPES for one in choices.by_type[kind] if one.item.id == choices.picked.get(kind)]
    return page(request, "kit_in_hand.html", {"held": held, "choices": choices})


async def labels(request: Request) -> Response:
    """Give labels to print: of one item, of one type, or of all."""
    lecturer_only(request)
    context, asked = context_of(request), request.query_params
    address = context.addresses[0] if context.addresses else f"{request.url.scheme}://{request.url.netloc}"

    def made() -> bytes:
        items = [
            one
            for one in kit.register(context.ledger).values()
            if asked.get("item") in (None, "", one.id) and asked.get("type") in (None, "", one.type)
        ]
        used, at, to = asked.get("used", ""), datetime.now(UTC), reader_of(request)
        return kit_sheets.label_pages(items, address=address, used=used, invented=context.invented, made_at=at, to=to)

    return _file(await off_loop(made), "application/pdf", "kit-labels.pdf")


async def check(request: Request) -> Response:
    """Ask for a check at the bench or as a file; show its result; store it once asked."""
    lecturer_only(request)
    ledger, item_id, now = context_of(request).ledger, request.path_params["item"], datetime.now(UTC)
    gauge = await off_loop(lambda: kit.item(ledger, item_id))
    if gauge.type != "gauge":
        raise NotFoundError(f"{gauge.label} is a {gauge.type}: it is not checked beside a reference.")
    if request.method == "GET":
        return _check_page(request, gauge, kit_bench.blank())
    form = await form_of(request, most_fields=MOST_FIELDS)
    sent = kit_bench.blank()
    try:
        sent = kit_bench.sheet_of(form.texts, form.files.get("file"))
        asked = await off_loop(lambda: kit_bench.read(sent, now))
        if form.text("store") == "yes":
            ref = f"{gauge.id}:{form.text('ref')[:LONGEST_REF]}"
            stored = await off_loop(lambda: kit_bench.store(ledger, gauge.id, asked, now=now, ref=ref))
            there = RedirectResponse(f"/kit/{gauge.id}/checks/{stored.seq}", 303)
            return await done(request, there, Kind.KIT_CHECKED, item=gauge.id)
    except HushpointError as refusal:
        return _check_page(request, gauge, replace(sent, points=""), refusal=str(refusal))
    return _check_page(request, gauge, kit_bench.sheet_from(sent, asked), asked=asked)


async def checked(request: Request) -> Response:
    """Show one stored check: errors, hysteresis, zero, verdict with its rule, correction."""
    await off_loop(lambda: role_of(request))
    gauge, stored = await _stored(request)
    ledger, now = context_of(request).ledger, datetime.now(UTC)
    months = await off_loop(lambda: kit_due.interval_months(ledger))
    values = {"gauge": gauge, "stored": stored, "due": kit_due.due_of(gauge, months, now)}
    return page(request, "kit_checked.html", {**values, **_result(stored.check, stored.curve())})


async def picture(request: Request) -> Response:
    """Draw a stored check."""
    await off_loop(lambda: role_of(request))
    _, stored = await _stored(request)

    def drawn() -> bytes:
        from hushpoint.sheet.gauge_picture import gauge_picture

        return gauge_picture(stored.check, stored.curve(), "svg", say=reader_of(request).on_pictures)

    return Response(await off_loop(drawn), media_type="image/svg+xml")


async def certificate(request: Request) -> Response:
    """Give the certificate of a stored check as PDF."""
    lecturer_only(request)
    context = context_of(request)
    gauge, stored = await _stored(request)
    to = reader_of(request)

    def made() -> bytes:
        months = kit_due.interval_months(context.ledger)
        later = next((one.at for one in gauge.checks if one.checked_at > stored.checked_at), None)
        timed = kit_timed.latest(kit_timed.timed_of(context.ledger, gauge), before=later)
        return kit_sheets.certificate(gauge, stored, timed, months=months, invented=context.invented, to=to)

    name = "INVENTED-gauge-check" if context.invented else "gauge-check"
    return _file(await off_loop(made), "application/pdf", f"{name}-{gauge.id}-{stored.seq}.pdf")


async def timed(request: Request) -> Response:
    """Ask for timed readings of a leak, a rapid exhaust or a valve; show the result; store it once asked."""
    lecturer_only(request)
    ledger, item_id = context_of(request).ledger, request.path_params["item"]
    tested = await off_loop(lambda: kit.in_register(ledger, item_id))
    if tested.type == "stethoscope":
        raise NotFoundError(f"{tested.label} is a stethoscope: it holds no pressure.")
    if request.method == "GET":
        return _timed_page(request, tested, kit_bench.blank_times(request.query_params.get("test", "")))
    form = await form_of(request, most_fields=MOST_FIELDS)
    sent = kit_bench.blank_times(form.text("test"))
    try:
        sent = kit_bench.times_of(form.texts, form.files.get("file"))
        asked = await off_loop(lambda: kit_bench.read_times(sent))
        if form.text("store") == "yes":
            ref = f"{tested.id}:{form.text('ref')[:LONGEST_REF]}"
            await off_loop(lambda: kit_bench.store_times(ledger, tested.id, asked, ref=ref))
            there = RedirectResponse(f"/kit/{tested.id}#timed", 303)
            return await done(request, there, Kind.KIT_TIMED, item=tested.id)
    except HushpointError as refusal:
        return _timed_page(request, tested, replace(sent, points=""), refusal=str(refusal))
    return _timed_page(request, tested, sent, result=asked.result)


async def due(request: Request) -> Response:
    """Show which gauges are due, overdue, knocked or out of use; set how many months lie between checks."""
    lecturer_only(request)
    ledger, now = context_of(request).ledger, datetime.now(UTC)
    refusal = ""
    if request.method == "POST":
        form = await form_of(request)
        try:
            await off_loop(lambda: kit_due.set_interval(ledger, form.text("months")))
            return RedirectResponse("/kit/due", 303)
        except BadInputError as wrong:
            refusal = str(wrong)
    values = {
        "due": await off_loop(lambda: kit_due.due_list(ledger, now)),
        "months": await off_loop(lambda: kit_due.interval_months(ledger)),
        "shipped": kit_due.INTERVAL_MONTHS,
        "source": kit_due.INTERVAL_SOURCE,
        "refusal": refusal,
    }
    return page(request, "kit_due.html", values, status=422 if refusal else 200)


async def calendar(request: Request) -> Response:
    """Give the due days as a calendar file."""
    lecturer_only(request)
    ledger, now, to = context_of(request).ledger, datetime.now(UTC), reader_of(request)
    made = await off_loop(lambda: kit_sheets.due_calendar(kit_due.due_list(ledger, now), made_at=now, to=to))
    return _file(made, "text/calendar; charset=utf-8", "gauges-due.ics")


async def cuff(request: Request) -> Response:
    """Say which bladder an arm needs, what each covers of it, and what the wrong one does."""
    typed = request.query_params.get("arm", "")[:20]
    values: dict[str, Any] = {"typed": typed, "arm": None, "shares": fit_shares(), "caution": cuff_fit.CAUTION}
    if typed.strip():
        ledger = context_of(request).ledger
        try:
            arm = cuff_fit.fits_of(typed)
            mine = await off_loop(lambda: cuff_fit.cuffs_on(arm.arm_cm, kit.register(ledger).values()))
        except BadInputError as refusal:
            return page(request, "kit_cuff.html", {**values, "refusal": str(refusal)}, status=422)
        workings = [fit_by_hand(fit, one.label) for one, fit in mine]
        workings += [fit_by_hand(fit, sentence(size.label)) for size, fit in arm.sizes]
        values |= {
            "arm": arm,
            "mine": mine,
            "workings": workings,
            "verdict_of": cuff_fit.verdict_of,
            "effect_words": cuff_fit.effect_words,
        }
    return page(request, "kit_cuff.html", values)


async def _register_page(
    request: Request, *, form: Form | None = None, refusal: HushpointError | None = None
) -> Response:
    ledger, now = context_of(request).ledger, datetime.now(UTC)

    def found() -> dict[str, Any]:
        everything = kit.register(ledger, retired=True)
        months = kit_due.interval_months(ledger)
        return {
            "items": [one for one in everything.values() if not one.retired],
            "retired": [one for one in everything.values() if one.retired],
            "due": {one.item.id: one for one in kit_due.in_order(everything.values(), months, now)},
        }

    values = {
        **await off_loop(found),
        "backup_trouble": await off_loop(lambda: backup_trouble(request)),
        "sizes": [(size.id, kit_sheets.size_label(size)) for size in cuff_sizes()],
        "typed": form.texts if form else {},
        "refusal": str(refusal) if refusal else "",
    }
    status = 200 if refusal is None else 422 if isinstance(refusal, BadInputError) else 409
    return page(request, "kit_register.html", values, status=status)


async def _item_page(request: Request, *, refusal: str = "") -> Response:
    ledger, now = context_of(request).ledger, datetime.now(UTC)

    def found() -> dict[str, Any]:
        one = kit.item(ledger, request.path_params["item"])
        return {
            "item": one,
            "due": kit_due.due_of(one, kit_due.interval_months(ledger), now) if one.type == "gauge" else None,
            "timed": kit_timed.timed_of(ledger, one),
            "titles": kit_timed.TITLES,
        }

    sizes = [(size.id, kit_sheets.size_label(size)) for size in cuff_sizes()]
    values = {**await off_loop(found), "sizes": sizes, "refusal": refusal, "told": kit_due.told}
    return page(request, "kit_item.html", values, status=422 if refusal else 200)


def _check_page(
    request: Request,
    gauge: kit.Item,
    sheet: kit_bench.Sheet,
    *,
    asked: kit_bench.Asked | None = None,
    refusal: str = "",
) -> Response:
    values: dict[str, Any] = {
        "gauge": gauge,
        "sheet": sheet,
        "rules": list(gauge_rules().values()),
        "roles": kit.ROLES,
        "refusal": refusal,
        "ref": secrets.token_hex(8),
        "tests": gauge_tests(),
    }
    if asked is not None:
        values |= {"asked": asked, **_result(asked.check, None)}
    return page(request, "kit_check.html", values, status=422 if refusal else 200)


def _timed_page(
    request: Request,
    tested: kit.Item,
    sheet: kit_bench.Times,
    *,
    result: kit_timed.TimedResult | None = None,
    refusal: str = "",
) -> Response:
    values = {
        "item": tested,
        "sheet": sheet,
        "result": result,
        "tests": kit_timed.TITLES,
        "rules": list(gauge_rules().values()),
        "roles": kit.ROLES,
        "limits": gauge_tests(),
        "refusal": refusal,
        "ref": secrets.token_hex(8),
    }
    return page(request, "kit_timed.html", values, status=422 if refusal else 200)


def _result(check: Any, curve: Any) -> Mapping[str, Any]:
    return {
        "check": check,
        "workings": check_by_hand(check),
        "correction_by_hand": [correction_by_hand(curve)] if isinstance(curve, CorrectionCurve) else [],
        "notes": check_notes(check),
        "uncertainty": kit_sheets.uncertainty(check),
        "correction": correction_rows(curve),
        "use": USE,
        "caution": kit_sheets.CAUTION,
        "decimal": one_decimal,
        "error": signed_decimal,
        "minus": minus,
    }


async def _stored(request: Request) -> tuple[kit.Item, kit.StoredCheck]:
    ledger, asked = context_of(request).ledger, request.path_params["check"]
    gauge = await off_loop(lambda: kit.item(ledger, request.path_params["item"]))
    for stored in gauge.checks:
        if str(stored.seq) == asked:
            return gauge, stored
    raise NotFoundError(f"{gauge.label}: no such check.")


async def _logged(request: Request, act: Any, kind: Kind) -> Response:
    ledger, item_id = context_of(request).ledger, request.path_params["item"]
    by = await off_loop(lambda: role_of(request))
    form = await form_of(request)
    await off_loop(lambda: act(ledger, item_id, by=by, undo=form.text("undo") == "yes"))
    there = {"hand": "/k", "item": f"/kit/{item_id}"}.get(form.text("to"), f"/kit#{item_id}")
    return await done(request, RedirectResponse(there, 303), kind, item=item_id)


def _file(data: bytes, kind: str, name: str) -> Response:
    return Response(data, media_type=kind, headers={"content-disposition": f'inline; filename="{name}"'})


routes = [
    Route("/kit", register),
    Route("/kit/add", add, methods=["POST"]),
    Route("/kit/labels.pdf", labels),
    Route("/kit/due", due, methods=["GET", "POST"]),
    Route("/kit/due.ics", calendar),
    Route("/kit/{item}", item),
    Route("/kit/{item}/change", change, methods=["POST"]),
    Route("/kit/{item}/retire", retire, methods=["POST"]),
    Route("/kit/{item}/wiped", wiped, methods=["POST"]),
    Route("/kit/{item}/knocked", knocked, methods=["POST"]),
    Route("/kit/{item}/check", check, methods=["GET", "POST"]),
    Route("/kit/{item}/checks/{check}", checked),
    Route("/kit/{item}/checks/{check}/picture.svg", picture),
    Route("/kit/{item}/checks/{check}/certificate.pdf", certificate),
    Route("/kit/{item}/timed", timed, methods=["GET", "POST"]),
    Route("/k", in_hand),
    Route("/k/{item}", scanned),
    Route("/cuff", cuff),
]
