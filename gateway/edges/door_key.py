"""The key that answer links are signed with: 32 random bytes in the store's directory, for its owner only."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from gateway.core.links import KEY_BYTES
from gateway.errors import StoreFault

NAME = "link.key"


def load_key(store: Path) -> bytes:
    """The key; made on first use, whole or not at all. Raises StoreFault naming the file."""
    file = store / NAME
    try:
        if not file.exists():
            _make(file)
        if file.stat().st_mode & 0o077:
            raise StoreFault(f"{file}: others may read it; expected mode 600")
        key = file.read_bytes()
    except OSError as fault:
        raise StoreFault(f"{file}: {fault.strerror}; expected a file of {KEY_BYTES} bytes") from fault
    if len(key) != KEY_BYTES:
        raise StoreFault(f"{file}: {len(key)} bytes, expected {KEY_BYTES}; without it old links stop working")
    return key


def _make(file: Path) -> None:
    fresh = file.with_name(f"{NAME}.new")
    fresh.unlink(missing_ok=True)
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(secrets.token_bytes(KEY_BYTES))
            out.flush()
            os.fsync(out.fileno())
        fresh.replace(file)
    finally:
        fresh.unlink(missing_ok=True)
