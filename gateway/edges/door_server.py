"""A small HTTP server that strangers cannot wear out: few threads, little memory, an end to every request.

One request a connection. When all places are taken the connection that has been sending its request longest
is put out, so that slow ones cannot keep others out.
"""

from __future__ import annotations

import contextlib
import logging
import socket
import socketserver
import sys
import threading
from collections.abc import Callable, Mapping
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import MappingProxyType
from typing import Any, BinaryIO, NamedTuple, cast

log = logging.getLogger(__name__)

PLACES = 16
WHOLE_MS = 10_000  #: from the connection to the end of its request
READ_S = 5.0
HEAD_MOST = 8192
BODY_MOST = 1024
_BUSY = (
    b"HTTP/1.1 503 Service Unavailable\r\nRetry-After: 2\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
)


class Request(NamedTuple):
    """A whole request: the method in capitals, the path without query, the names of headers in lower case."""

    method: str
    path: str
    headers: dict[str, str]
    body: bytes


class Answer(NamedTuple):
    """What goes back."""

    status: int
    content_type: str
    body: bytes
    headers: Mapping[str, str] = MappingProxyType({})


class TooMuch(Exception):
    """The head of a request is longer than HEAD_MOST."""


class _Head:
    """A reader that ends the request once its head is too long, whatever lines it is cut in."""

    def __init__(self, raw: BinaryIO) -> None:
        self._raw = raw
        self._left = HEAD_MOST

    def readline(self, most: int = -1) -> bytes:
        """One line; raises TooMuch."""
        line = self._raw.readline(self._left + 1)
        self._left -= len(line)
        if self._left < 0:
            raise TooMuch
        return line

    def read(self, count: int) -> bytes:
        """The body, once the head is read."""
        return self._raw.read(count)

    def close(self) -> None:
        """The end of the connection."""
        self._raw.close()

    @property
    def closed(self) -> bool:
        """As the raw one is."""
        return self._raw.closed


class Server(ThreadingHTTPServer):
    """Answers with `respond`, called in up to PLACES threads at once."""

    daemon_threads = True
    block_on_close = False
    request_queue_size = 32

    def __init__(
        self,
        host: str,
        port: int,
        respond: Callable[[Request], Answer],
        mono_ms: Callable[[], int],
        always: Mapping[str, str],
    ) -> None:
        self.respond = respond
        self.always = dict(always)
        self._mono_ms = mono_ms
        self._places = threading.BoundedSemaphore(PLACES)
        self._lock = threading.Lock()
        self._reading: dict[socket.socket, int] = {}
        if ":" in host:
            self.address_family = socket.AF_INET6
        super().__init__((host, port), _Handler)

    def server_bind(self) -> None:
        """Without the base's look-up of this machine's name, which may wait for a name server."""
        socketserver.TCPServer.server_bind(self)
        self.server_name, self.server_port = "door", int(self.server_address[1])

    def process_request(self, request: Any, client_address: Any) -> None:
        """Give the connection a place, putting out the slowest one if there is none; or turn it away."""
        if not self._places.acquire(blocking=False):
            self._put_out_slowest()
            if not self._places.acquire(timeout=0.5):
                request.settimeout(0.5)
                with contextlib.suppress(OSError):
                    request.sendall(_BUSY)
                self.shutdown_request(request)
                return
        with self._lock:
            self._reading[request] = self._mono_ms()
        try:
            super().process_request(request, client_address)
        except RuntimeError:  # no thread to be had
            self._leave(request)
            raise

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """One connection, in its own thread."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._leave(request)

    def has_read(self, request: socket.socket) -> None:
        """The request is whole: from here on it is not put out."""
        with self._lock:
            self._reading.pop(request, None)

    def service_actions(self) -> None:
        """Called by the base again and again: put out what has been sending its request for too long."""
        since_ms = self._mono_ms() - WHOLE_MS
        with self._lock:
            late = [one for one, began_ms in self._reading.items() if began_ms <= since_ms]
        for one in late:
            _put_out(one)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Connections break; that is no news. The handler has dealt with faults of ours."""
        log.debug("a connection to the door broke: %r", sys.exception())

    def _put_out_slowest(self) -> None:
        with self._lock:
            slowest = min(self._reading, key=lambda one: self._reading[one], default=None)
        if slowest is not None:
            _put_out(slowest)

    def _leave(self, request: socket.socket) -> None:
        self.has_read(request)
        self._places.release()


def _put_out(connection: socket.socket) -> None:
    with contextlib.suppress(OSError):
        connection.shutdown(socket.SHUT_RDWR)


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    command = ""
    timeout = READ_S

    def setup(self) -> None:
        super().setup()
        self.rfile = cast(Any, _Head(cast(BinaryIO, self.rfile)))

    def handle(self) -> None:
        try:
            self.handle_one_request()
        except TooMuch:
            self.send_error(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE)

    def do_GET(self) -> None:
        """GET and HEAD have no body."""
        self._answer(b"")

    do_HEAD = do_GET  # noqa: N815

    def do_POST(self) -> None:
        """A body of known, small length, or a refusal."""
        length = self.headers.get("Content-Length", "")
        if "Transfer-Encoding" in self.headers or not (length.isascii() and length.isdigit()):
            self.send_error(HTTPStatus.LENGTH_REQUIRED)
        elif len(length) > 6 or int(length) > BODY_MOST:
            self.send_error(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        else:
            body = self.rfile.read(int(length))
            if len(body) == int(length):
                self._answer(body)

    def _answer(self, body: bytes) -> None:
        server = cast(Server, self.server)
        server.has_read(self.connection)
        headers = {name.lower(): value for name, value in self.headers.items()}
        try:
            found = server.respond(Request(self.command, self.path.split("?", 1)[0], headers, body))
        except Exception:
            log.exception("the door: a fault of the gateway's own")
            self.send_error(HTTPStatus.INTERNAL_SERVER_ERROR)
            return
        self._send(found)

    def _send(self, answer: Answer) -> None:
        self.close_connection = True
        self.send_response_only(answer.status)
        self.send_header("Content-Type", answer.content_type)
        self.send_header("Content-Length", str(len(answer.body)))
        self.send_header("Connection", "close")
        for name, value in {**cast(Server, self.server).always, **answer.headers}.items():
            self.send_header(name, value)
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(answer.body)

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """In our words: what the other side sent is not repeated to it."""
        status = HTTPStatus(code)
        self.request_version = self.protocol_version  # nothing may have been read so far as to set it
        self._send(Answer(status, "text/plain; charset=utf-8", f"{status.phrase}\n".encode()))

    def log_message(self, *args: Any) -> None:
        """Paths hold tokens; they are not logged."""
