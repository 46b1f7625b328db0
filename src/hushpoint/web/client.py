"""The practitioner's pages: visits, the led visit, its sheets, open referrals, the clinical policies."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, get_args

from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import kit, policies, visits
from hushpoint.desk.undo import Offer
from hushpoint.desk.visit_sheets import Sheet, visit_csv, visit_fhir, visit_pdf
from hushpoint.desk.visit_told import as_object, figures
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.guideline import cuff_sizes
from hushpoint.guideline.clinical_policies import clinical_policies
from hushpoint.guideline.own_policy import policy_text
from hushpoint.guideline.technique import technique_effects
from hushpoint.guideline.today import today_effects
from hushpoint.ledger.records import Kind
from hushpoint.visit import BARRED_REASONS, DISEASES, EMERGENCIES, INTENDED, POSTURE_FAULTS, SYMPTOMS, TODAY
from hushpoint.web.context import context_of, done, lecturer_only, off_loop, offer, page, reader_of, unit_of
from hushpoint.web.forms import form_of, read_json

if TYPE_CHECKING:
    from starlette.requests import Request

_FILE_NAME = re.compile(r"[^A-Za-z0-9_-]")


MOST_LISTED = 100
"""Of the visits of each list so many stand on the page, the newest; the others are found by their code."""


async def home(request: Request) -> Response:
    """Show the visits: open ones first, then open referrals by their due date, then the rest."""
    lecturer_only(request)
    return await _home(request)


async def _home(request: Request, refusal: str = "", *, policy: str = "", code: str = "") -> Response:
    ledger, now = context_of(request).ledger, context_of(request).clock()
    asked = request.query_params.get("q", "").strip().upper()[:12]
    every = await off_loop(lambda: visits.listing(ledger, now))
    lines = [line for line in every if asked in line.state.code]
    lists = {
        "open": [line for line in lines if not line.state.closed_at],
        "referrals": sorted((line for line in lines if line.due_at is not None), key=lambda line: str(line.due_at)),
        "closed": [line for line in lines if line.state.closed_at],
    }
    known = await off_loop(lambda: policies.known_policies(ledger))
    own = [one for one in known if one not in clinical_policies()]
    last_used = every[0].state.policy_id if every else (own or [""])[-1]
    values = {
        **{name: found[:MOST_LISTED] for name, found in lists.items()},
        "more": {name: max(0, len(found) - MOST_LISTED) for name, found in lists.items()},
        "asked": asked,
        "any": bool(every),
        "past_keeping": sum(now > line.keep_until for line in every),
        "policies": list(known.values()),
        "chosen": policy or last_used,
        "code": code[:12],
        "years": visits.YEARS_KEPT,
        "refusal": refusal,
    }
    return page(request, "client.html", values, status=422 if refusal else 200)


async def begin(request: Request) -> Response:
    """Begin a visit."""
    lecturer_only(request)
    form = await form_of(request)
    ledger = context_of(request).ledger
    try:
        visit = await off_loop(lambda: visits.begin(ledger, policy_id=form.text("policy"), code=form.text("code")))
    except BadInputError as refusal:
        return await _home(request, refusal=str(refusal), policy=form.text("policy"), code=form.text("code"))
    return await done(request, RedirectResponse(f"/client/{visit}", 303), Kind.VISIT_BEGUN, room=visit)


async def led(request: Request) -> Response:
    """Show the led visit; the page asks for its state."""
    lecturer_only(request)
    ledger, visit = context_of(request).ledger, request.path_params["visit"]
    state = await off_loop(lambda: visits.state_of(ledger, visit))
    register = await off_loop(lambda: kit.register(ledger))
    items = [item for item in register.values() if not item.out_of_use]
    values = {
        "state": state,
        "kit": {what: [item for item in items if item.type == what] for what in kit.TYPES},
        "emergency_number": await off_loop(lambda: policies.emergency_number(ledger)),
        "emergencies": _coded(EMERGENCIES),
        "symptoms": _coded(code for code in SYMPTOMS if code not in EMERGENCIES),
        "diseases": _coded(DISEASES),
        "intended": _coded(INTENDED),
        "reasons": _coded(BARRED_REASONS),
        "today": [(code, f"{today_effects()[code].what}: {today_effects()[code].words()}") for code in TODAY],
        "posture": [(code, technique_effects()[code].what) for code in POSTURE_FAULTS],
        "sizes": cuff_sizes(),
    }
    return page(request, "client_visit.html", values)


async def state(request: Request) -> Response:
    """Answer with the visit as it stands: answers, readings, next step, value and what the policy says."""
    lecturer_only(request)
    return JSONResponse(await _state(request))


async def act(request: Request) -> Response:
    """Store one act of the page, once, and answer with the visit as it stands."""
    lecturer_only(request)
    asked = await read_json(request)
    ledger, visit = context_of(request).ledger, request.path_params["visit"]
    await off_loop(lambda: visits.act(ledger, visit, asked, context_of(request).clock()))
    return JSONResponse(await _state(request))


async def _state(request: Request) -> dict[str, Any]:
    ledger, visit = context_of(request).ledger, request.path_params["visit"]

    def told() -> dict[str, Any]:
        now = context_of(request).clock()
        found = visits.state_of(ledger, visit)
        _, verdict = visits.judged(ledger, found, now)
        return {
            "id": found.id,
            "code": found.code,
            "seq": found.seq,
            "now": now.isoformat(timespec="milliseconds"),
            "begun_at": found.begun_at,
            "closed": bool(found.closed_at),
            "answers": found.answers,
            "marks": found.marks,
            "mark_names": list(visits.MARKS),
            "readings": [{key: value for key, value in one.items() if key != "seq"} for one in found.readings],
            "policy": figures(visits.policy_of(ledger, found)),
            "judged": as_object(verdict),
        }

    return await off_loop(told)


async def close(request: Request) -> Response:
    """Close a visit with what was decided."""
    lecturer_only(request)
    ledger, visit = context_of(request).ledger, request.path_params["visit"]
    await off_loop(lambda: visits.close(ledger, visit, context_of(request).clock()))
    return await done(request, RedirectResponse(f"/client/{visit}/record", 303), Kind.VISIT_CLOSED, room=visit)


async def record(request: Request) -> Response:
    """Show a visit whole: what was decided and why, its sheets, its referral, what may be done with its data."""
    lecturer_only(request)
    ledger, visit = context_of(request).ledger, request.path_params["visit"]
    now = context_of(request).clock()
    found = await off_loop(lambda: visits.state_of(ledger, visit))
    _, verdict = await off_loop(lambda: visits.judged(ledger, found, now))
    line = next(one for one in await off_loop(lambda: visits.listing(ledger, now)) if one.state.id == visit)
    return page(request, "client_record.html", {"line": line, "state": found, "told": as_object(verdict)})


async def sheet(request: Request) -> Response:
    """Make a sheet: client, letter or record as PDF, the FHIR Bundle, or the readings as CSV."""
    lecturer_only(request)
    context, visit, kind = context_of(request), request.path_params["visit"], request.path_params["sheet"]
    ledger = context.ledger

    def made() -> tuple[bytes, str, str, str]:
        made_at = context.clock().astimezone()
        found = visits.state_of(ledger, visit)
        told, verdict = visits.judged(ledger, found, made_at)
        name = _FILE_NAME.sub("", f"{'INVENTED-' if context.invented else ''}{found.code}-{kind}")
        if kind == "fhir":
            return visit_fhir(told, verdict, made_at=made_at).encode(), "application/fhir+json", name, "json"
        if kind == "csv":
            return visit_csv(told, verdict).encode(), "text/csv", name, "csv"
        if kind not in get_args(Sheet):
            raise NotFoundError("There is no such sheet: client, letter, record, fhir and csv are made.")
        to, unit = reader_of(request), unit_of(request)
        data = visit_pdf(kind, told, verdict, made_at=made_at, invented=context.invented, to=to, unit=unit)
        visits.note_letter(ledger, found, kind)
        return data, "application/pdf", name, "pdf"

    data, media, name, ending = await off_loop(made)
    where = "inline" if ending == "pdf" else "attachment"
    return Response(data, media_type=media, headers={"Content-Disposition": f'{where}; filename="{name}.{ending}"'})


async def reply(request: Request) -> Response:
    """Record a reply to a referral, and close it where nothing is left to do."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, visit = context_of(request).ledger, request.path_params["visit"]
    await off_loop(lambda: visits.reply(ledger, visit, text=form.text("reply"), done=form.text("done") == "yes"))
    return await done(request, RedirectResponse(f"/client/{visit}/record", 303), Kind.REFERRAL_REPLIED, room=visit)


