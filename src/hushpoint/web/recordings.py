"""Recordings: take one in, see and hear what the ear made of it, keep it, lay observers beside it."""

from __future__ import annotations

import base64
from collections.abc import Callable, Mapping, Sequence
from typing import Any, BinaryIO

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint import __version__
from hushpoint.agreement import agree, agreement_by_hand
from hushpoint.desk import recordings
from hushpoint.desk.heard_json import end_told, told
from hushpoint.desk.live import checked_mmhg
from hushpoint.desk.recordings import Held
from hushpoint.errors import AlreadyDoneError, BadInputError, NotFoundError
from hushpoint.measure import Heard, Withheld
from hushpoint.web.context import context_of, lecturer_only, off_loop, page, reader_of
from hushpoint.web.forms import Form, form_of, opened_form
from hushpoint.web.guard import RECORDING_BYTES

ENDS = ("systolic", "diastolic")
FORMS = {"png": "image/png", "svg": "image/svg+xml", "pdf": "application/pdf"}
YOU = "you"
MOST_OBSERVERS = 11
"""With more observers than make 60 pairs each is compared with the ear alone (design choice, as on /agreement)."""
Mark = tuple[str, int | None, int | None]
"""A human's reading: name, systolic and diastolic [mmHg]; None where not heard."""


async def start(request: Request) -> Response:
    """Ask for a recording; list those that are kept."""
    lecturer_only(request)
    return await _start_page(request)


async def bring_in(request: Request) -> Response:
    """Take a recording in, listen to it and show what was heard; nothing is kept yet."""
    lecturer_only(request)
    files = context_of(request).recordings
    form = await opened_form(request)
    try:
        sound, pressure = (_chosen(form.get(name)) for name in ("sound", "pressure"))
        if sound is None:
            raise BadInputError("the recording: choose a sound file with its pressure CSV, or one EDF file")
        name, file = sound
        beside = pressure[1] if pressure else None
        recording = await off_loop(lambda: recordings.bring_in(files, name, file, beside))
    except BadInputError as refusal:
        return await _start_page(request, refusal=str(refusal))
    finally:
        await form.close()
    return RedirectResponse(f"/recordings/{recording}", 303)


def _chosen(value: object) -> tuple[str, BinaryIO] | None:
    """Return a chosen file's name and content; a field left empty is sent as a file without a name."""
    if isinstance(value, UploadFile) and value.filename:
        return value.filename, value.file
    return None


async def show(request: Request) -> Response:
    """Show one recording: the ear's answer, picture, needle, and a human's reading beside it where one is given."""
    lecturer_only(request)
    return await _one_page(request)


async def picture(request: Request) -> Response:
    """Draw a recording as PNG, SVG or PDF."""
    lecturer_only(request)
    form = request.path_params["form"]
    if form not in FORMS:
        raise NotFoundError(f"picture.{form[:8]}: must be one of {', '.join(FORMS)}")
    held = await _held(request)
    marks = (*_observed(held), *_yours(request.query_params))
    files, dark = context_of(request).recordings, request.query_params.get("on") == "dark"
    say = reader_of(request).on_pictures
    drawn = await off_loop(lambda: _drawn(files, held, marks, form=form, dark=dark, say=say))
    return Response(drawn, media_type=FORMS[form])


async def sound(request: Request) -> Response:
    """Send the sound as 16-bit mono WAV, whatever it was recorded as."""
    lecturer_only(request)
    held, files = await _held(request), context_of(request).recordings
    from hushpoint.recording import played_wav, read_recording

    data = await off_loop(lambda: played_wav(read_recording(files.path(held)).sound))
    return Response(data, media_type="audio/wav")


async def pressure(request: Request) -> Response:
    """Send the cuff pressure over time for the needle, on the sound's clock."""
    lecturer_only(request)
    held, files = await _held(request), context_of(request).recordings
    return JSONResponse(await off_loop(lambda: recordings.needle(files.path(held), held.answer)))


async def keep(request: Request) -> Response:
    """Keep a recording as a measurement."""
    lecturer_only(request)
    form = await form_of(request)
    context = context_of(request)
    recording = request.path_params["recording"]
    return await _done(
        request,
        form,
        lambda: recordings.keep(context.ledger, context.recordings, recording, label=form.text("label")),
    )


async def read_again(request: Request) -> Response:
    """Read a kept recording with the ear as it is now."""
    lecturer_only(request)
    context = context_of(request)
    recording = request.path_params["recording"]
    return await _done(request, None, lambda: recordings.read_again(context.ledger, context.recordings, recording))


