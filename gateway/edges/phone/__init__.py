"""Ways to a phone, one file a way; the register of kinds a site file may name."""

from __future__ import annotations

from collections.abc import Callable

from gateway.edges.phone.webhook import Webhook
from gateway.ports import Clock, Messenger

__all__ = ["KINDS", "Webhook", "messenger"]

#: kind in the site file -> (url, secret bytes, the real clock) -> the way to that phone
KINDS: dict[str, Callable[[str, bytes, Clock], Messenger]] = {"webhook": Webhook}


def messenger(kind: str, url: str, secret: bytes, clock: Clock) -> Messenger:
    """The way to one phone; each phone has its own. Raises ValueError: unknown kind, no secret."""
    if kind not in KINDS:
        raise ValueError(f"phone kind: {kind!r} is not one of {', '.join(sorted(KINDS))}")
    if not secret:
        raise ValueError("phone secret: empty; a message must be signed")
    return KINDS[kind](url, secret, clock)
