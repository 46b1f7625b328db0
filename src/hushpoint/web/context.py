"""What every route is given: the ledger, the grader, who is asking, and how to draw a page."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import anyio.to_thread
import jinja2
from itsdangerous import BadSignature, URLSafeTimedSerializer
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from hushpoint.desk import access, classes, decisions, pairs, undo
from hushpoint.desk.kept import Kept
from hushpoint.desk.recordings import RecordingFiles
from hushpoint.desk.tour import STOPS
from hushpoint.desk.whose import SchoolReadings
from hushpoint.errors import HushpointError
from hushpoint.ledger.records import Kind, Ledger
from hushpoint.ledger.scheduled import state_of
from hushpoint.measure import kilopascals, whole_mmhg
from hushpoint.web import manual_pages, marks
from hushpoint.web.guesses import Guesses
from hushpoint.words import LANGUAGES, UNITS, Reader, chosen, reader

STAFF_COOKIE = "hushpoint_staff"
LEARNER_COOKIE = "hushpoint_learner"
TOUR_COOKIE = "hushpoint_tour"
DONE_COOKIE = "hushpoint_done"
LANGUAGE_COOKIE, UNIT_COOKIE = "hushpoint_language", "hushpoint_unit"
STAFF_S = 12 * 3600
LEARNER_S = 180 * 24 * 3600
TOUR_S = 3600
DONE_S = 600
REACH = {
    access.ASSESSOR: re.compile(r"[A-Z]+ /class/[^/]+/(pairs|technique|learner/[^/]+/pairs)(/.*)?"),
    access.PRACTITIONER: re.compile(r"[A-Z]+ /client(/.*)?"),
    access.AUDITOR: re.compile(r"GET /evidence(/.*)?|POST /evidence/check"),
}
"""Of the lecturer's pages, those that another role opens too: method and path."""
_TEMPLATES = Path(__file__).with_name("templates")

Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True)
class Learner:
    """Who is practising: a random id and the code of their class ("" for those who practise alone).

    `came_in` is the row with which this device came in: one that was signed out since does not count.
    """

    who: str
    room: str
    came_in: int = 0


def signed(value_mmhg: float | None, say: Callable[[str], str] = str) -> str:
    """Write an error with its sign and a true minus; "withheld" for None, in the reader's words."""
    if value_mmhg is None:
        return say("withheld")
    whole = whole_mmhg(value_mmhg)
    return f"{whole:+d}".replace("-", "\N{MINUS SIGN}") if whole else "0"


def written(reading: Mapping[str, int | None] | None, say: Callable[[str], str] = str) -> str:
    """Write a reading as systolic/diastolic; what was not heard is said, in the reader's words."""
    if reading is None:
        return say("none yet")
    upper, lower = reading.get("systolic"), reading.get("diastolic")
    unheard = say("not heard")
    if upper is None and lower is None:
        return unheard
    text = f"{unheard if upper is None else upper}/{unheard if lower is None else lower}"
    muffled = reading.get("muffling")
    return text if muffled is None else say("{reading} ({muffled} muffled)").format(reading=text, muffled=muffled)


def beside(reading: Mapping[str, int | None] | None, pressures_in: str, comma: Callable[[str], str] = str) -> str:
    """Return a reading in kPa in brackets where the device asks for it, "" else; what was read stays in mmHg."""
    ends = [None] * 2 if reading is None else [reading.get(end) for end in ("systolic", "diastolic")]
    if pressures_in != "kPa" or ends == [None, None]:
        return ""
    said = "/".join("\u2013" if one is None else comma(f"{kilopascals(one):.1f}") for one in ends)
    return f" ({said} kPa)"


def sentence(text: str) -> str:
    """Return a text with its first letter large; the rest stays as it is."""
    return text[:1].upper() + text[1:]


def _utc() -> datetime:
    return datetime.now(UTC)


