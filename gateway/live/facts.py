"""What the daemon says of itself to whoever asks `health`: a small file beside the store, written whole."""

from __future__ import annotations

import json
import logging
from contextlib import suppress
from pathlib import Path
from typing import Any

from gateway.live.store import FACTS

log = logging.getLogger(__name__)


def write(store: Path, facts: dict[str, Any]) -> None:
    """Replace the file in one step; a disk that is full must not end the watch."""
    fresh = store / f"{FACTS}.new"
    try:
        fresh.write_text(json.dumps(facts), encoding="utf-8")
        fresh.replace(store / FACTS)
    except OSError as fault:
        log.debug("the facts for health could not be written: %s", fault)
        with suppress(OSError):
            fresh.unlink(missing_ok=True)
