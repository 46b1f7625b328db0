"""The learner's rooms: own readings over time, the bench, and the bench's acts (docs/bench-format.md)."""

from __future__ import annotations

import json
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from hushpoint.desk import bench
from hushpoint.errors import AlreadyDoneError, BadInputError, HushpointError, NotAllowedError, NotFoundError
from hushpoint.web.session import Learner, learner_of, ledger_of, page

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from starlette.requests import Request

LARGEST_BODY = 2_000_000
"""Bytes of one act: a log of 30 000 samples takes about 500 000."""
TREND_MMHG = 20
"""The picture of the ear's errors runs from minus to plus this; what lies beyond is drawn at its edge."""
TREND_LONGEST = 40
"""How many of the newest readings the picture shows."""

_STATUS: tuple[tuple[type[HushpointError], HTTPStatus], ...] = (
    (NotAllowedError, HTTPStatus.FORBIDDEN),
    (NotFoundError, HTTPStatus.NOT_FOUND),
    (AlreadyDoneError, HTTPStatus.CONFLICT),
    (BadInputError, HTTPStatus.UNPROCESSABLE_ENTITY),
)


async def home(request: Request) -> Response:
    """Show the learner's own readings over time, newest first, with the resting pulse as counted."""
    who = _learner(request).who
    readings = await run_in_threadpool(bench.own_readings, ledger_of(request), who)
    lines = [_line(one) for one in readings]
    context = {"lines": lines[::-1], "trend": _trend(lines[-TREND_LONGEST:])}
    return page(request, "practise.html", context)


async def bench_page(request: Request) -> Response:
    """Show the bench."""
    _learner(request)
    return page(request, "practise_bench.html", {})


async def begin(request: Request) -> Response:
    """Begin a measurement (act 1)."""
    learner = _learner(request)
    asked = await _body(request)
    again = asked.get("again")
    if again is not None and not isinstance(again, str):
        raise BadInputError("again: must be the id of an earlier measurement, or null")
    begun = await run_in_threadpool(
        bench.begin,
        ledger_of(request),
        who=learner.who,
        ref=asked.get("ref", ""),
        room=learner.room,
        guided=asked.get("guided") is True,
        again=again,
        policy_id=learner.policy_id,
    )
    return JSONResponse(begun.to_json(), HTTPStatus.CREATED)


async def set_up(request: Request) -> Response:
    """Store the set-up and answer with the arm table (act 2)."""
    asked = await _body(request)
    table = await run_in_threadpool(
        bench.set_up, ledger_of(request), **_mine(request), choices=asked.get("choices")
    )
    return JSONResponse(table)


async def file_log(request: Request) -> Response:
    """Store a finished measurement and have it graded once the answer is out (act 3)."""
    mine, ledger = _mine(request), ledger_of(request)
    filed = await run_in_threadpool(bench.file_log, ledger, **mine, log=await _body(request))
    status = HTTPStatus.OK if filed.again else HTTPStatus.CREATED
    task = BackgroundTask(bench.grade, ledger, mine["measurement"])
    return JSONResponse({"stored": filed.seq}, status, background=task)


async def judgement(request: Request) -> Response:
    """Answer with the judgement, or 202 while it is being graded (act 4)."""
    judged = await run_in_threadpool(bench.judgement, ledger_of(request), **_mine(request))
    if judged is None:
        return JSONResponse({"grading": True}, HTTPStatus.ACCEPTED)
    return JSONResponse(judged)


async def correction(request: Request) -> Response:
    """Store a correction beside the reading (act 5)."""
    asked = await _body(request)
    seq = await run_in_threadpool(
        bench.correct_reading,
        ledger_of(request),
        **_mine(request),
        reading=asked.get("reading"),
        why=asked.get("why"),
    )
    return JSONResponse({"stored": seq}, HTTPStatus.CREATED)


def _act(answer: Callable[[Request], Awaitable[Response]]) -> Callable[[Request], Awaitable[Response]]:
    """Turn a refusal into one line of JSON with its status."""

    async def answered(request: Request) -> Response:
        try:
            return await answer(request)
        except HushpointError as refusal:
            for kind, status in _STATUS:
                if isinstance(refusal, kind):
                    return JSONResponse({"error": str(refusal)}, status)
            raise

    return answered


def _learner(request: Request) -> Learner:
    learner = learner_of(request)
    if learner is None:
        raise NotAllowedError("join a class or practise alone first, then come back to the bench")
    return learner


def _mine(request: Request) -> dict[str, str]:
    return {"who": _learner(request).who, "measurement": str(request.path_params["measurement"])}


async def _body(request: Request) -> dict[str, Any]:
    raw = bytearray()
    async for part in request.stream():
        raw += part
        if len(raw) > LARGEST_BODY:
            raise BadInputError(f"body: must have at most {LARGEST_BODY} bytes")
    try:
        body = json.loads(raw)
    except (ValueError, RecursionError) as error:
        raise BadInputError("body: must be one JSON object") from error
    if not isinstance(body, dict):
        raise BadInputError("body: must be one JSON object")
    return body


def _line(one: bench.OwnReading) -> dict[str, Any]:
    """Return one reading for the home page."""
    ear = one.judgement["ear"] if one.judgement else {}
    return {
        "measurement": one.measurement,
        "at": one.at[:16].replace("T", " "),
        "person": one.case_number,
        "guided": one.guided,
        "written": _pair(one.reading),
        "corrected": _pair(one.corrected) if one.corrected else None,
        "judged": one.judgement is not None,
        "systolic_error_mmhg": ear.get("systolic_error_mmhg"),
        "diastolic_error_mmhg": ear.get("diastolic_error_mmhg"),
        "pulse_per_min": one.pulse_per_min,
    }


def _pair(reading: dict[str, int | None]) -> str:
    written = ["not heard" if reading[end] is None else str(reading[end]) for end in ("systolic", "diastolic")]
    return " / ".join(written)


def _trend(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return marks of the ear's errors over readings: x and y from 0 to 1, y downwards."""
    marks = []
    for place, line in enumerate(lines):
        for end in ("systolic", "diastolic"):
            error = line[f"{end}_error_mmhg"]
            if error is not None:
                held = max(-TREND_MMHG, min(TREND_MMHG, error))
                x = place / max(1, len(lines) - 1)
                marks.append({"end": end, "x": x, "y": 0.5 - held / (2 * TREND_MMHG), "error": error})
    return marks


routes = [
    Route("/practise", home),
    Route("/practise/bench", bench_page),
    Route("/practise/measurements", _act(begin), methods=["POST"]),
    Route("/practise/measurements/{measurement}/set-up", _act(set_up), methods=["POST"]),
    Route("/practise/measurements/{measurement}/log", _act(file_log), methods=["POST"]),
    Route("/practise/measurements/{measurement}/judgement", _act(judgement)),
    Route("/practise/measurements/{measurement}/correction", _act(correction), methods=["POST"]),
]
