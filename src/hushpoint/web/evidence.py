"""The lecturer's pages of evidence: who is due, what the record shows of one learner, decisions, feedback."""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, Sequence
from datetime import date
from typing import Any, TypeVar

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from hushpoint.competence import currency_by_hand, curve_by_hand, judged_by_hand, odds_by_hand
from hushpoint.competence.currency import Currency
from hushpoint.desk import classes, decisions, judging, pass_rules, units
from hushpoint.desk.bundle import (
    AlteredError,
    altered_rows,
    bundle,
    bundle_name,
    telling_altered,
)
from hushpoint.desk.bundle_check import otherwise, verify_bundle
from hushpoint.desk.evidence import PAIRS, VARIETIES, Evidence, rows_of
from hushpoint.desk.feedback import feedback_pdf, one_fix
from hushpoint.desk.rules_csv import parse_rules
from hushpoint.errors import BadInputError, NotFoundError
from hushpoint.ledger.frozen import FrozenLedger
from hushpoint.ledger.records import Kind, Ledger
from hushpoint.measure import Worked
from hushpoint.web.context import context_of, done, lecturer_only, off_loop, page, reader_of
from hushpoint.web.forms import Form, form_of

DEFAULT_RULE = "OBRIEN_90_95"
MOST_FOUND = 200
MOST_COUNTED = 12
"""The list of all classes counts fair pairs for so many classes; a larger school finds them in each class's list."""
Found = TypeVar("Found")
_FLAGS = ("identity_checked", "learner_declares")


async def people(request: Request) -> Response:
    """Show who is due for renewal over all classes, or those whose name holds what was typed."""
    lecturer_only(request)
    return await _people(request, "")


async def people_of_class(request: Request) -> Response:
    """Show the same for one class."""
    lecturer_only(request)
    ledger = context_of(request).ledger
    info = await off_loop(lambda: classes.find_class(ledger, request.path_params["code"]))
    return await _people(request, info.code)


async def _people(request: Request, code: str) -> Response:
    context = context_of(request)
    asked = " ".join(request.query_params.get("q", "").split())[:80]
    today = _today(request)

    def found() -> list[tuple[classes.ClassInfo, decisions.Standing]]:
        rooms = [one for one in classes.all_classes(context.ledger) if code in ("", one.code)]
        people = context.people.now("")
        lines = []
        for info in rooms:
            fair: dict[str, int] = {}
            if len(rooms) <= MOST_COUNTED:
                for pair in context.pair_books.now(info.code).pairs.values():
                    fair[pair.opening.learner] = fair.get(pair.opening.learner, 0) + pair.fair
            every = decisions.standings(people.of(info.code), info.code, today, fair)
            lines += [(info, one) for one in every if asked.casefold() in one.name.casefold()]
        return sorted(lines, key=lambda line: (line[1].place, line[1].name.casefold()))

    lines = await off_loop(found)
    values = {"lines": lines[:MOST_FOUND], "more": max(0, len(lines) - MOST_FOUND), "asked": asked, "code": code}
    rooms = await off_loop(lambda: len(classes.all_classes(context.ledger)))
    values["counted"] = bool(code) or rooms <= MOST_COUNTED
    return page(request, "evidence.html", values)


async def person(request: Request) -> Response:
    """Show what the record shows of a learner, with the form to sign."""
    lecturer_only(request)
    return await _person(request)


async def sign(request: Request) -> Response:
    """Sign a decision."""
    lecturer_only(request)
    form = await form_of(request, most_fields=30)
    ledger, code, who = _whose(request)
    given: dict[str, Any] = {
        name: form.text(name) for name in decisions.Signing.__dataclass_fields__ if name in form.texts
    }
    given |= {name: form.text(name) == "yes" for name in _FLAGS}
    needed = {name: given.get(name, "") for name in ("rule", "decision", "reasons", "assessor", "ref")}
    signing = decisions.Signing(**{**given, **needed})
    today = _today(request)
    try:
        await off_loop(lambda: decisions.sign(ledger, room=code, learner=who, signing=signing, today=today))
    except BadInputError as refusal:
        return await _person(request, form=form, refusal=str(refusal))
    return RedirectResponse(f"/evidence/{code}/{who}#decisions", 303)


