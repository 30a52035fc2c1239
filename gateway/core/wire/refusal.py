"""Why a payload, or a probe's part of it, is not taken. Raised and caught inside this package only."""

from __future__ import annotations

from gateway.core.reading import Reason


class Refusal(Exception):
    """`reason` is counted; `detail` tells whoever looks after the probe what came and what was expected."""

    def __init__(self, reason: Reason, detail: str) -> None:
        super().__init__(detail)
        self.reason = reason
        self.detail = detail