async def observe(request: Request) -> Response:
    """Add what an observer heard."""
    lecturer_only(request)
    form = await form_of(request)
    context = context_of(request)
    recording = request.path_params["recording"]

    def act() -> None:
        recordings.observe(
            context.ledger,
            context.recordings,
            recording,
            observer=form.text("observer"),
            systolic=_written(form, "systolic"),
            diastolic=_written(form, "diastolic"),
            answer_seen=form.text("answer_seen") != "no",
            why=form.text("why"),
        )

    return await _done(request, form, act)


async def erase(request: Request) -> Response:
    """Delete a recording and erase what the journal says of it."""
    lecturer_only(request)
    form = await form_of(request)
    if form.text("sure") != "yes":
        raise BadInputError("Tick that you want to erase this recording.")
    context = context_of(request)
    recording = request.path_params["recording"]
    await off_loop(
        lambda: recordings.erase(context.ledger, context.recordings, recording, why=form.text("why") or "not kept")
    )
    return RedirectResponse("/recordings", 303)


async def agreement(request: Request) -> Response:
    """Say how far the observers of the kept recordings agree, the ear as one observer more."""
    lecturer_only(request)
    ledger = context_of(request).ledger
    readings = recordings.paired(await off_loop(lambda: recordings.all_kept(ledger)))
    crowd = len({one.observer for one in readings}) > MOST_OBSERVERS
    try:
        found = await off_loop(lambda: agree(readings, recordings.EAR if crowd else None))
    except BadInputError:
        return page(request, "recordings_agreement.html", {"found": None})
    from hushpoint.sheet.agreement_picture import agreement_picture

    drawn = await off_loop(lambda: agreement_picture(found, "svg", say=reader_of(request).on_pictures))
    by_hand = [agreement_by_hand(pair) for pair in found.pairs]
    values = {"found": found.as_json(), "by_hand": by_hand, "picture": base64.b64encode(drawn).decode()}
    return page(request, "recordings_agreement.html", values)


async def _done(request: Request, form: Form | None, act: Any) -> Response:
    """Do it and show the recording again; a refusal is told on its page, with what was typed."""
    try:
        await off_loop(act)
    except (BadInputError, AlreadyDoneError) as refusal:
        if "text/html" not in request.headers.get("accept", ""):
            raise
        typed = form.texts if form else {}
        return await _one_page(request, refusal=str(refusal), typed=typed)
    blind = form is not None and form.text("answer_seen") == "no"
    return RedirectResponse(f"/recordings/{request.path_params['recording']}{'?answer=hidden' if blind else ''}", 303)


async def _held(request: Request) -> Held:
    context = context_of(request)
    return await off_loop(lambda: recordings.find(context.ledger, context.recordings, request.path_params["recording"]))


async def _start_page(request: Request, refusal: str = "") -> Response:
    ledger = context_of(request).ledger
    kept = await off_loop(lambda: recordings.all_kept(ledger))
    values = {
        "kept": kept,
        "refusal": refusal,
        "most_bytes": RECORDING_BYTES,
        "most_megabytes": RECORDING_BYTES // 1_000_000,
        "most_minutes": round(recordings.LONGEST_S / 60),
    }
    return page(request, "recordings.html", values, status=422 if refusal else 200)


async def _one_page(request: Request, *, refusal: str = "", typed: Mapping[str, str] | None = None) -> Response:
    context, held = context_of(request), await _held(request)
    hidden = request.query_params.get("answer") == "hidden" or (typed or {}).get("answer_seen") == "no"
    yours: tuple[Mark, ...] = () if hidden else _yours(request.query_params)
    marks: tuple[Mark, ...] = () if hidden else (*_observed(held), *yours)
    try:
        await off_loop(lambda: context.recordings.path(held))
        missing = ""
    except NotFoundError as why:
        missing = str(why)
    ends = [
        {
            "name": end,
            "told": held.answer[end],
            "ruler": _ruler(end_told(held.answer[end]), [(name, both[place]) for name, *both in marks]),
            "yours": [recordings.beside_words(end, held.answer[end], both[place]) for _, *both in yours],
        }
        for place, end in enumerate(ENDS)
    ]
    query = [f"&{end}={mmhg}" for _, *both in yours for end, mmhg in zip(ENDS, both, strict=True) if mmhg is not None]
    values = {
        "held": held,
        "version": __version__,
        "hidden": hidden,
        "missing": missing,
        "ends": ends,
        "query": "".join(query),
        "refusal": refusal,
        "typed": typed or {},
        "given": request.query_params,
    }
    return page(request, "recordings_one.html", values, status=422 if refusal else 200)


