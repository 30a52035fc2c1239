"""A push service and the browser behind it: takes messages over HTTP, checks who sent them, and opens them.

It opens them on its own, from the receiver's side of RFC 8291, and shares no code with the sender.
"""

import base64
import json
import queue
import threading
from collections import deque
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, NamedTuple

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from simulators.phone import Reply


def b64(raw: bytes) -> str:
    """base64url as a browser writes it."""
    return base64.urlsafe_b64encode(raw).decode().rstrip("=")


def unb64(text: str) -> bytes:
    """And read."""
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


class Got(NamedTuple):
    """One message: its headers, the claims of whoever sent it, and what it says."""

    path: str
    headers: dict[str, str]
    claims: dict[str, Any]
    key: str
    message: dict[str, Any]


class Browser:
    """A browser's keys."""

    def __init__(self, private: ec.EllipticCurvePrivateKey | None = None, auth: bytes = b"a" * 16) -> None:
        self._private, self._auth = private or ec.generate_private_key(ec.SECP256R1()), auth
        self._public = self._private.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        self.p256dh, self.auth = b64(self._public), b64(auth)

    def open(self, body: bytes) -> bytes:
        """What a body says; raises InvalidTag where it was not for this browser."""
        salt, size, length = body[:16], int.from_bytes(body[16:20], "big"), body[20]
        sender, sealed = body[21 : 21 + length], body[21 + length :]
        assert (length, len(sealed) <= size) == (65, True)
        their = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), sender)
        shared = self._private.exchange(ec.ECDH(), their)
        info = b"WebPush: info\0" + self._public + sender
        secret = HKDF(SHA256(), 32, self._auth, info).derive(shared)
        key = HKDF(SHA256(), 16, salt, b"Content-Encoding: aes128gcm\0").derive(secret)
        nonce = HKDF(SHA256(), 12, salt, b"Content-Encoding: nonce\0").derive(secret)
        padded = AESGCM(key).decrypt(nonce, sealed, None).rstrip(b"\0")
        assert padded[-1:] == b"\x02", "the last record"
        return padded[:-1]


def claims_of(header: str) -> tuple[dict[str, Any], str]:
    """The claims of an `authorization` of RFC 8292 and its key; raises InvalidSignature."""
    scheme, _, rest = header.partition(" ")
    assert scheme == "vapid"
    parts = dict(one.strip().split("=", 1) for one in rest.split(","))
    signed, _, signature = parts["t"].rpartition(".")
    raw = unb64(signature)
    assert len(raw) == 64
    pair = encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    public = ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), unb64(parts["k"]))
    public.verify(pair, signed.encode(), ec.ECDSA(SHA256()))
    head, claims = (json.loads(unb64(part)) for part in signed.split("."))
    assert head == {"typ": "JWT", "alg": "ES256"}
    return claims, parts["k"]


class Receiver:
    """Serves from its making to `stop`; `replies` are used up in order, then 201 is said."""

    def __init__(self) -> None:
        self.browser = Browser()
        self.replies: deque[Reply] = deque()
        self.received: queue.SimpleQueue[Got] = queue.SimpleQueue()
        handler = type("Handler", (_Handler,), {"receiver": self})
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
        self.origin = f"http://127.0.0.1:{self._server.server_address[1]}"
        self.url = f"{self.origin}/send/hidden-part"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


class _Handler(BaseHTTPRequestHandler):
    receiver: Receiver

    def do_POST(self) -> None:
        """One message."""
        body = self.rfile.read(int(self.headers["content-length"]))
        headers = {key.lower(): value for key, value in self.headers.items()}
        claims, key = claims_of(headers["authorization"])
        said = json.loads(self.receiver.browser.open(body))
        reply = self.receiver.replies.popleft() if self.receiver.replies else Reply(201)
        self.send_response(reply.status)
        for name, value in reply.headers:
            self.send_header(name, value)
        self.send_header("content-length", str(len(reply.body)))
        self.end_headers()
        self.wfile.write(reply.body)
        self.receiver.received.put(Got(self.path, headers, claims, key, said))

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the base's name
        """Nothing."""
