"""The page joined to the running gateway: what it is given, its server's thread, and its first link."""

from __future__ import annotations

import errno
import gc
import logging
import socket
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

from gateway.core.site import Site
from gateway.core.state import State
from gateway.edges.clock import real_mono_ms, real_wall_ms
from gateway.edges.sqlite import Writer, open_reader
from gateway.errors import GatewayError, NoAnswer, SettingsFault
from gateway.live.people import People
from gateway.live.push import Pushes
from gateway.live.requests import Requests
from gateway.pipeline import Pipeline
from gateway.ports import Clock, Reader, WebLine
from gateway.settings.web import WebSettings

log = logging.getLogger(__name__)

T = TypeVar("T")

#: What is the matter with an address to listen at, in words.
_NO_PORT = {
    errno.EADDRINUSE: "another program listens there already; expected a port of its own",
    errno.EADDRNOTAVAIL: "this machine has no such address; expected one of its own, or 127.0.0.1",
    errno.EACCES: "this user may not listen there; expected a port from 1024 on",
}
ASK_S = 5.0
FLUSH_S = 60.0


class Asked(NamedTuple):
    """What the page asks, besides the store."""

    pipeline: Pipeline
    requests: Requests
    people: People
    clock: Clock
    facts: Callable[[], dict[str, Any]]
    phones: Pushes


class Given:
    """`gateway.web.given.Running` over the running gateway."""

    def __init__(self, asked: Asked, reader: Reader) -> None:
        self._pipeline, self._requests, self._people, self._clock, self._facts = asked[:5]
        self._reader = reader

    def site(self) -> Site:
        """As `gateway.web.given.Given.site`."""
        return self._people.site()

    def now_ms(self) -> int:
        """As `gateway.web.given.Given.now_ms`."""
        return self._clock.wall_ms()

    def real_ms(self) -> int:
        """As `gateway.web.given.Given.real_ms`."""
        return real_wall_ms()

    def ask(self, view: Callable[[State], T]) -> T:
        """As `gateway.web.given.Given.ask`; what a view raises is raised here, not in the writer."""

        def guarded() -> tuple[T | None, Exception | None]:
            try:
                return self._pipeline.look(view), None
            except GatewayError:
                raise
            except Exception as fault:  # noqa: BLE001 - raised again where it was asked
                return None, fault

        seen, fault = self._requests.do(guarded, ASK_S)
        if fault is not None:
            raise fault
        return seen  # type: ignore[return-value] # without a fault it is what the view made

    def reader(self) -> Reader:
        """As `gateway.web.given.Given.reader`."""
        return self._reader

    def record(self, word: str, body: dict[str, Any]) -> int:
        """As `gateway.web.given.Given.record`."""
        said = self._people.control({**body, "kind": word})
        if "journal" in said:
            return int(said["journal"])
        if said.get("again"):
            raise NoAnswer(str(said.get("fault")))
        raise ValueError(str(said.get("fault")))

    def facts(self) -> dict[str, Any]:
        """As `gateway.web.given.Given.facts`."""
        return self._facts()

    def place(self) -> tuple[int, int]:
        """As `gateway.web.given.Running.place`."""
        return self._pipeline.place

    def news(self) -> int:
        """As `gateway.web.given.Running.news`."""
        return self._pipeline.news


class Keep:
    """`gateway.web.keep.Keep`: written on the writer's thread."""

    def __init__(self, writer: Writer, reader: Any, requests: Requests) -> None:
        self._writer, self._reader, self._requests = writer, reader, requests

    def lines(self) -> list[WebLine]:
        """As `gateway.web.keep.Keep.lines`."""
        found: list[WebLine] = self._reader.web_lines()
        return found

    def put(self, kind: str, key: str, ends_ms: int | None, body: dict[str, Any]) -> None:
        """As `gateway.web.keep.Keep.put`."""

        def work() -> None:
            with self._writer.atomic():
                self._writer.put_web(kind, key, ends_ms, body)

        self._requests.do(work)

    def drop(self, kind: str, key: str) -> bool:
        """As `gateway.web.keep.Keep.drop`."""

        def work() -> bool:
            with self._writer.atomic():
                return self._writer.drop_web(kind, key)

        return self._requests.do(work)


