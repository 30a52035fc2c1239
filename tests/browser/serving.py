"""The product's own application over a lived night, on a port of its own."""

from __future__ import annotations

import socket
import threading

import uvicorn

from gateway.web.accounts import OPEN, Accounts
from gateway.web.app import make_app
from gateway.web.tokens import Tokens
from tests.browser.lived import Lived

#: Cleo and Ben are on shift, Ada is the maltster, Vic may look, Fay reads Fahrenheit.
PEOPLE = {"cleo": "shift", "ben": "shift", "ada": "maltster", "vic": "viewer", "fay": "shift"}
COOKIE = "malting"


class Serving:
    """A server with an account for each of `PEOPLE`."""

    def __init__(self, lived: Lived) -> None:
        self._lived = lived
        self.accounts = Accounts(lived, lived.real_ms)
        there = {one.name for one in self.accounts.listed()}
        for name, role in PEOPLE.items():
            if name not in there:
                person = name if name in lived.site().person else None
                self.accounts.add(name, role, person)
        self.accounts.change("fay", fahrenheit=True)
        app = make_app(lived, self.accounts, Tokens(lived, lived.real_ms), lived.pushes())
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._socket.getsockname()[1]}"
        config = uvicorn.Config(app, log_level="critical", lifespan="off", timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, args=([self._socket],), daemon=True)
        self._thread.start()

    def session(self, name: str) -> str:
        """A session of that person, as a one-time link begins it."""
        return self.accounts.use(self.accounts.link(OPEN, name))

    def close(self) -> None:
        """Stop listening; connections that are open end, too."""
        self._server.should_exit = True
        self._thread.join(10)
        self._socket.close()