async def export(request: Request) -> Response:
    """Give everything kept about one client."""
    lecturer_only(request)
    ledger, visit = context_of(request).ledger, request.path_params["visit"]
    told = await off_loop(lambda: visits.export(ledger, visit))
    code = (await off_loop(lambda: visits.state_of(ledger, visit))).code
    headers = {"Content-Disposition": f'attachment; filename="{_FILE_NAME.sub("", code)}.json"'}
    return Response(told, media_type="application/json", headers=headers)


async def erase(request: Request) -> Response:
    """Erase everything about one client."""
    lecturer_only(request)
    form = await form_of(request)
    if form.text("sure") != "yes":
        raise BadInputError("Tick that you want to erase everything about this client.")
    ledger, visit = context_of(request).ledger, request.path_params["visit"]
    await off_loop(lambda: visits.erase(ledger, visit, why=form.text("why")))
    return RedirectResponse("/client", 303)


async def policy_page(request: Request) -> Response:
    """Show the clinical policies with every figure, its source and its mark."""
    lecturer_only(request)
    return await _policy_page(request)


async def _policy_page(
    request: Request, *, refusal: str = "", adopted: str = "", offered: Offer | None = None
) -> Response:
    ledger = context_of(request).ledger
    values = {
        **({"did": offered} if offered else {}),
        "policies": list((await off_loop(lambda: policies.known_policies(ledger))).values()),
        "shipped": clinical_policies(),
        "emergency_number": await off_loop(lambda: policies.emergency_number(ledger)),
        "refusal": refusal,
        "adopted": adopted,
    }
    return page(request, "client_policy.html", values, status=422 if refusal else 200)


