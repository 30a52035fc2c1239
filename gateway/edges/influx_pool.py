"""Connections to the time-series server that cannot hold the mirror for ever nor fill the memory.

The library bounds neither how long an answer may take as a whole (it bounds each read) nor how long an answer
may be. No redirect is followed, no proxy taken from the environment, nothing tried twice.
"""

from __future__ import annotations

import contextlib
import io
import socket
import threading
from typing import Any

import urllib3

#: Of an answer this much is read; the rest of it, and its connection with it, is dropped.
BODY_MOST = 16 * 1024


class BoundedPool(urllib3.PoolManager):
    """Stands where the library keeps its own pool. One request at a time, each over within `whole_s`."""

    def __init__(self, whole_s: float, **tls: Any) -> None:
        super().__init__(num_pools=1, maxsize=1, retries=False, **tls)
        self._whole_s = whole_s
        self._open: Any = None
        self._handle: socket.socket | None = None
        self.was_cut = False

    def request(self, method: str, url: str, *args: Any, **named: Any) -> urllib3.BaseHTTPResponse:
        """As PoolManager's; the body is cut to BODY_MOST bytes and made UTF-8."""
        self.was_cut = False
        late = threading.Timer(self._whole_s, self.cut)
        late.daemon = True
        late.start()
        try:
            named |= {"preload_content": False, "decode_content": False, "redirect": False}
            with super().request(method, url, *args, **named) as answer:
                body = _body(answer)
                headers = urllib3.HTTPHeaderDict(answer.headers)
                status, reason = answer.status, answer.reason
        finally:
            late.cancel()
            self._let_go()
        return urllib3.HTTPResponse(
            io.BytesIO(body), headers=headers, status=status, reason=reason, decode_content=False
        )

    def _new_pool(self, *args: Any, **named: Any) -> Any:
        """The library's, but of each connection a second handle is kept until the request is over."""
        pool = super()._new_pool(*args, **named)
        kind: Any = pool.ConnectionCls

        def connection(*args: Any, **named: Any) -> Any:
            made = kind(*args, **named)
            plain = made._new_conn

            def new() -> socket.socket:
                opened: socket.socket = plain()
                # Before TLS begins: a hand-shake that drips has no end of its own either.
                self._let_go()
                self._handle = opened.dup()
                return opened

            made._new_conn = new
            self._open = made
            return made

        pool.ConnectionCls = connection  # type: ignore[assignment]
        return pool

    def cut(self) -> None:
        """End the request under way. From any thread."""
        self.was_cut = True
        for handle in (self._handle, getattr(self._open, "sock", None)):
            if handle is not None:
                with contextlib.suppress(OSError):
                    handle.shutdown(socket.SHUT_RDWR)

    def _let_go(self) -> None:
        handle, self._handle = self._handle, None
        if handle is not None:
            handle.close()


def _body(answer: urllib3.BaseHTTPResponse) -> bytes:
    """The beginning of the answer, as far as it comes: its status counts even where it breaks off."""
    read = b""
    try:
        while len(read) < BODY_MOST and (piece := answer.read(BODY_MOST - len(read))):
            read += piece
        whole = len(read) < BODY_MOST
    except (urllib3.exceptions.HTTPError, OSError):
        whole = False
    if not whole:
        answer.close()
    return read.decode("utf-8", "replace").encode()
