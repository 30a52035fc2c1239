"""The message that sets the gateway's clock (contract C4): `{"t": unix_seconds}`."""

from __future__ import annotations

from gateway.core.reading import Reason
from gateway.core.wire.json import parse
from gateway.core.wire.moment import moment_ms
from gateway.core.wire.refusal import Refusal


def clock_ms(payload: bytes) -> int:
    """Unix ms of a clock message. Raises Refusal for anything else."""
    document = parse(payload)
    if not isinstance(document, dict) or "t" not in document:
        raise Refusal(Reason.BAD_TIME, 'expected {"t": unix_seconds}')
    return moment_ms(document["t"])
