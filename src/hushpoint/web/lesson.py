"""The lesson on a big screen: an arm heard and seen, questions to the class, and what a target misses."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from hushpoint.desk import classes, lesson
from hushpoint.errors import BadInputError
from hushpoint.practice.profiles import PROFILES
from hushpoint.web.context import context_of, lecturer_only, off_loop, page


async def lesson_page(request: Request) -> Response:
    """Show the lesson: no names, fit for a projector."""
    lecturer_only(request)
    ledger, code = context_of(request).ledger, request.path_params["code"]
    info = await off_loop(lambda: classes.find_class(ledger, code))
    shown, profile = _shown(request), _profile(request)
    answers = await off_loop(
        lambda: {what: f"It is {lesson.question(what, shown.seed)[1]}" for what in lesson.QUESTIONS}
    )
    values = {
        "info": info,
        "shown": shown,
        "profile": profile,
        "picture": await off_loop(lambda: lesson.picture(shown)),
        "missed": await off_loop(lambda: lesson.missed(shown)),
        "answers": answers,
        "persons": lesson.PERSONS,
        "speeds": lesson.SPEEDS,
        "targets": lesson.TARGETS,
        "questions": lesson.QUESTIONS,
        "phases": lesson.PHASE_WORDS,
        "profiles": PROFILES,
        "width": lesson.WIDTH,
        "height": lesson.HEIGHT,
    }
    return page(request, "lesson.html", values)


async def sound(request: Request) -> Response:
    """Answer with the release, or with a question's short sound, as WAV."""
    lecturer_only(request)
    ledger, code = context_of(request).ledger, request.path_params["code"]
    await off_loop(lambda: classes.find_class(ledger, code))
    shown, profile, what = _shown(request), _profile(request), request.query_params.get("question", "")
    if what:
        made = await off_loop(lambda: lesson.question(what, shown.seed, profile)[0])
    else:
        made = await off_loop(lambda: lesson.sound(shown, profile))
    return Response(made, media_type="audio/wav")


def _shown(request: Request) -> lesson.Shown:
    asked = request.query_params
    seed = asked.get("seed", "1")
    if not (seed.isascii() and seed.isdigit() and len(seed) <= 10):
        raise BadInputError(f"seed: must be 0 to {lesson.MOST_SEED}")
    usual = lesson.Shown()
    return lesson.Shown(
        asked.get("person", usual.person), asked.get("speed", usual.speed), asked.get("target", usual.target), int(seed)
    )


def _profile(request: Request) -> str:
    return request.query_params.get("for", "headphones")


routes = [
    Route("/class/{code}/lesson", lesson_page),
    Route("/class/{code}/lesson/sound.wav", sound),
]
