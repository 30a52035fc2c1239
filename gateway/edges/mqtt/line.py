"""A socket under paho that works in large pieces and takes the messages out before paho sees them.

paho asks the system for one, two and then a few bytes for every message, makes half a dozen objects of it,
and sends every settlement by itself. Here the stream is cut into packets (MQTT 5.0 and 3.1.1, section 2.1):
messages are for `publication`, every other packet is paho's, which still leads the conversation.
"""

from __future__ import annotations

import socket
import ssl
from typing import Final

from gateway.edges.mqtt.publication import PUBLISH, number

_PIECE: Final = 65_536
#: Of a longer message only the beginning is kept; the rest is thrown away as it comes.
LARGEST: Final = 1024 * 1024
KEPT: Final = 192 * 1024
# A broker that sends small messages under Nagle's rule waits for the acknowledgement of the last segment, and
# we have nothing to send before the commit: without this each batch stands still for the kernel's 40 ms. The
# kernel forgets it again, so it is said anew after each piece.
_QUICKACK: Final[int | None] = getattr(socket, "TCP_QUICKACK", None)


class Line:
    """As much of a socket as paho uses. Everything it sends waits for `flush`."""

    def __init__(self, sock: socket.socket) -> None:
        self._sock = sock
        self._in = bytearray()
        self._at = 0
        self._skip = 0
        self._short = True
        self._paho = b""
        self._over = False
        self._out = bytearray()
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def fill(self) -> None:
        """One piece from the network; raises OSError if the connection is broken."""
        try:
            piece = self._sock.recv(_PIECE)
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            return
        if _QUICKACK is not None:
            self._sock.setsockopt(socket.IPPROTO_TCP, _QUICKACK, 1)
        self._over = not piece
        del self._in[: self._at]
        self._at = 0
        self._in += piece
        self._drop()

    def packet(self) -> tuple[int, bytearray] | None:
        """The next packet, its first byte and what follows its length; None if there is none whole yet.

        One that is not a message is also laid before paho. Raises Malformed.
        """
        data, start = self._in, self._at
        self._short = True
        if len(data) < start + 2:
            return None
        first, size, body = data[start], data[start + 1], start + 2
        if size >= 0x80:
            size, body = number(data, start + 1)
        end = body + size
        if size > LARGEST and first & 0xF0 == PUBLISH:
            end = min(end, body + KEPT)
        if not body or end > len(data):
            return None
        self._skip = body + size - end
        found = data[body:end]
        self._at = end
        self._drop()
        if first & 0xF0 != PUBLISH:
            self._paho += bytes(data[start:end])
        return first, found

    def _drop(self) -> None:
        """Throw away what follows of a message that is cut short, as far as it is here."""
        dropped = min(self._skip, len(self._in) - self._at)
        self._at += dropped
        self._skip -= dropped
        self._short = self._at == len(self._in)

    @property
    def over(self) -> bool:
        """Whether the broker has closed the stream and everything before that has been taken."""
        return self._over and self._short

    def pending(self) -> bool:
        """Whether there may be another packet without the network having anything new."""
        return not self._short or (isinstance(self._sock, ssl.SSLSocket) and self._sock.pending() > 0)

    def recv(self, most: int) -> bytes:
        """For paho: from the packets that are its own."""
        if not self._paho and not self._over:
            raise BlockingIOError
        found, self._paho = self._paho[:most], self._paho[most:]
        return found

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