class Context:
    """The app's parts, put together in `wiring`; kept in `app.state.context`."""

    def __init__(
        self,
        ledger: Ledger,
        *,
        cookie_key: str,
        grade_soon: Callable[[str], None],
        recordings: RecordingFiles,
        invented: bool = False,
        demo_password: str = "",
        addresses: tuple[str, ...] = (),
        codes_only: bool = False,
        metrics_token: str = "",
        clock: Callable[[], datetime] = _utc,
    ) -> None:
        self.clock = clock
        self.ledger = ledger
        self.grade_soon = grade_soon
        self.recordings = recordings
        self.invented = invented
        self.demo_password = demo_password
        self.addresses = addresses
        self.codes_only = codes_only
        self.metrics_token = metrics_token
        self.boards = Kept(ledger, classes.Board, classes.board_rows)
        self.people = decisions.kept_people(ledger)
        self.pair_books = pairs.books_of(ledger)
        self.live_readings = SchoolReadings(ledger)
        self.guesses = Guesses()
        self._signer = URLSafeTimedSerializer(cookie_key, salt="hushpoint-cookie")
        self._templates = {language: _templates(language) for language in LANGUAGES}

    def draw(self, template: str, values: Mapping[str, Any], request: Request) -> str:
        """Return a drawn template in the language and with the unit of whoever asks."""
        asked = {"language": reader_of(request).language, "pressures_in": unit_of(request)}
        return self._templates[asked["language"]].get_template(template).render({**asked, **values})

    def sign(self, value: Mapping[str, str]) -> str:
        """Return a signed cookie value."""
        return self._signer.dumps(dict(value))

    def signed(self, text: str | None, longest_s: int) -> dict[str, str] | None:
        """Return what a cookie says, None where it is missing, altered or too old.

        One signed later than now is ours too: the laptop's clock was set back, and its class goes on.
        """
        if not text:
            return None
        try:
            value, signed_at = self._signer.loads(text, return_timestamp=True)
        except BadSignature:
            return None
        fresh = (_utc() - signed_at).total_seconds() <= longest_s
        return value if fresh and isinstance(value, dict) else None


def _templates(language: str) -> jinja2.Environment:
    """Return the templates as a language speaks them; its catalogue is read when the first page is drawn in it."""
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=[marks.Marked],
    )

    def say(text: str) -> str:
        return reader(language).ours(text)

    @jinja2.pass_context
    def in_kpa(page: jinja2.runtime.Context, reading: Mapping[str, int | None] | None) -> str:
        return beside(reading, page.get("pressures_in", ""), reader(language).decimals)

    @jinja2.pass_context
    def with_unit(page: jinja2.runtime.Context, reading: Mapping[str, int | None] | None) -> str:
        return written(reading, say) + in_kpa(page, reading)

    made.globals |= {
        "_": say,
        "_t": lambda text, /, **values: reader(language).markup(text, **values),
        "_a": lambda text, /, **values: reader(language).attribute(text, **values),
        "_v": lambda value: reader(language).value(value),
    }
    made.filters |= {
        "signed": partial(signed, say=say),
        "written": with_unit,
        "kpa": in_kpa,
        "casefold": str.casefold,
        "said": say,
        "sentence": sentence,
    }
    return made


PLACES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("/practise", "Practise", ("", access.LECTURER)),
    ("/class", "Class", ("", access.LECTURER, access.ASSESSOR)),
    ("/client", "Clients", ("", access.LECTURER, access.PRACTITIONER)),
    ("/kit", "Kit", ("", access.LECTURER, access.ASSESSOR, access.PRACTITIONER)),
    ("/evidence", "Evidence", ("", access.LECTURER, access.AUDITOR)),
    ("/recordings", "Recordings", ("", access.LECTURER)),
    ("/agreement", "Agreement", ("", *access.ROLES)),
)
"""The places in the order they are named everywhere: address, name, who finds them ("" for a stranger or learner)."""
_NEAR = {
    access.LECTURER: ("/class", "/client"),
    access.ASSESSOR: ("/class", "/kit"),
    access.PRACTITIONER: ("/client", "/kit"),
    access.AUDITOR: ("/evidence", "/agreement"),
}
"""The two places that stand beside the name on a phone; of a learner _NEAR_LEARNER, of a stranger none."""
_NEAR_LEARNER = ("/practise", "/kit")
_LONGEST_NEXT = 300


