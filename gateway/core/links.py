"""Answer links: a token that lets one person answer one occurrence of one alarm, until it expires.

The token carries what it is for and an HMAC-SHA256 over that, cut to 128 bits (RFC 2104 section 5 allows half
the hash). It is url-safe. Nothing about it is kept: whoever holds the key can tell a true one.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import struct
from enum import StrEnum
from typing import NamedTuple

KEY_BYTES = 32
TOKEN_MOST = 200  #: no true token has more characters
PERSON_MOST = 64  #: bytes of UTF-8
DAY_MS = 24 * 3600 * 1000
PATH = "/a/"

_PURPOSE = b"malting answer link\x00"  # the key may serve another purpose one day; the tokens never mix
_FORM = 1
_HEAD = struct.Struct(">BQIQ")
_MAC_BYTES = 16


class Link(NamedTuple):
    """What a token stands for. `until_ms` is Unix ms, real time, kept to the second."""

    alarm: int
    occurrence: int
    person: str
    until_ms: int


class Bad(StrEnum):
    """Why a token is not taken."""

    MALFORMED = "malformed"
    FORGED = "forged"
    EXPIRED = "expired"


def make_token(key: bytes, link: Link) -> str:
    """The token for a link, at most TOKEN_MOST characters of A-Z a-z 0-9 - _.

    Raises ValueError for a key that is not KEY_BYTES long, a number that does not fit, or a person that is
    empty or longer than PERSON_MOST bytes.
    """
    person = link.person.encode()
    if not 0 < len(person) <= PERSON_MOST:
        raise ValueError(f"person: {len(person)} bytes are not 1 to {PERSON_MOST}")
    try:
        head = _HEAD.pack(_FORM, link.alarm, link.occurrence, link.until_ms // 1000)
    except struct.error as fault:
        raise ValueError(f"link: {fault}") from fault
    return _text(head + person + _mac(key, head + person))


def verify_token(key: bytes, token: str, now_ms: int) -> Link | Bad:
    """The link a token stands for, or why it is refused; the comparison takes the same time for any token.

    `now_ms` is Unix ms, real time. Raises ValueError only for a key that is not KEY_BYTES long.
    """
    raw = _bytes(token)
    if raw is None or len(raw) <= _HEAD.size + _MAC_BYTES:
        return Bad.MALFORMED
    said, mac = raw[:-_MAC_BYTES], raw[-_MAC_BYTES:]
    if not hmac.compare_digest(mac, _mac(key, said)):
        return Bad.FORGED
    form, alarm, occurrence, until_s = _HEAD.unpack_from(said)
    if form != _FORM:
        return Bad.MALFORMED
    if now_ms >= until_s * 1000:
        return Bad.EXPIRED
    return Link(alarm, occurrence, said[_HEAD.size :].decode(), until_s * 1000)


def answer_url(public_url: str, token: str) -> str:
    """Where the token is opened: PUBLIC_URL/a/TOKEN."""
    return public_url.rstrip("/") + PATH + token


def _mac(key: bytes, said: bytes) -> bytes:
    if len(key) != KEY_BYTES:
        raise ValueError(f"link key: {len(key)} bytes, expected {KEY_BYTES}")
    return hmac.new(key, _PURPOSE + said, hashlib.sha256).digest()[:_MAC_BYTES]


def _text(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def _bytes(token: str) -> bytes | None:
    """The token's bytes; None unless written exactly as `_text` writes them: each has one spelling."""
    if len(token) > TOKEN_MOST or not token.isascii():
        return None
    try:
        raw = base64.b64decode(token + "=" * (-len(token) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, ValueError):
        return None
    return raw if _text(raw) == token else None
