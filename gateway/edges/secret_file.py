"""A secret of the gateway's own in the store's directory: made once, for its owner only."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from gateway.errors import StoreFault


def load(file: Path, make: Callable[[], bytes], expected: str) -> bytes:
    """What the file holds; made on first use, whole or not at all. Raises StoreFault naming the file."""
    try:
        if not file.exists():
            _write(file, make())
        if file.stat().st_mode & 0o077:
            raise StoreFault(f"{file}: others may read it; expected mode 600")
        return file.read_bytes()
    except OSError as fault:
        raise StoreFault(f"{file}: {fault.strerror}; expected {expected}") from fault


def _write(file: Path, secret: bytes) -> None:
    fresh = file.with_name(f"{file.name}.new")
    fresh.unlink(missing_ok=True)
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(secret)
            out.flush()
            os.fsync(out.fileno())
        fresh.replace(file)
    finally:
        fresh.unlink(missing_ok=True)
