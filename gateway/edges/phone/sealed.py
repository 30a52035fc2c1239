"""A message that only one browser can read: aes128gcm of RFC 8188 with the keys of RFC 8291 (Web Push).

Over `cryptography` alone: the libraries for this job bring an HTTP client with them that follows
redirects and cannot be ended as a whole.
"""

from __future__ import annotations

import os
import struct

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

RECORD = 4096
SALT_BYTES, AUTH_BYTES, POINT_BYTES = 16, 16, 65
#: RFC 8291 section 4: a push service need take no more than 4096 octets, of which 103 are not the message.
PLAIN_MOST = RECORD - 103


def point(key: ec.EllipticCurvePublicKey) -> bytes:
    """A public key as 65 bytes: the uncompressed form of X9.62."""
    return key.public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def public_key(raw: bytes) -> ec.EllipticCurvePublicKey:
    """The key of those 65 bytes; raises ValueError for what is no point of P-256."""
    if len(raw) != POINT_BYTES or raw[0] != 4:
        raise ValueError("p256dh: expected a point of P-256, 65 bytes that begin with 4")
    try:
        return ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), raw)
    except ValueError as fault:
        raise ValueError("p256dh: that point does not lie on the curve P-256") from fault


def _hkdf(salt: bytes, secret: bytes, info: bytes, length: int) -> bytes:
    return HKDF(SHA256(), length, salt, info).derive(secret)


def coded(plain: bytes, secret: bytes, salt: bytes, key_id: bytes) -> bytes:
    """RFC 8188 section 2: header and one last record. Raises ValueError where it does not fit."""
    if len(plain) + 17 > RECORD:
        raise ValueError(f"message: {len(plain)} bytes, at most {RECORD - 17} fit into one record")
    key = _hkdf(salt, secret, b"Content-Encoding: aes128gcm\0", 16)
    nonce = _hkdf(salt, secret, b"Content-Encoding: nonce\0", 12)
    head = salt + struct.pack(">LB", RECORD, len(key_id)) + key_id
    return head + AESGCM(key).encrypt(nonce, plain + b"\x02", None)


def sealed(
    plain: bytes,
    browser: bytes,
    auth: bytes,
    *,
    own: ec.EllipticCurvePrivateKey | None = None,
    salt: bytes | None = None,
) -> bytes:
    """The body of a push message (RFC 8291 section 3). `own` and `salt` are fresh for each message; only a
    check against the RFC's example gives them."""
    if len(auth) != AUTH_BYTES:
        raise ValueError(f"auth: {len(auth)} bytes, expected {AUTH_BYTES}")
    theirs = public_key(browser)
    own = own or ec.generate_private_key(ec.SECP256R1())
    ours = point(own.public_key())
    shared = own.exchange(ec.ECDH(), theirs)
    secret = _hkdf(auth, shared, b"WebPush: info\0" + browser + ours, 32)
    return coded(plain, secret, salt or os.urandom(SALT_BYTES), ours)