def places_of(path: str, role: str, *, learner: bool) -> list[dict[str, Any]]:
    """Return the places for whoever asks: address, name, whether near, and how `path` lies in it (for aria-current)."""
    near = _NEAR.get(role, _NEAR_LEARNER if learner else ())
    return [
        {
            "address": address,
            "name": name,
            "near": address in near,
            "current": "page" if path == address else "true" if path.startswith(f"{address}/") else "",
        }
        for address, name, roles in PLACES
        if role in roles or (learner and address == "/practise")
    ]


def safe_next(text: str, otherwise: str = "") -> str:
    """Return where to go on to where it is a page of this very site, `otherwise` for anything else."""
    plain = text.isascii() and text.isprintable() and "\\" not in text and len(text) <= _LONGEST_NEXT
    return text if plain and text.startswith("/") and not text.startswith("//") else otherwise


def context_of(request: Request) -> Context:
    """Return the app's parts."""
    context: Context = request.app.state.context
    return context


def role_of(request: Request) -> str:
    """Return who came in by password or link, one of `access.ROLES`; "" for everybody else.

    The session is looked up in the ledger each time, so that one ended elsewhere ends here.
    """
    context = context_of(request)
    found = context.signed(request.cookies.get(STAFF_COOKIE), STAFF_S) or {}
    role = found.get("is", "")
    if role not in access.ROLES or found.get("session") != access.session_word(context.ledger, role):
        return ""
    return role if found.get("until", "9") > context.clock().isoformat() else ""


def is_lecturer(request: Request) -> bool:
    """Return whether the asker came in with the lecturer's password."""
    return role_of(request) == access.LECTURER


def lecturer_only(request: Request) -> None:
    """Raise status 401 for a stranger, 403 for a role whose reach (`REACH`) does not hold this page."""
    role = role_of(request)
    if role == access.LECTURER:
        return
    if not role:
        raise HTTPException(401, "This page is the lecturer's. Come in with the password at /class.")
    if not REACH[role].fullmatch(f"{request.method} {request.url.path}"):
        raise HTTPException(403, f"This page is the lecturer's; you came in as {role}.")


def let_in(request: Request, response: Response, role: str, *, until: str = "9") -> None:
    """Begin a session; `until` (UTC, ISO 8601) ends it earlier than the twelve hours of everybody."""
    word = access.session_word(context_of(request).ledger, role)
    give_cookie(request, response, STAFF_COOKIE, {"is": role, "session": word, "until": until}, STAFF_S)


def learner_or_none(request: Request) -> Learner | None:
    """Return the learner who is asking, None for anybody else."""
    found = context_of(request).signed(request.cookies.get(LEARNER_COOKIE), LEARNER_S)
    if not found or not {"who", "room"} <= set(found):
        return None
    return Learner(found["who"], found["room"], int(found.get("in", "0")))


def known_learner(request: Request) -> Learner | None:
    """Return the learner who joined on this device; None where nobody has, it was signed out, or data was erased."""
    learner = learner_or_none(request)
    if learner is None or not classes.still_in(context_of(request).ledger, learner.room, learner.who, learner.came_in):
        return None
    return learner


def asker_of(request: Request) -> undo.Asker | None:
    """Return who asks, for what they did and may take back; None for a stranger. Reads the ledger."""
    role = role_of(request)
    if role:
        return undo.Asker(role, by=role)
    learner = known_learner(request)
    if learner is None:
        return None
    by = f"a learner of {learner.room}" if learner.room else "a learner practising alone"
    return undo.Asker(undo.LEARNER, learner.who, by)


