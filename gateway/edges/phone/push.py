"""A phone behind its browser's push service (RFC 8030): the message sealed for it, signed by the gateway.

The limits of an attempt are those of `webhook`: times, no redirect, little read, nothing kept.
"""

from __future__ import annotations

from ipaddress import ip_address
from typing import NamedTuple
from urllib.parse import urlsplit

from gateway.edges.phone.sealed import AUTH_BYTES, PLAIN_MOST, public_key, sealed
from gateway.edges.phone.vapid import Vapid, unb64
from gateway.edges.phone.webhook import Webhook, body
from gateway.errors import DeliveryFault
from gateway.ports import Clock, DueNotice

ADDRESS_MOST = 1000
#: How long a push service keeps a message for a phone that is away (ours): past it the call has gone on.
KEEP_S = 1800


class Subscription(NamedTuple):
    """Where a browser is reached, its public key and the secret it shares."""

    url: str
    browser: bytes
    auth: bytes


def checked(url: str, browser: str, auth: str, *, local: bool = False) -> Subscription:
    """What a browser said of itself, checked; raises ValueError in plain words. `local` lets a receiver on
    this machine in, for tests."""
    try:
        split = urlsplit(url)
        host, _ = split.hostname or "", split.port
    except ValueError as fault:
        raise ValueError("endpoint: that is no address") from fault
    plain = url.isascii() and url.isprintable() and " " not in url and len(url) <= ADDRESS_MOST
    if not plain or "@" in split.netloc or not (local or (split.scheme == "https" and _is_public(host))):
        raise ValueError("endpoint: expected the https address of a push service")
    try:
        raw, secret = unb64(browser[:200]), unb64(auth[:200])
    except ValueError as fault:
        raise ValueError("p256dh and auth: expected base64url") from fault
    public_key(raw)
    if len(secret) != AUTH_BYTES:
        raise ValueError(f"auth: {len(secret)} bytes, expected {AUTH_BYTES}")
    return Subscription(url, raw, secret)


def _is_public(host: str) -> bool:
    """A name with a dot: no number and no name of this network, lest the page makes the gateway ask there."""
    try:
        ip_address(host)
    except ValueError:
        name = host.lower().rstrip(".")
        return "." in name and not name.endswith((".local", ".localhost", ".internal", ".home.arpa"))
    return False


def message(notice: DueNotice, answer_url: str | None) -> bytes:
    """As for `webhook`; a text that does not fit is cut, as the push service would refuse all of it."""
    content = body(notice, answer_url)
    text = notice.text
    while len(content) > PLAIN_MOST and text:
        # JSON writes one sign in six bytes at most: never too much is cut at once.
        text = text[: -((len(content) - PLAIN_MOST) // 6 + 1)]
        content = body(notice._replace(text=text + " …"), answer_url)
    return content


class Push(Webhook):
    """One phone. 404 and 410 both mean that the browser is not there any more (RFC 8030 section 7.3)."""

    GONE = (404, 410)

    def __init__(self, to: Subscription, vapid: Vapid, clock: Clock, **times: float) -> None:
        super().__init__(to.url, b"", clock, **times)
        self._to, self._vapid = to, vapid

    def _made(self, notice: DueNotice, answer_url: str | None, now_s: int) -> tuple[bytes, dict[str, str]]:
        content = sealed(message(notice, answer_url), self._to.browser, self._to.auth)
        headers = {
            "content-type": "application/octet-stream",
            "content-encoding": "aes128gcm",
            "ttl": str(KEEP_S),
            "urgency": "low" if notice.silent else "high",
            "authorization": self._vapid.header(self._to.url, now_s),
        }
        if notice.alarm is not None:
            # What the service still holds for a phone that was away gives way to the newest of that alarm.
            headers["topic"] = f"alarm-{notice.alarm}"
        return content, headers


class Gone:
    """A phone whose browser took itself away: it waits to be set up anew, or to be taken off the page."""

    def send(self, phone: str, notice: DueNotice, answer_url: str | None) -> int:
        """Raises DeliveryFault, at once."""
        raise DeliveryFault("its browser is not there any more; set it up anew on the page", gone=True)