class Page:
    """No page: where the site file has no [web]."""

    url: str | None = None

    @staticmethod
    def of(settings: WebSettings | None, store: Path, writer: Writer, asked: Asked) -> Page:
        """The page that a site file asks for. Raises SettingsFault where it cannot listen there."""
        return Served(settings, store, writer, asked) if settings else Page()

    def start(self) -> None:
        """Begin; the writer must run."""

    def stop(self) -> None:
        """Serve nobody any more; before the writer ends."""

    def asked(self, request: dict[str, Any]) -> dict[str, Any]:
        """A request of the control socket about accounts, links and tokens: {"said": lines} or {"fault"}."""
        return {"fault": "the site file has no [web]: there is no page, and nobody logs in"}


class Served(Page):
    """The server in a thread of its own."""

    def __init__(self, settings: WebSettings, store: Path, writer: Writer, asked: Asked) -> None:
        self._settings, self._writer, self._requests = settings, writer, asked.requests
        self._reader = open_reader(store)
        self._given, self._phones = Given(asked, self._reader), asked.phones
        self._stopping, self._ready = threading.Event(), threading.Event()
        try:
            family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
            self._socket = socket.create_server((settings.host, settings.port), family=family, backlog=64)
        except OSError as fault:
            self._reader.close()
            said = _NO_PORT.get(fault.errno or 0, str(fault))
            raise SettingsFault(f"web.listen = {settings.host}:{settings.port}: {said}") from fault
        # Accepted connections inherit it; asyncio sets it only where a socket names its protocol, and without
        # it each answer waits 40 ms for the other side's acknowledgement.
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.url = _url(settings, self._socket.getsockname()[1])
        self._flusher = threading.Thread(target=self._flush, name="web-sessions", daemon=True)

    def start(self) -> None:
        """Read the accounts, serve, and say the set-up link where there is no account yet."""
        # Imported here: who has no page needs no room for it.
        from gateway.web.accounts import Accounts
        from gateway.web.app import make_app
        from gateway.web.server import Server
        from gateway.web.tokens import Tokens

        one, keep = self._settings, Keep(self._writer, self._reader, self._requests)
        self._accounts = Accounts(keep, self._given.real_ms, idle_h=one.idle_h, longest_h=one.longest_h)
        self._tokens = Tokens(keep, self._given.real_ms)
        app = make_app(self._given, self._accounts, self._tokens, self._phones)
        # What is loaded by now is never let go. Left to the collector it would be looked through again and
        # again, and each time hold everybody up for some 20 ms (`python -m tests.bench chart`).
        gc.collect()
        gc.freeze()
        self._server = Server(
            app, self._socket, cert=one.cert_file, key=one.key_file, trusted=one.trusted_proxies
        )
        self._server.start()
        self._flusher.start()
        self._ready.set()
        log.info("the page is at %s", self.url)
        secret = self._accounts.first_link()
        if secret:
            log.warning(
                "no account yet: make the first one at %s/in/%s (once, within a day)", self.url, secret
            )

    def _flush(self) -> None:
        while not self._stopping.wait(FLUSH_S):
            try:
                self._accounts.flush()
            except GatewayError as fault:
                log.warning("when sessions were last used could not be kept: %s", fault)

    def stop(self) -> None:
        """As `Page.stop`."""
        self._stopping.set()
        began_ms = real_mono_ms()
        self._server.stop()
        try:
            self._accounts.flush()
        except GatewayError as fault:
            log.warning("when sessions were last used could not be kept: %s", fault)
        self._reader.close()
        log.debug("the page ended after %d ms", real_mono_ms() - began_ms)

    def asked(self, request: dict[str, Any]) -> dict[str, Any]:
        """As `Page.asked`."""
        from gateway.web import desk_accounts
        from gateway.web.accounts import NotSo

        if not self._ready.wait(ASK_S):
            return {"fault": "the page has not started yet", "again": True}
        try:
            said = desk_accounts.do(self._accounts, self._tokens, self.url or "", request)
            return {"said": said}
        except NotSo as fault:
            return {"fault": str(fault)}
        except GatewayError as fault:
            return {"fault": str(fault), "again": True}


def _url(settings: WebSettings, port: int) -> str:
    if settings.public_url:
        return settings.public_url
    host = f"[{settings.host}]" if ":" in settings.host else settings.host
    return f"{'https' if settings.cert_file else 'http'}://{host}:{port}"
