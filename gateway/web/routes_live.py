"""What is watched by machines and open pages: changes as they happen, whether the gateway lives, metrics."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import Depends, FastAPI
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from gateway import __version__
from gateway.errors import GatewayError
from gateway.web import metrics
from gateway.web.asking import Web, require
from gateway.web.given import Account

EACH_S, BEAT_S = 2.0, 15.0
MOST_LISTENERS = 100


class Pulse:
    """One look at the gateway's place for all open pages: it wakes them when something changed."""

    def __init__(self, web: Web) -> None:
        self._web = web
        self._changed = asyncio.Event()
        self._looking: asyncio.Task[None] | None = None
        self._stopped = False
        self.listeners = 0
        self.place = (0, 0)

    async def _look(self) -> None:
        while self.listeners and not self._stopped:
            place = self._web.given.place()
            if place != self.place:
                self.place = place
                self._wake()
            await asyncio.sleep(EACH_S)
        self._looking = None

    def _wake(self) -> None:
        changed, self._changed = self._changed, asyncio.Event()
        changed.set()

    def stop(self) -> None:
        """Let all open pages go: the server stops. On the loop's thread."""
        self._stopped = True
        self._wake()

    async def listen(self, session: str | None) -> AsyncIterator[bytes]:
        """The events of one open page, until its session ends."""
        self.listeners += 1
        if self._looking is None:
            self._looking = asyncio.get_running_loop().create_task(self._look())
        try:
            yield b"retry: 3000\n\n"
            while not self._stopped and (session is None or self._web.accounts.lasts(session)):
                try:
                    async with asyncio.timeout(BEAT_S):
                        await self._changed.wait()
                except TimeoutError:
                    yield b": still here\n\n"
                else:
                    body = json.dumps({"journal": self.place[0], "judged": self.place[1]})
                    yield f"event: changed\nid: {self.place[1]}\ndata: {body}\n\n".encode()
        finally:
            self.listeners -= 1


def add_live(app: FastAPI, web: Web) -> Pulse:
    """Let the application serve them; what wakes open pages."""
    pulse = Pulse(web)

    async def live(request: Request) -> Response:
        account = web.account(request)
        if account is None:
            return PlainTextResponse("Log in.", 401)
        if pulse.listeners >= MOST_LISTENERS:
            return PlainTextResponse("Too many open pages.", 503, {"Retry-After": "30"})
        session = None if "authorization" in request.headers else web.session(request)
        heads = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
        return StreamingResponse(pulse.listen(session), media_type="text/event-stream", headers=heads)

    def alive(request: Request) -> Response:
        return PlainTextResponse("alive\n")

    def ready(request: Request) -> Response:
        try:
            web.given.ask(lambda state: state.at_ms)
        except GatewayError:
            return PlainTextResponse("not ready\n", 503)
        still = web.given.facts().get("still")
        return PlainTextResponse("not ready\n" if still else "ready\n", 503 if still else 200)

    app.router.routes += [
        Route("/live", live, methods=["GET"]),
        Route("/health/live", alive, methods=["GET"]),
        Route("/health/ready", ready, methods=["GET"]),
    ]

    @app.get("/metrics", include_in_schema=False)
    def figures(_: Annotated[Account, Depends(require())]) -> Response:
        text = metrics.text(web.given, __version__, pulse.listeners)
        return Response(text, media_type=metrics.TYPE)

    return pulse
