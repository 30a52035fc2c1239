"""The gateway's own keys beside its store: of answer links, and towards push services."""

from __future__ import annotations

import secrets
from pathlib import Path

from gateway.core.links import KEY_BYTES
from gateway.edges import secret_file
from gateway.edges.phone.vapid import Vapid, fresh_key, read_key
from gateway.errors import StoreFault

LINK, PUSH = "link.key", "push.key"


def load_key(store: Path) -> bytes:
    """The key that answer links are signed with, random bytes. Raises StoreFault naming the file."""
    file = store / LINK
    key = secret_file.load(file, lambda: secrets.token_bytes(KEY_BYTES), f"a file of {KEY_BYTES} bytes")
    if len(key) != KEY_BYTES:
        raise StoreFault(f"{file}: {len(key)} bytes, expected {KEY_BYTES}; without it old links stop working")
    return key


def load_vapid(store: Path, contact: str | None = None) -> Vapid:
    """Who sends push messages: with the key beside the store. Raises StoreFault naming the file."""
    file = store / PUSH
    pem = secret_file.load(file, fresh_key, "a private key")
    try:
        return Vapid(read_key(pem), contact)
    except ValueError as fault:
        raise StoreFault(f"{file}: {fault}; without it phones must be set up anew") from fault
