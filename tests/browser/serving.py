"""The pages over HTTP without accounts: what a browser sees is the product's, who may see it is not."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request

from gateway.web.given import Account
from gateway.web.routes_pages import add_pages
from tests.browser.lived import Lived

#: As strict as the product's own: no style and no script but from files.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


class OpenDoor:
    """Who asks is whoever the cookie `me` names (cleo where there is none)."""

    def __init__(self, given: Lived, accounts: Callable[[str], Account]) -> None:
        self.given = given
        self._accounts = accounts

    def account(self, request: Request) -> Account:
        """As `routes_pages.Web`."""
        return self._accounts(request.cookies.get("me", "cleo"))

    def token(self, request: Request) -> str:
        """As `routes_pages.Web`."""
        return "t"

    async def form(self, request: Request) -> dict[str, str]:
        """As `routes_pages.Web`."""
        return {key: str(value) for key, value in (await request.form()).items()}


class _Strict:
    """Adds the policy to every answer."""

    def __init__(self, app: Any) -> None:
        self._app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        async def told(message: Any) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message["headers"], (b"content-security-policy", POLICY.encode())]
            await send(message)

        await self._app(scope, receive, told)


class Serving:
    """A server on a port of its own."""

    def __init__(self, lived: Lived, accounts: Callable[[str], Account]) -> None:
        app = Starlette(middleware=[Middleware(_Strict), Middleware(GZipMiddleware, minimum_size=500)])
        add_pages(app, OpenDoor(lived, accounts))
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        config = uvicorn.Config(app, log_level="critical", lifespan="off", timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, args=([self._socket],), daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop listening; connections that are open end, too."""
        self._server.should_exit = True
        self._thread.join(10)
        self._socket.close()