async def policy_csv(request: Request) -> Response:
    """Write a policy out as the CSV that an institution changes."""
    lecturer_only(request)
    ledger, policy_id = context_of(request).ledger, request.path_params["policy"]
    policy = await off_loop(lambda: policies.known_policy(ledger, policy_id))
    own_id = policy.id if policy.id not in clinical_policies() else f"OUR_{policy.id}"
    headers = {"Content-Disposition": f'attachment; filename="{own_id}.csv"'}
    return Response(policy_text(policy, own_id), media_type="text/csv", headers=headers)


async def adopt(request: Request) -> Response:
    """Adopt an institution's own policy from its file, or say in one line why not."""
    lecturer_only(request)
    form = await form_of(request)
    ledger = context_of(request).ledger
    name, data = form.files.get("file", ("", b""))
    try:
        if not data:
            raise BadInputError("the file: choose the CSV of your policy")
        policy = await off_loop(lambda: policies.adopt(ledger, data, name))
    except BadInputError as refusal:
        return await _policy_page(request, refusal=str(refusal))
    return await _policy_page(request, adopted=policy.id, offered=await offer(request, Kind.POLICY_ADOPTED))


async def emergency_number(request: Request) -> Response:
    """Set the number that the emergency screen names."""
    lecturer_only(request)
    form = await form_of(request)
    ledger = context_of(request).ledger
    try:
        await off_loop(lambda: policies.set_emergency_number(ledger, form.text("number")))
    except BadInputError as refusal:
        return await _policy_page(request, refusal=str(refusal))
    return RedirectResponse("/client/policy", 303)


def _coded(codes: Any) -> list[tuple[str, str]]:
    return [(code, code.replace("_", " ")) for code in codes]


routes = [
    Route("/client", home),
    Route("/client/begin", begin, methods=["POST"]),
    Route("/client/policy", policy_page, methods=["GET"]),
    Route("/client/policy", adopt, methods=["POST"]),
    Route("/client/policy/{policy}", policy_csv),
    Route("/client/emergency-number", emergency_number, methods=["POST"]),
    Route("/client/{visit}", led),
    Route("/client/{visit}/state", state),
    Route("/client/{visit}/acts", act, methods=["POST"]),
    Route("/client/{visit}/close", close, methods=["POST"]),
    Route("/client/{visit}/record", record),
    Route("/client/{visit}/sheets/{sheet}", sheet),
    Route("/client/{visit}/reply", reply, methods=["POST"]),
    Route("/client/{visit}/export", export),
    Route("/client/{visit}/erase", erase, methods=["POST"]),
]
