"""What the page keeps in the store, and what it is promised for it."""

from __future__ import annotations

from typing import Any, NamedTuple, Protocol


class WebLine(NamedTuple):
    """Something the page keeps: its kind, its key, when it ends by real time, and its plain body."""

    kind: str
    key: str
    ends_ms: int | None
    body: dict[str, Any]


class WebWriter(Protocol):
    """What the writer's side of the store does for the page; inside `atomic()`."""

    def put_web(self, kind: str, key: str, ends_ms: int | None, body: dict[str, Any]) -> None:
        """Keep a line, in place of an older one of that kind and key."""

    def drop_web(self, kind: str, key: str) -> bool:
        """Forget a line; whether it was there."""


class WebReader(Protocol):
    """What the reading side of the store does for the page."""

    def web_lines(self) -> list[WebLine]:
        """Everything the page keeps."""
