"""The learner's rooms: own readings over time, the bench, and the bench's acts (docs/bench-format.md)."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from hushpoint.desk import bench, classes, path, results
from hushpoint.desk.decisions import OUTCOMES
from hushpoint.errors import BadInputError, NotAllowedError
from hushpoint.guideline import default_policy_id
from hushpoint.practice.next_person import WORDS
from hushpoint.web.context import Learner, context_of, known_learner, page
from hushpoint.web.forms import read_json

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

    from hushpoint.ledger.records import Ledger

DOOR = "/"
"""Where those who have not joined are sent."""
TREND_MMHG = 20
"""The picture of the ear's errors runs from minus to plus this; what lies beyond is drawn at its edge."""
TREND_LONGEST = 40
"""How many of the newest readings the picture shows."""


async def home(request: Request) -> Response:
    """Show the learner's own readings over time, newest first, with the resting pulse as counted."""
    learner = await run_in_threadpool(known_learner, request)
    if learner is None:
        return RedirectResponse(DOOR, HTTPStatus.SEE_OTHER)
    readings = await run_in_threadpool(bench.own_readings, context_of(request).ledger, learner.who)
    now = path.local_now()
    held = path.held_back(readings, now)
    lines = [_line(one, held) for one in readings]
    values = {
        "lines": lines[::-1],
        "trend": _trend(lines[-TREND_LONGEST:]),
        "today": path.set_of_today(readings, now),
    }
    return page(request, "practise.html", values)


async def own_results(request: Request) -> Response:
    """Show the learner what improved, what to do next and the evidence so far."""
    learner = await run_in_threadpool(known_learner, request)
    if learner is None:
        return RedirectResponse(DOOR, HTTPStatus.SEE_OTHER)
    ledger, now = context_of(request).ledger, path.local_now()
    found = await run_in_threadpool(results.results_of, ledger, room=learner.room, who=learner.who, now=now)
    values = {"found": found, "words": WORDS, "outcomes": OUTCOMES, "own": True, "back": "/practise"}
    return page(request, "results.html", values)


async def bench_page(request: Request) -> Response:
    """Show the bench."""
    if await run_in_threadpool(known_learner, request) is None:
        return RedirectResponse(DOOR, HTTPStatus.SEE_OTHER)
    return page(request, "practise_bench.html")


async def begin(request: Request) -> Response:
    """Begin a measurement (act 1), by the policy of the learner's class."""
    learner = await _learner(request)
    return await run_in_threadpool(_begin, context_of(request).ledger, learner, await read_json(request))


async def set_up(request: Request) -> Response:
    """Store the set-up and answer with the arm table (act 2)."""
    mine = await _mine(request)
    asked = await read_json(request)
    wanted = {"choices": asked.get("choices"), "profile_id": asked.get("profile", "headphones")}
    return JSONResponse(await run_in_threadpool(bench.set_up, **mine, **wanted))


async def file_log(request: Request) -> Response:
    """Store a finished measurement durably, then wake the grader (act 3)."""
    mine = await _mine(request)
    filed = await run_in_threadpool(bench.file_log, **mine, log=await read_json(request))
    context_of(request).grade_soon(mine["measurement"])
    return JSONResponse({"stored": filed.seq}, HTTPStatus.OK if filed.again else HTTPStatus.CREATED)


async def judgement(request: Request) -> Response:
    """Answer with the judgement, or 202 while it is being graded or held back to the end of a set (act 4)."""
    mine = await _mine(request)
    judged = await run_in_threadpool(bench.judgement, **mine)
    readings = await run_in_threadpool(bench.own_readings, mine["ledger"], mine["who"])
    left = path.held_back(readings, path.local_now()).get(mine["measurement"])
    if left is not None:
        return JSONResponse({"held": left}, HTTPStatus.ACCEPTED)
    if judged is None:
        return JSONResponse({"grading": True}, HTTPStatus.ACCEPTED)
    return JSONResponse(judged)


async def correction(request: Request) -> Response:
    """Store a correction beside the reading (act 5)."""
    mine = await _mine(request)
    asked = await read_json(request)
    seq = await run_in_threadpool(bench.correct_reading, **mine, reading=asked.get("reading"), why=asked.get("why"))
    return JSONResponse({"stored": seq}, HTTPStatus.CREATED)


def _begin(ledger: Ledger, learner: Learner, asked: dict[str, Any]) -> Response:
    again = asked.get("again")
    if again is not None and not isinstance(again, str):
        raise BadInputError("again: must be the id of an earlier measurement, or null")
    policy_id = classes.find_class(ledger, learner.room).policy_id if learner.room else default_policy_id
    if asked.get("next") is True:
        ref = asked.get("ref", "")
        begun = path.begin_next(ledger, who=learner.who, ref=ref, room=learner.room, policy_id=policy_id)
        return JSONResponse(begun.to_json(), HTTPStatus.CREATED)
    begun = bench.begin(
        ledger,
        who=learner.who,
        ref=asked.get("ref", ""),
        room=learner.room,
        guided=asked.get("guided") is True,
        again=again,
        policy_id=policy_id,
    )
    return JSONResponse(begun.to_json(), HTTPStatus.CREATED)


async def _learner(request: Request) -> Learner:
    learner = await run_in_threadpool(known_learner, request)
    if learner is None:
        raise NotAllowedError("nobody has joined on this device: join a class or practise alone first")
    return learner


async def _mine(request: Request) -> dict[str, Any]:
    """Return what every act on a measurement needs: the ledger, who asks, and which measurement."""
    who = (await _learner(request)).who
    return {"ledger": context_of(request).ledger, "who": who, "measurement": request.path_params["measurement"]}


def _line(one: bench.OwnReading, held: Mapping[str, int]) -> dict[str, Any]:
    """Return one reading for the home page, without what is held back to the end of a set."""
    ear = one.judgement["ear"] if one.judgement and one.measurement not in held else {}
    return {
        "measurement": one.measurement,
        "at": one.at,
        "person": one.case_number,
        "guided": one.guided,
        "reading": one.reading,
        "corrected": one.corrected,
        "judged": one.judgement is not None,
        "held": held.get(one.measurement),
        "why": one.chosen["why"] if one.chosen and one.measurement not in held else "",
        "systolic_error_mmhg": ear.get("systolic_error_mmhg"),
        "diastolic_error_mmhg": ear.get("diastolic_error_mmhg"),
        "pulse_per_min": one.pulse_per_min,
    }


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
    Route("/practise/results", own_results),
    Route("/practise/bench", bench_page),
    Route("/practise/measurements", begin, methods=["POST"]),
    Route("/practise/measurements/{measurement}/set-up", set_up, methods=["POST"]),
    Route("/practise/measurements/{measurement}/log", file_log, methods=["POST"]),
    Route("/practise/measurements/{measurement}/judgement", judgement),
    Route("/practise/measurements/{measurement}/correction", correction, methods=["POST"]),
]
