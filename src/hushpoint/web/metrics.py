"""How busy the app is, as numbers that a monitoring system collects: nothing about anybody, no address, no path."""

from __future__ import annotations

import secrets
import time
from datetime import datetime

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from hushpoint.ledger.scheduled import state_of
from hushpoint.web.context import context_of, lecturer_only, off_loop

_METHODS = frozenset({"GET", "HEAD", "POST"})


class Metrics:
    """The numbers of one app."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self.answers = Counter(
            "hushpoint_answers", "Answers by method and status.", ["method", "status"], registry=self.registry
        )
        self.seconds = Histogram(
            "hushpoint_answer_seconds", "Time until an answer began [s], streams included.", registry=self.registry
        )
        self.backup_well = Gauge(
            "hushpoint_backup_well",
            "Whether the last backup is good and not too old.",
            registry=self.registry,
        )
        self.backup_age = Gauge(
            "hushpoint_backup_age_seconds", "Age of the last good backup [s]; -1: none.", registry=self.registry
        )
        self.open = Gauge("hushpoint_open_requests", "Requests open now, streams included.", registry=self.registry)


class Counted:
    """Counts each answer as it begins; pure ASGI, so that streams pass through."""

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self._app, self._metrics = app, metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        begun = time.perf_counter()

        async def counted(message: Message) -> None:
            if message["type"] == "http.response.start":
                method = scope["method"] if scope["method"] in _METHODS else "other"
                self._metrics.answers.labels(method, message["status"]).inc()
                self._metrics.seconds.observe(time.perf_counter() - begun)
            await send(message)

        with self._metrics.open.track_inprogress():
            await self._app(scope, receive, counted)


async def shown(request: Request) -> Response:
    """Show the numbers to the lecturer, and to a collector that carries the token; where it sits proves nothing."""
    context = context_of(request)
    token = context.metrics_token
    carried = request.headers.get("authorization", "").removeprefix("Bearer ").encode()
    if not token or not secrets.compare_digest(carried, token.encode()):
        await off_loop(lambda: lecturer_only(request))
    metrics: Metrics = request.app.state.metrics
    state, now = await off_loop(lambda: state_of(context.ledger)), context.clock()
    metrics.backup_well.set(state is not None and not state.trouble(now))
    good = datetime.fromisoformat(state.good_at) if state and state.good_at else None
    metrics.backup_age.set((now - good).total_seconds() if good else -1)
    return Response(generate_latest(metrics.registry), media_type=CONTENT_TYPE_LATEST)


routes = [Route("/metrics", shown)]
