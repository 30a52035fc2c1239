"""Where the page keeps accounts, sessions, tokens and links: what it needs of the store."""

from __future__ import annotations

from typing import Any, Protocol

from gateway.ports import WebLine


class Keep(Protocol):
    """Every call may raise a GatewayError; a change is committed when it returns."""

    def lines(self) -> list[WebLine]:
        """Everything kept."""

    def put(self, kind: str, key: str, ends_ms: int | None, body: dict[str, Any]) -> None:
        """Keep a line, in place of an older one."""

    def drop(self, kind: str, key: str) -> bool:
        """Forget a line; whether it was there. Of two at once one is told that it was."""
