"""What is kept of random secrets, and the marks that forms bring along."""

from __future__ import annotations

import hashlib
import hmac
import secrets


def digest(secret: str) -> str:
    """What is kept of a random secret."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def csrf(session: str) -> str:
    """What a form of that session must bring along. It differs each time, so that its length in a
    compressed page tells nothing."""
    salt = secrets.token_hex(8)
    return f"{salt}.{_signed(session, salt)}"


def is_csrf(session: str, sent: str) -> bool:
    """Whether a form brought what belongs to that session."""
    salt, _, mark = sent.partition(".")
    return len(sent) < 200 and sent.isascii() and hmac.compare_digest(mark, _signed(session, salt))


def _signed(session: str, salt: str) -> str:
    return hmac.new(session.encode("utf-8", "replace"), f"form {salt}".encode(), hashlib.sha256).hexdigest()
