"""What the connection to the broker needs to know; checked by whoever makes it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

#: MQTT 5, section 3.1.2.11.2: the session never ends by itself.
NEVER_EXPIRES = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class Options:
    """`client_id` must stay the same from start to start: the broker keeps the session under it.

    `protocol` is "auto", "5" or "3.1.1". `queue_messages` is at least `receive_maximum`, so that a broker
    that keeps to it can never overflow the queue. With `tls` and no `ca_file` the system's authorities count.
    """

    host: str
    port: int
    client_id: str
    root: str
    subscribe: tuple[str, ...]
    protocol: str = "auto"
    username: str | None = None
    password: str | None = None
    tls: bool = False
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    session_expiry_s: int = NEVER_EXPIRES
    receive_maximum: int = 1000
    queue_messages: int = 4000
    queue_bytes: int = 32 * 1024 * 1024
    keepalive_s: int = 20
    connect_timeout_s: float = 5.0
    connack_s: float = 3.0

    @property
    def status_topic(self) -> str:
        """Where the retained status of contract C5 stands."""
        return f"{self.root}/gateway/status"