async def offer(request: Request, kind: Kind, **about: Any) -> undo.Offer | None:
    """Return the newest act of a kind (see `undo.newest`) where whoever asks may take it back."""
    context = context_of(request)

    def found() -> undo.Offer | None:
        asker = asker_of(request)
        seq = undo.newest(context.ledger, kind, **about)
        return undo.offered(context.ledger, seq, asker, context.clock()) if asker else None

    return await off_loop(found)


async def done(request: Request, response: Response, kind: Kind, **about: Any) -> Response:
    """Let the next page say what was done, with Undo: of the newest act of a kind (see `undo.newest`)."""
    found = await offer(request, kind, **about)
    if found is not None:
        give_cookie(request, response, DONE_COOKIE, {"row": str(found.row)}, DONE_S)
    return response


def _told_once(request: Request) -> undo.Offer | None:
    """Return what the page before did; of a store that cannot be used nothing."""
    context = context_of(request)
    kept = context.signed(request.cookies.get(DONE_COOKIE), DONE_S)
    if not kept or "row" not in kept:
        return None
    try:
        asker = asker_of(request)
        return undo.offered(context.ledger, int(kept["row"]), asker, context.clock()) if asker else None
    except HushpointError:
        return None


def give_cookie(request: Request, response: Response, name: str, value: Mapping[str, str], longest_s: int) -> None:
    """Set a signed cookie that scripts cannot read and other sites cannot send."""
    response.set_cookie(
        name,
        context_of(request).sign(value),
        max_age=longest_s,
        httponly=True,
        samesite="lax",
        secure=request.url.scheme == "https",
        path="/",
    )


def reader_of(request: Request) -> Reader:
    """Return who reads: the language chosen on this device, else the one its browser asks for."""
    wanted = request.cookies.get(LANGUAGE_COOKIE, "")
    return reader(chosen(wanted, request.headers.get("accept-language", "")))


def unit_of(request: Request) -> str:
    """Return the unit that stands beside mmHg on this device, one of `UNITS`."""
    unit = request.cookies.get(UNIT_COOKIE, "")
    return unit if unit in UNITS else next(iter(UNITS))


def page(request: Request, template: str, values: Mapping[str, Any] | None = None, *, status: int = 200) -> Response:
    """Draw a page with who is asking and whether everything is invented."""
    context = context_of(request)
    try:
        role = role_of(request)
    except HushpointError:  # the page may be the one that says that the store cannot be used
        role = ""
    known: dict[str, Any] = {
        "habits": {
            "languages": LANGUAGES,
            "units": UNITS,
            "here": request.url.path if request.method == "GET" else "/",
        },
        "invented": context.invented,
        "demo_password": context.demo_password,
        "codes_only": context.codes_only,
        "role": role,
        "lecturer": role == access.LECTURER,
        "learner": learner_or_none(request),
    }
    known["manual"] = manual_pages.address(request.url.path)
    if context.invented and (at := context.signed(request.cookies.get(TOUR_COOKIE), TOUR_S)):
        stop = int(at["stop"])
        known["tour"] = {"stop": stop, "of": len(STOPS), "here": request.url.path == at["at"], "is": STOPS[stop - 1]}
    known["places"] = places_of(request.url.path, role, learner=known["learner"] is not None)
    known["did"] = _told_once(request)
    response = HTMLResponse(context.draw(template, {**known, **(values or {})}, request), status_code=status)
    if DONE_COOKIE in request.cookies:
        response.delete_cookie(DONE_COOKIE, path="/")
    return response


def backup_trouble(request: Request) -> str:
    """Return what is wrong with the scheduled backups, for the lecturer's eyes; "" where all is well."""
    context = context_of(request)
    if not is_lecturer(request):
        return ""
    state = state_of(context.ledger)
    return state.trouble(context.clock()) if state else ""


async def off_loop(act: Callable[[], Answer]) -> Answer:
    """Run a blocking act (the ledger, argon2, a picture) in a thread, so that the event loop goes on."""
    return await anyio.to_thread.run_sync(act)