def _yours(given: Mapping[str, str]) -> tuple[Mark, ...]:
    """Return the reading that is to be laid beside the ear's, from the page's address; nothing where none is given."""
    both = [_mmhg(given, end) for end in ENDS]
    if both == [None, None]:
        return ()
    return ((YOU, both[0], both[1]),)


def _observed(held: Held) -> tuple[Mark, ...]:
    return tuple((one.observer, one.systolic_mmhg, one.diastolic_mmhg) for one in held.observed.values())


def _mmhg(given: Mapping[str, str], what: str) -> int | None:
    """Return a pressure as typed, None where the field is empty; raises BadInputError with the legal range."""
    text = given.get(what, "").strip()
    number = text.isascii() and text.isdigit() and len(text) < 4
    return checked_mmhg(int(text) if number else text or None, what)


def _written(form: Form, what: str) -> int | None:
    """Return what an observer wrote, None for "not heard"; raises BadInputError where it is neither, or both."""
    mmhg, not_heard = _mmhg(form.texts, what), form.text(f"{what}_not") == "yes"
    if (mmhg is None) is not not_heard:
        raise BadInputError(f'{what}: a whole number from 0 to 300 mmHg, or tick "{what} not heard"; not both')
    return mmhg


def _drawn(
    files: recordings.RecordingFiles,
    held: Held,
    marks: Sequence[Mark],
    *,
    form: Any,
    dark: bool,
    say: Callable[[str], str],
) -> bytes:
    from hushpoint.recording import read_recording
    from hushpoint.sheet.reading_picture import reading_picture

    found = read_recording(files.path(held))
    return reading_picture(
        found.sound.samples,
        found.sound.rate_hz,
        found.pressure.time_s,
        found.pressure.pressure_mmhg,
        told(held.answer),
        title=held.label,
        form=form,
        marks=marks,
        dark=dark,
        say=say,
    )


WIDTH, EDGE = 340, 20
AROUND_MMHG = 8
"""How far the ruler goes beyond what stands on it [mmHg]."""


def _ruler(end: Heard | Withheld, marks: Sequence[tuple[str, int | None]]) -> dict[str, Any] | None:
    """Return where things stand on the ruler beneath a number [px of a drawing WIDTH wide]; None for a withheld end."""
    if isinstance(end, Withheld):
        return None
    written = [(name, mmhg) for name, mmhg in marks if mmhg is not None]
    all_mmhg = [end.low_mmhg, end.high_mmhg, *(float(mmhg) for _, mmhg in written)]
    low = int((min(all_mmhg) - AROUND_MMHG) // 2 * 2)
    high = int(-(-(max(all_mmhg) + AROUND_MMHG) // 2) * 2)

    def x(mmhg: float) -> float:
        return round(EDGE + (mmhg - low) / (high - low) * (WIDTH - 2 * EDGE), 1)

    far = 10 if high - low <= 60 else 20
    return {
        "ticks": [
            {"x": x(mmhg), "label": mmhg if mmhg % far == 0 else None}
            for mmhg in range(low, high + 1, 2 if far == 10 else 10)
        ],
        "low": x(end.low_mmhg),
        "high": x(end.high_mmhg),
        "at": x(end.mmhg),
        "marks": [{"x": x(mmhg), "name": f"{name} {mmhg}", "row": place} for place, (name, mmhg) in enumerate(written)],
        "height": 66 + 18 * len(written),
    }


routes = [
    Route("/recordings", start),
    Route("/recordings", bring_in, methods=["POST"]),
    Route("/recordings/agreement", agreement),
    Route("/recordings/{recording}", show),
    Route("/recordings/{recording}/picture.{form}", picture),
    Route("/recordings/{recording}/sound.wav", sound),
    Route("/recordings/{recording}/pressure.json", pressure),
    Route("/recordings/{recording}/keep", keep, methods=["POST"]),
    Route("/recordings/{recording}/read", read_again, methods=["POST"]),
    Route("/recordings/{recording}/observed", observe, methods=["POST"]),
    Route("/recordings/{recording}/erase", erase, methods=["POST"]),
]
