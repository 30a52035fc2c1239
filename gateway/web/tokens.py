"""Tokens of programs: each has a name and a role, and is shown once."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable
from typing import Any

from gateway.web.accounts import NotSo, checked_name
from gateway.web.given import ROLES, Account
from gateway.web.keep import Keep
from gateway.web.secret import digest

MOST_TOKENS = 100


class Tokens:
    """Any thread may call it."""

    def __init__(self, keep: Keep, real_ms: Callable[[], int]) -> None:
        self._keep, self._real_ms = keep, real_ms
        self._turn = threading.Lock()
        self._held = {line.key: line.body for line in keep.lines() if line.kind == "token"}

    def of(self, token: str) -> Account | None:
        """Whose token it is."""
        body = self._held.get(digest(token))
        return Account(body["name"], body["role"]) if body else None

    def add(self, name: str, role: str) -> str:
        """A new one; raises NotSo."""
        name = checked_name(name)
        if role not in ROLES:
            raise NotSo(f"The role is one of {', '.join(ROLES)}, not {role!r}.")
        secret = secrets.token_urlsafe(32)
        body: dict[str, Any] = {"name": name, "role": role, "made_ms": self._real_ms()}
        with self._turn:
            if any(one["name"] == name for one in self._held.values()):
                raise NotSo(f"There is a token {name!r} already.")
            if len(self._held) >= MOST_TOKENS:
                raise NotSo(f"There are {MOST_TOKENS} tokens already.")
            self._keep.put("token", digest(secret), None, body)
            self._held = self._held | {digest(secret): body}
        return secret

    def remove(self, name: str) -> None:
        """Let one stop working; raises NotSo."""
        with self._turn:
            gone = [key for key, body in self._held.items() if body["name"] == name]
            if not gone:
                raise NotSo(f"There is no token {name!r}.")
            self._held = {key: body for key, body in self._held.items() if key not in gone}
            for key in gone:
                self._keep.drop("token", key)

    def listed(self) -> list[Account]:
        """Name and role of all, by name."""
        found = sorted(self._held.values(), key=lambda body: str(body["name"]))
        return [Account(body["name"], body["role"]) for body in found]
