"""The product's own application over a lived night, asked over HTTP without a socket."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from gateway.web.accounts import OPEN, Accounts
from gateway.web.app import make_app
from gateway.web.bounds import USUAL, Bounds
from gateway.web.tokens import Tokens
from tests.browser.lived import Lived

PLAIN, SECURE = "http://quern.example", "https://quern.example"
ROLES = ("viewer", "shift", "maltster", "maintenance", "safety")
PASSWORD = "barley wind otter"


class Site:
    """The application and what one would ask of it."""

    def __init__(self, lived: Lived) -> None:
        self.lived = lived
        self.real_ms = lived.now_ms()
        self.begin()

    def begin(self, bounds: Bounds = USUAL) -> None:
        """As after a start: everything is read from the store."""
        self.accounts = Accounts(self.lived, lambda: self.real_ms, idle_h=12.0, longest_h=168.0)
        self.tokens = Tokens(self.lived, lambda: self.real_ms)
        self.pushes = self.lived.pushes()
        self.app = make_app(self.lived, self.accounts, self.tokens, self.pushes, bounds)

    def session(self, role: str) -> str:
        """A session of an account of that role and name."""
        if role not in {one.name for one in self.accounts.listed()}:
            self.accounts.add(role, role)
        return self.accounts.use(self.accounts.link(OPEN, role))

    def ask(self, method: str, path: str, *, base: str = PLAIN, **more: Any) -> httpx.Response:
        """One request; redirections are not followed."""

        async def go() -> httpx.Response:
            transport = httpx.ASGITransport(self.app, raise_app_exceptions=False, client=("192.0.2.7", 4000))
            async with httpx.AsyncClient(transport=transport, base_url=base) as client:
                return await client.request(method, path, **more)

        return asyncio.run(go())

    def as_role(self, role: str | None, method: str, path: str, **more: Any) -> httpx.Response:
        """One request with a fresh session of that role; None for nobody."""
        heads = {"cookie": f"malting={self.session(role)}"} if role else {}
        return self.ask(method, path, headers=heads | more.pop("headers", {}), **more)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """One night for a module's tests, which write into it."""
    lived = Lived(tmp_path_factory.mktemp("night"), hours=1.0, ahead_h=0.1)
    yield Site(lived)
    lived.close()


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[Site]:
    """A night of one's own, without accounts."""
    lived = Lived(tmp_path / "night", hours=0.2, ahead_h=0.1)
    yield Site(lived)
    lived.close()
