"""Who sends a push message: a key pair, and its signed word (RFC 8292)."""

from __future__ import annotations

import base64
import binascii
import json
from urllib.parse import urlsplit

from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256

from gateway.edges.phone.sealed import point

#: RFC 8292 section 2: no more than a day ahead; half of it forgives a clock that is hours off.
GOOD_S = 12 * 3600


def b64(raw: bytes) -> str:
    """base64url without padding, as all of Web Push writes it."""
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def unb64(text: str) -> bytes:
    """The bytes of base64url, padded or not; raises ValueError."""
    try:
        plain = text.rstrip("=").encode("ascii")
        return base64.b64decode(plain + b"=" * (-len(plain) % 4), altchars=b"-_", validate=True)
    except (binascii.Error, UnicodeEncodeError) as fault:
        raise ValueError("expected base64url") from fault


class Vapid:
    """The gateway towards push services. `contact`: an https or mailto address of whoever runs it."""

    def __init__(self, key: ec.EllipticCurvePrivateKey, contact: str | None = None) -> None:
        self._key, self._contact = key, contact
        self.public = b64(point(key.public_key()))  #: what a browser binds its subscription to

    def header(self, url: str, now_s: int) -> str:
        """The value of `authorization` for a message to that address."""
        split = urlsplit(url)
        claims: dict[str, str | int] = {"aud": f"{split.scheme}://{split.netloc}", "exp": now_s + GOOD_S}
        if self._contact:
            claims["sub"] = self._contact
        parts = [
            json.dumps(one, separators=(",", ":")).encode()
            for one in ({"typ": "JWT", "alg": "ES256"}, claims)
        ]
        signed = ".".join(b64(part) for part in parts)
        r, s = decode_dss_signature(self._key.sign(signed.encode(), ec.ECDSA(SHA256())))
        signature = b64(r.to_bytes(32, "big") + s.to_bytes(32, "big"))
        return f"vapid t={signed}.{signature}, k={self.public}"


def fresh_key() -> bytes:
    """A private key of P-256, as PEM."""
    return ec.generate_private_key(ec.SECP256R1()).private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def read_key(pem: bytes) -> ec.EllipticCurvePrivateKey:
    """The private key; raises ValueError with what was expected."""
    try:
        key = serialization.load_pem_private_key(pem, None)
    except (ValueError, TypeError) as fault:
        raise ValueError("no private key (PEM)") from fault
    if not isinstance(key, ec.EllipticCurvePrivateKey) or not isinstance(key.curve, ec.SECP256R1):
        raise ValueError("expected a key of P-256")
    return key