async def amend(request: Request) -> Response:
    """Change one field of a decision by a further row."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, code, who = _whose(request)
    act = {name: form.text(name) for name in ("name", "new", "by", "why", "ref")}
    row = _row(form)
    await off_loop(lambda: decisions.amend(ledger, room=code, learner=who, row=row, **act))
    return RedirectResponse(f"/evidence/{code}/{who}#decisions", 303)


async def appeal(request: Request) -> Response:
    """Record an appeal, or what became of it."""
    lecturer_only(request)
    form = await form_of(request)
    ledger, code, who = _whose(request)
    act = {name: form.text(name) for name in ("by", "grounds", "outcome", "ref")}
    row = _row(form)
    await off_loop(lambda: decisions.appeal(ledger, room=code, learner=who, row=row, **act))
    return RedirectResponse(f"/evidence/{code}/{who}#decisions", 303)


async def feedback(request: Request) -> Response:
    """Show one page with one fix, for the talk after the test."""
    lecturer_only(request)
    return page(request, "evidence_feedback.html", await _values(request))


async def feedback_page(request: Request) -> Response:
    """Send the same page as PDF, with room for what was agreed."""
    lecturer_only(request)
    context = context_of(request)
    values = await _values(request)
    info: classes.ClassInfo = values["info"]
    made = await off_loop(
        lambda: feedback_pdf(
            values["shown"],
            name=values["name"],
            class_name=f"{info.name} ({info.code})",
            today=_today(request),
            made_at=context.clock(),
            invented=context.invented,
            to=reader_of(request),
        )
    )
    name = f"{'INVENTED-' if context.invented else ''}feedback-{info.code}-{values['who'][:8]}.pdf"
    return Response(made, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'})


async def curve(request: Request) -> Response:
    """Draw the learning curve, for a light page or a dark one."""
    lecturer_only(request)
    shown = (await _values(request))["shown"]
    if shown.curve is None:
        raise NotFoundError("No curve yet: no answer counts so far.")
    dark = request.query_params.get("on") == "dark"
    scores, limit = shown.curve.scores, shown.curve.limit.limit
    say = reader_of(request).on_pictures
    drawn = await off_loop(lambda: _drawn(scores, limit, dark=dark, say=say))
    return Response(drawn, media_type="image/svg+xml")


def _drawn(scores: Sequence[float], limit: float, *, dark: bool, say: Callable[[str], str]) -> bytes:
    from hushpoint.sheet.curve_picture import curve_picture

    return curve_picture(scores, limit, dark=dark, say=say)


async def look_over(request: Request) -> Response:
    """Check a bundle that is handed in, or the whole store where asked: what is not as it was is named."""
    lecturer_only(request)
    ledger = context_of(request).ledger
    values: dict[str, Any] = {"store": None, "found": None, "name": "", "foreign": [], "last": 0}
    if request.method == "GET":
        if request.query_params.get("store") == "yes":
            values |= {"store": await off_loop(ledger.verify), "last": await off_loop(ledger.last)}
        return page(request, "evidence_check.html", values)
    form = await form_of(request)
    name, data = form.files.get("file", ("", b""))
    if not data:
        raise BadInputError("file: choose a bundle, a file that ends in .zip")
    found = await off_loop(lambda: verify_bundle(data))
    values |= {"found": found, "name": name[:120], "foreign": await off_loop(lambda: otherwise(ledger, found))}
    return page(request, "evidence_check.html", values)


async def bundle_file(request: Request) -> Response:
    """Send a learner's evidence bundle."""
    lecturer_only(request)
    context = context_of(request)
    _, code, who = _whose(request)
    made_at = context.clock()
    made = await _or_altered(
        off_loop(lambda: bundle(context.ledger, room=code, who=who, made_at=made_at, invented=context.invented))
    )
    name = bundle_name(code, who, invented=context.invented)
    return Response(
        made, media_type="application/zip", headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


async def rules(request: Request) -> Response:
    """Show every rule with its odds."""
    lecturer_only(request)
    return await _rules_page(request)


async def adopt_rules(request: Request) -> Response:
    """Show how an own file of rules is read, with odds; adopt it once asked."""
    lecturer_only(request)
    form = await form_of(request)
    name, data = form.files.get("file", ("", b""))
    if not data:
        name, data = "rules.csv", form.text("text").encode()
    ledger = context_of(request).ledger
    preview, text = await off_loop(lambda: parse_rules(data, name or "rules.csv"))
    if form.text("adopt") == "yes":
        await off_loop(lambda: pass_rules.adopt(ledger, data, name or "rules.csv"))
        return await done(request, RedirectResponse("/evidence/rules", 303), Kind.RULE_ADOPTED)
    shown = await off_loop(lambda: [pass_rules.odds_of(rule) for rule in preview.values()])
    return await _rules_page(request, preview=shown, text=text)


async def unit_list(request: Request) -> Response:
    """Show the units of competency that were adopted."""
    lecturer_only(request)
    return await _units_page(request)


async def adopt_unit(request: Request) -> Response:
    """Show how a unit's file is read; adopt it once asked."""
    lecturer_only(request)
    form = await form_of(request)
    name, data = form.files.get("file", ("", b""))
    if not data:
        name, data = "unit.csv", form.text("text").encode()
    ledger = context_of(request).ledger
    preview, text = await off_loop(lambda: units.parse_unit(data, name or "unit.csv"))
    if form.text("adopt") == "yes":
        await off_loop(lambda: units.adopt(ledger, data, name or "unit.csv"))
        return await done(request, RedirectResponse("/evidence/units", 303), Kind.UNIT_ADOPTED)
    return await _units_page(request, preview=preview, text=text)


async def _units_page(request: Request, *, preview: units.Unit | None = None, text: str = "") -> Response:
    ledger = context_of(request).ledger
    known = await off_loop(lambda: list(units.known_units(ledger).values()))
    values = {
        "units": ([preview] if preview else []) + known,
        "preview": preview,
        "text": text,
        "columns": ",".join(units.COLUMNS),
        "kinds": units.EVIDENCE,
    }
    return page(request, "evidence_units.html", values)


async def _rules_page(
    request: Request, *, preview: list[pass_rules.RuleOdds] | None = None, text: str = ""
) -> Response:
    ledger = context_of(request).ledger
    known = await off_loop(lambda: [pass_rules.odds_of(rule) for rule in pass_rules.known_rules(ledger).values()])
    return page(request, "evidence_rules.html", {"known": known, "preview": preview, "text": text})


async def _person(request: Request, *, form: Form | None = None, refusal: str = "") -> Response:
    values = await _values(request, form)
    ledger = context_of(request).ledger
    shown = values["shown"]
    odds = await off_loop(lambda: pass_rules.odds_of(shown.rule))
    values |= {
        "rules": await off_loop(lambda: list(pass_rules.known_rules(ledger).values())),
        "varieties": {name: words for name, (words, _) in VARIETIES.items()},
        "odds": odds,
        "workings": _workings(shown, odds, values["currency"], _today(request)),
        "typed": form.texts if form else {},
        "refusal": refusal,
        "ref": form.text("ref") if form and form.text("ref") else secrets.token_hex(8),
        "settings": decisions.SETTINGS,
        "outcomes": decisions.OUTCOMES,
        "amendable": decisions.AMENDABLE,
        "verdicts": judging.SHOWN,
        "caution": judging.CAUTION,
    }
    return page(request, "evidence_person.html", values, status=422 if refusal else 200)


def _workings(shown: Evidence, odds: pass_rules.RuleOdds, until: Currency, today: date) -> list[Worked]:
    found = [
        judged_by_hand(shown.found) if shown.found else None,
        curve_by_hand(shown.curve) if shown.curve else None,
        odds_by_hand(shown.rule, odds.odds),
        currency_by_hand(until, today),
    ]
    return [one for one in found if one is not None]


async def _values(request: Request, form: Form | None = None) -> dict[str, Any]:
    ledger, code, who = _whose(request)
    given = form.texts if form else request.query_params
    rule, basis = given.get("rule") or DEFAULT_RULE, given.get("basis", "")
    variety = given.get("variety") or "high"

    def found() -> dict[str, Any]:
        info = classes.find_class(ledger, code)
        rows = rows_of(ledger, info.code, who)
        part = FrozenLedger(rows)
        try:
            shown = decisions.evidence_now(ledger, info.code, who, rule, basis=basis, variety=variety, part=part)
        except BadInputError:
            if form is None:
                raise
            shown = decisions.evidence_now(ledger, info.code, who, DEFAULT_RULE, part=part)
        signed = decisions.decisions_of(ledger, info.code, who)
        return {
            "info": info,
            "who": who,
            "name": classes.name_of(ledger, info.code, who),
            "shown": shown,
            "asked_basis": basis,
            "decisions": signed,
            "currency": decisions.currency_of(signed, _today(request)),
            "fix": one_fix(shown),
            "pairs_basis": PAIRS,
            "today": _today(request).isoformat(),
            "matrices": _matrices(ledger, part, info.code, who),
            "altered": altered_rows(ledger, (row.seq for row in rows)),
        }

    def told() -> dict[str, Any]:
        with telling_altered(ledger):
            return found()

    return await _or_altered(off_loop(told))


async def _or_altered(act: Awaitable[Found]) -> Found:
    """Show the one line of an altered store instead of what rests on it."""
    try:
        return await act
    except AlteredError as altered:
        raise HTTPException(503, str(altered)) from None


def _matrices(ledger: Ledger, part: FrozenLedger, code: str, who: str) -> list[tuple[units.Unit, list[units.Met]]]:
    return [(unit, units.matrix(part, code, who, unit)) for unit in units.known_units(ledger).values()]


def _whose(request: Request) -> tuple[Any, str, str]:
    return context_of(request).ledger, request.path_params["code"].upper(), request.path_params["who"]


def _row(form: Form) -> int:
    text = form.text("row")
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise NotFoundError("No such decision about this learner.")
    return int(text)


def _today(request: Request) -> date:
    return context_of(request).clock().astimezone().date()


routes = [
    Route("/evidence", people),
    Route("/evidence/rules", rules),
    Route("/evidence/rules", adopt_rules, methods=["POST"]),
    Route("/evidence/units", unit_list),
    Route("/evidence/units", adopt_unit, methods=["POST"]),
    Route("/evidence/check", look_over, methods=["GET", "POST"]),
    Route("/evidence/{code}", people_of_class),
    Route("/evidence/{code}/{who}", person),
    Route("/evidence/{code}/{who}/sign", sign, methods=["POST"]),
    Route("/evidence/{code}/{who}/amend", amend, methods=["POST"]),
    Route("/evidence/{code}/{who}/appeal", appeal, methods=["POST"]),
    Route("/evidence/{code}/{who}/curve.svg", curve),
    Route("/evidence/{code}/{who}/feedback", feedback),
    Route("/evidence/{code}/{who}/feedback.pdf", feedback_page),
    Route("/evidence/{code}/{who}/bundle.zip", bundle_file),
]
