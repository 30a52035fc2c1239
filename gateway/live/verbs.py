"""Requests of the control socket that are no events: each kind to whoever answers it, the rest as before."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from typing import Any

Handler = Callable[[dict[str, Any]], dict[str, Any]]

log = logging.getLogger(__name__)


def by_kind(own: Mapping[str, Handler], others: Handler) -> Handler:
    """A handler for all: it never raises."""

    def handle(request: dict[str, Any]) -> dict[str, Any]:
        kind = request.get("kind")
        if not isinstance(kind, str) or kind not in own:
            return others(request)
        try:
            return own[kind](request)
        except Exception as fault:
            log.exception("a request of kind %s failed", kind)
            return {"fault": f"the gateway failed: {fault!r}"[:500]}

    return handle
