"""What is watched by machines and open pages: changes as they happen, whether the gateway lives, metrics."""

from __future__ import annotations

import asyncio
import json
from collections import Counter
from collections.abc import AsyncIterator, Callable
from typing import Annotated

from fastapi import Depends, FastAPI
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from gateway import __version__
from gateway.errors import GatewayError
from gateway.web import metrics
from gateway.web.asking import Web, require
from gateway.web.bounds import Bounds
from gateway.web.given import Account
from gateway.web.secret import digest

TYPE = "text/event-stream"


class Pulse:
    """One look at the gateway for all open pages: it wakes them when something changed."""

    def __init__(self, web: Web, bounds: Bounds) -> None:
        self._web, self._bounds = web, bounds
        self._changed = asyncio.Event()
        self._looking: asyncio.Task[None] | None = None
        self._stopped = False
        self._each: Counter[str] = Counter()
        self._news, self._ended, self._told_s = -1, 0, 0.0
        self.place = (0, 0)

    @property
    def listeners(self) -> int:
        """How many pages listen."""
        return self._each.total()

    @property
    def mark(self) -> str:
        """The id of the newest event."""
        return f"{self.place[0]}.{self._news}"

    async def _look(self) -> None:
        try:
            while self._each and not self._stopped:
                self._see()
                await asyncio.sleep(self._bounds.each_s)
        finally:
            self._looking = None

    def _see(self) -> None:
        """Wake those who listen if there is news, readings again, or a session that has ended."""
        given, now_s = self._web.given, asyncio.get_running_loop().time()
        # Sessions and news first: what ends or comes while the place is read is seen the next time.
        ended, news, place = self._web.accounts.ended, given.news(), given.place()
        again = place != self.place and now_s - self._told_s >= self._bounds.readings_s
        if news != self._news or again:
            self._news, self.place, self._told_s = news, place, now_s
            self._wake()
        elif ended != self._ended:
            self._wake()
        self._ended = ended

    def _wake(self) -> None:
        changed, self._changed = self._changed, asyncio.Event()
        changed.set()

    def stop(self) -> None:
        """Let all open pages go: the server stops. On the loop's thread."""
        self._stopped = True
        self._wake()

    def full(self, whose: str) -> str | None:
        """Why that browser or program may not listen, too; None if it may."""
        if self._each[whose] >= self._bounds.of_one:
            return "Too many open pages of yours."
        return "Too many open pages." if self.listeners >= self._bounds.listeners else None

    async def listen(self, whose: str, lasts: Callable[[], bool], last: str | None) -> AsyncIterator[bytes]:
        """The events of one open page, as long as it may look; `last` is what it was told before it lost
        its connection. Whoever reads slowly is told the newest once it reads again, and nothing between."""
        self._each[whose] += 1
        try:
            if self._looking is None:
                self._see()
                self._looking = asyncio.get_running_loop().create_task(self._look())
            told = last or self.mark
            yield b"retry: 3000\n\n"
            while not self._stopped and lasts():
                if told != self.mark:
                    told = self.mark
                    body = json.dumps({"journal": self.place[0], "judged": self.place[1]})
                    yield f"event: changed\nid: {told}\ndata: {body}\n\n".encode()
                    continue
                try:
                    async with asyncio.timeout(self._bounds.beat_s):
                        await self._changed.wait()
                except TimeoutError:
                    yield b": still here\n\n"
        finally:
            self._each[whose] -= 1
            self._each += Counter()  # only those that are there


def add_live(app: FastAPI, web: Web, bounds: Bounds) -> Pulse:
    """Let the application serve them; what wakes open pages."""
    pulse = Pulse(web, bounds)

    async def live(request: Request) -> Response:
        if web.account(request) is None:
            return PlainTextResponse("Log in.", 401)
        whose, lasts = _holder(web, request)
        full = pulse.full(whose)
        if full:
            return PlainTextResponse(full, 503, {"Retry-After": "30"})
        heads = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
        if request.method == "HEAD":
            return Response(media_type=TYPE, headers=heads)
        events = pulse.listen(whose, lasts, request.headers.get("last-event-id"))
        return StreamingResponse(events, media_type=TYPE, headers=heads)

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


def _holder(web: Web, request: Request) -> tuple[str, Callable[[], bool]]:
    """The session or token that lets somebody listen, as a digest, and whether it still holds; asking
    does not prolong a session."""
    token = request.headers.get("authorization", "").partition(" ")[2].strip()
    if token:
        return digest(token), lambda: web.tokens.of(token) is not None
    session = web.session(request) or ""
    return digest(session), lambda: web.accounts.lasts(session)
