"""Standard Webhooks signatures: HMAC-SHA256 over `id.timestamp.body`, version v1.

Source: the Standard Webhooks specification, github.com/standard-webhooks/standard-webhooks at b2fa7b8.
"""

from __future__ import annotations

import base64
import hashlib
import hmac


def signature(secret: bytes, message_id: str, timestamp_s: int, body: bytes) -> str:
    """The value of `webhook-signature`; raises ValueError for an id that would blur the signed text."""
    if "." in message_id:
        raise ValueError("webhook-id: a full stop is not allowed")
    signed = f"{message_id}.{timestamp_s}.".encode() + body
    return "v1," + base64.b64encode(hmac.new(secret, signed, hashlib.sha256).digest()).decode()


def headers(secret: bytes, message_id: str, timestamp_s: int, body: bytes) -> dict[str, str]:
    """The three headers of one attempt."""
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(timestamp_s),
        "webhook-signature": signature(secret, message_id, timestamp_s, body),
    }
