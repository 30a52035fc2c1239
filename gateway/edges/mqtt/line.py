"""A socket that reads and writes in large pieces.

paho asks for one, two and then a few bytes for every message, and sends every settlement by itself: four
calls to the system a message. Behind this it makes one for some hundred.
"""

from __future__ import annotations

import socket
import ssl
from typing import Final

_PIECE: Final = 65_536
# A broker that sends small messages under Nagle's rule waits for the acknowledgement of the last segment, and
# we have nothing to send before the commit: without this each batch stands still for the kernel's 40 ms. The
# kernel forgets it again, so it is said anew after each piece.
_QUICKACK: Final[int | None] = getattr(socket, "TCP_QUICKACK", None)


class Line:
    """As much of a socket as paho uses. Everything it sends waits for `flush`."""

    def __init__(self, sock: socket.socket) -> None:
        self._sock = sock
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._in = b""
        self._at = 0
        self._out = bytearray()

    def recv(self, most: int) -> bytes:
        """From what was read before, else from the socket; raises as the socket does when it is dry."""
        start = self._at
        if start >= len(self._in):
            self._in = self._sock.recv(_PIECE)
            start = 0
            if _QUICKACK is not None:
                self._sock.setsockopt(socket.IPPROTO_TCP, _QUICKACK, 1)
        end = self._at = start + most
        return self._in[start:end]

    def pending(self) -> bool:
        """Whether `recv` has something without asking the network."""
        if self._at < len(self._in):
            return True
        return isinstance(self._sock, ssl.SSLSocket) and self._sock.pending() > 0

    def send(self, data: bytes | bytearray) -> int:
        """Take everything; nothing is sent before `flush`."""
        self._out += data
        return len(data)

    def flush(self) -> None:
        """Send what waits, as far as it goes now; raises OSError if the connection is broken."""
        while self._out:
            try:
                sent = self._sock.send(self._out)
            except (BlockingIOError, ssl.SSLWantWriteError, ssl.SSLWantReadError):
                return
            del self._out[:sent]

    @property
    def backlog(self) -> int:
        """Bytes that wait to be sent."""
        return len(self._out)

    def fileno(self) -> int:
        """The socket's number, -1 once it is closed."""
        return self._sock.fileno()

    def setblocking(self, flag: bool) -> None:
        """As the socket's."""
        self._sock.setblocking(flag)

    def close(self) -> None:
        """As the socket's, after sending what it takes at once: paho closes right behind its DISCONNECT."""
        try:
            self.flush()
        except OSError:
            self._out.clear()
        finally:
            self._sock.close()
