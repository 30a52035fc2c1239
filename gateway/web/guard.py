"""What holds for every request and answer: bounds, where a form came from, and what a browser may do."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

from gateway.web import entry

log = logging.getLogger(__name__)

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

MOST_BODY = 64 * 1024
MOST_TARGET = 2048
_UNSAFE = ("POST", "PUT", "PATCH", "DELETE")
#: No style and no script but from files of ours; nobody may put a page of ours into theirs.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_ALWAYS = [
    (b"content-security-policy", POLICY.encode()),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=(), payment=()"),
]
_HSTS = (b"strict-transport-security", b"max-age=31536000")


class TooMuch(Exception):
    """A body that is too long or comes too slowly, and the status that says so."""

    def __init__(self, words: str, status: int = 413) -> None:
        super().__init__(words)
        self.status = status


class Guard:
    """Stands before the application."""

    def __init__(self, app: App, body_s: float) -> None:
        self._app, self._body_s = app, body_s

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        reply = _Reply(scope, send)
        why = refused(scope) or await self._asked(scope, _Bounded(receive, self._body_s), reply)
        if why and not reply.began:
            await _say(reply, scope, *why)

    async def _asked(self, scope: Message, body: _Bounded, reply: _Reply) -> tuple[int, str] | None:
        """Let the application answer; status and words where it did not."""

        async def answer(message: Message) -> None:
            # The framework takes what reading the body raises for a fault of its text: what it says of it
            # is left out, and what was wrong is said instead.
            if body.fault is None or reply.began:
                await reply(message)

        try:
            await self._app(_as_get(scope), body, answer)
        except TooMuch:
            pass  # as `body.fault` says
        except Exception:
            log.exception("a request failed: %s", _clean(scope))
            return 500, "Something is wrong with the page. It was written to the log."
        return (body.fault.status, str(body.fault)) if body.fault else None


class _Reply:
    """What goes out, with what holds for every answer."""

    def __init__(self, scope: Message, send: Send) -> None:
        self._scope, self._send, self.began = scope, send, False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.began = True
            message["headers"] = [*message.get("headers", []), *_told(self._scope, message)]
        await self._send(message)


def _as_get(scope: Message) -> Message:
    """Whoever asks for the head alone is given what GET gives (RFC 9110, 9.3.2); the server sends no body.
    Pages' own routes do so themselves; those of the interface know GET only."""
    if scope["method"] != "HEAD" or not scope["path"].startswith(("/api/", "/metrics")):
        return scope
    return {**scope, "method": "GET"}


def _told(scope: Message, message: Message) -> list[tuple[bytes, bytes]]:
    there = {key.lower() for key, _ in message.get("headers", [])}
    more = list(_ALWAYS)
    if scope.get("scheme") == "https":
        more.append(_HSTS)
    if b"cache-control" not in there:
        more.append((b"cache-control", b"no-store"))
    return more


def refused(scope: Message) -> tuple[int, str] | None:
    """Status and words for a request that goes no further."""
    if len(scope.get("raw_path") or b"") + len(scope.get("query_string", b"")) > MOST_TARGET:
        return 414, "The address is too long."
    heads: dict[bytes, bytes] = dict(scope["headers"])
    length = heads.get(b"content-length", b"0")
    if not length.isdigit() or int(length[:12]) > MOST_BODY:
        return 413, f"More than {MOST_BODY // 1024} kB."
    if scope["method"] in _UNSAFE and b"authorization" not in heads and _is_elsewhere(heads):
        return 403, "The form was sent from another page than ours."
    return None


def _is_elsewhere(heads: dict[bytes, bytes]) -> bool:
    """OWASP's Cross-Site Request Forgery Prevention Cheat Sheet: Fetch Metadata, Origin where it is missing.
    What sends neither is no browser; its form still needs the session's token."""
    site = heads.get(b"sec-fetch-site")
    if site is not None:
        return site not in (b"same-origin", b"none")
    origin = heads.get(b"origin")
    if origin is None:
        return False
    return urlsplit(origin.decode("latin-1")).netloc != heads.get(b"host", b"").decode("latin-1")


class _Bounded:
    """A body of a bounded length, in a bounded time; once it is there, waiting for the end may take long."""

    def __init__(self, receive: Receive, body_s: float) -> None:
        self._receive, self._body_s, self._taken, self._whole = receive, body_s, 0, False
        self.fault: TooMuch | None = None

    async def __call__(self) -> Message:
        if self._whole:
            return await self._receive()
        try:
            async with asyncio.timeout(self._body_s):
                message = await self._receive()
        except TimeoutError:
            raise self._over("It came too slowly.", 408) from None
        self._taken += len(message.get("body", b""))
        if self._taken > MOST_BODY:
            raise self._over(f"More than {MOST_BODY // 1024} kB.", 413)
        self._whole = not message.get("more_body", False)
        return message

    def _over(self, words: str, status: int) -> TooMuch:
        self.fault = TooMuch(words, status)
        return self.fault


def _clean(scope: Message) -> str:
    """Method and path without anything that could break a line of the log, or let somebody in."""
    path = "/in/…" if scope["path"].startswith("/in/") else scope["path"][:200]
    return ascii(f"{scope['method']} {path}")


def problem(status: int, title: str, **more: Any) -> dict[str, Any]:
    """A body of RFC 9457."""
    return {"type": "about:blank", "title": title, "status": status, **more}


async def _say(send: Send, scope: Message, status: int, words: str) -> None:
    kind, text = b"text/plain; charset=utf-8", words
    if scope["path"].startswith("/api/"):
        kind, text = b"application/problem+json", json.dumps(problem(status, words))
    elif b"text/html" in dict(scope["headers"]).get(b"accept", b""):
        kind, text = (
            b"text/html; charset=utf-8",
            entry.html("fault", "Gateway", fault=words, ours=status >= 500),
        )
    body = text.encode()
    heads = [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": heads})
    await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else body})
