"""The device check: first sound, the faintest sound, the delay; private, and kept on the device alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from hushpoint.desk import device
from hushpoint.practice.profiles import PROFILES
from hushpoint.web.context import context_of, give_cookie, off_loop, page
from hushpoint.web.forms import read_json

DEVICE_COOKIE = "hushpoint_device"
DEVICE_S = 30 * 24 * 3600
"""A check counts for a month: earphones and volume change (design choice)."""


@dataclass(frozen=True, slots=True)
class Device:
    """A device that was checked: how it is listened with, and the day of the check (UTC)."""

    profile: str
    checked_on: str

    @property
    def sign_off(self) -> bool:
        """Whether what is heard on it may count."""
        return PROFILES[self.profile].sign_off  # type: ignore[index]


def device_of(request: Request) -> Device | None:
    """Return the check made on this device, None where there is none or it is too old."""
    found = context_of(request).signed(request.cookies.get(DEVICE_COOKIE), DEVICE_S)
    if found is None or found.get("profile") not in PROFILES:
        return None
    return Device(found["profile"], found.get("on", ""))


async def check_page(request: Request) -> Response:
    """Show the device check."""
    values = {"profiles": list(PROFILES.values()), "device": device_of(request)}
    return page(request, "check.html", values)


async def tap_sound(request: Request) -> Response:
    """Answer with one cuff sound of a profile."""
    profile = request.query_params.get("for", "headphones")
    made = await off_loop(lambda: device.tap_sound(profile, request.path_params["phase"]))
    return Response(made, media_type="audio/wav")


async def step(request: Request) -> Response:
    """Answer with the next level of a run, or its end; a device that carries the sounds keeps a signed cookie."""
    asked = await read_json(request)
    profile = asked.get("profile")
    profile_id = profile if isinstance(profile, str) else ""
    found = await off_loop(lambda: device.step(profile_id, asked.get("answers")))
    if isinstance(found, device.NextTap):
        return JSONResponse({"level_db": found.level_db, "taps": found.taps})
    answer = JSONResponse(
        {"done": True, "carries": found.carries, "level_db": found.level_db, "words": found.words,
         "sign_off": found.sign_off}
    )  # fmt: skip
    if found.carries:
        today = datetime.now(UTC).date().isoformat()
        give_cookie(request, answer, DEVICE_COOKIE, {"profile": profile_id, "on": today}, DEVICE_S)
    return answer


routes = [
    Route("/practise/check", check_page),
    Route("/practise/check/sound/{phase}.wav", tap_sound),
    Route("/practise/check/step", step, methods=["POST"]),
]
