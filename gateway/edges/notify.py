"""Word to the service manager: ready, still turning, stopping (the sd_notify datagram protocol)."""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping


class Notify:
    """Sends states to the socket that the service manager named; does nothing where none is named."""

    def __init__(self, environ: Mapping[str, str] = os.environ) -> None:
        name = environ.get("NOTIFY_SOCKET", "")
        self._address = "\0" + name[1:] if name.startswith("@") else name
        self.watchdog_s = _watchdog_s(environ)

    def ready(self, status: str) -> None:
        """The gateway takes messages from here on."""
        self._send(f"READY=1\nSTATUS={status}")

    def alive(self, status: str) -> None:
        """Every loop has turned since the last word."""
        self._send(f"WATCHDOG=1\nSTATUS={status}")

    def stopping(self) -> None:
        """The gateway stops on purpose."""
        self._send("STOPPING=1")

    def _send(self, text: str) -> None:
        if not self._address:
            return
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as out:
            out.setblocking(False)
            try:
                out.sendto(text.encode(), self._address)
            except OSError:
                # A service manager that does not listen must not stop the watch over the beds.
                return


def _watchdog_s(environ: Mapping[str, str]) -> float | None:
    """Within how many seconds the manager wants to hear; None where it does not watch this process."""
    mine = environ.get("WATCHDOG_PID")
    wanted = environ.get("WATCHDOG_USEC", "")
    if not wanted.isdigit() or (mine is not None and mine != str(os.getpid())):
        return None
    return int(wanted) / 1_000_000 or None
