"""The pages over plain HTTP, without accounts: what a browser sees is the product's, who may see is not."""

from __future__ import annotations

import threading
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from gateway.web import paper, turn_page
from gateway.web.given import Account
from tests.browser.lived import Lived

#: As strict as the product's own: no style and no script but from files.
POLICY = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"


class Serving:
    """A server on a port of its own; the person's name comes in a cookie `me` (cleo where there is none)."""

    def __init__(self, lived: Lived, account: Callable[[str], Account]) -> None:
        handler = type("Handler", (_Handler,), {"lived": lived, "account": staticmethod(account)})
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
        self.server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}"
        self._thread = threading.Thread(target=self.server.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop listening."""
        self.server.shutdown()
        self.server.server_close()
        self._thread.join(5)


class _Handler(BaseHTTPRequestHandler):
    lived: Any
    account: Any

    def _me(self) -> Account:
        cookie = self.headers.get("Cookie", "")
        name = next((one.split("=", 1)[1] for one in cookie.split("; ") if one.startswith("me=")), "cleo")
        found: Account = self.account(name)
        return found

    def do_GET(self) -> None:
        """A page, or a file beside it."""
        parts = urlsplit(self.path)
        if parts.path.startswith("/static/") or parts.path == "/sw.js":
            name = parts.path.rsplit("/", 1)[1]
            self._send(200, (paper.STATIC / name).read_bytes(), paper.TYPES[name.rsplit(".", 1)[1]])
            return
        if parts.path == "/live":
            self._send(204, b"", "text/event-stream")
            return
        bare = self.headers.get("X-Part") == "1"
        reply = turn_page.get(
            self.lived, self._me(), parts.path, dict(parse_qsl(parts.query)), "t", part=bare
        )
        more = {"X-Now": str(reply.now_ms), "X-Clock": reply.clock, "Cache-Control": "no-store"}
        self._send(reply.status, reply.html.encode(), "text/html; charset=utf-8", more)

    def do_POST(self) -> None:
        """Something is written down."""
        form = dict(parse_qsl(self.rfile.read(int(self.headers["Content-Length"])).decode()))
        reply = turn_page.post(self.lived, self._me(), self.path.rsplit("/", 1)[1], form, "t")
        more = {"Location": reply.location} if reply.location else {}
        self._send(reply.status, reply.html.encode(), "text/html; charset=utf-8", more)

    def _send(self, status: int, body: bytes, kind: str, more: dict[str, str] | None = None) -> None:
        self.send_response(status)
        told = {"Content-Type": kind, "Content-Length": str(len(body)), "Content-Security-Policy": POLICY}
        for key, value in (told | (more or {})).items():
            self.send_header(key, value)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *words: Any) -> None:
        """Say nothing."""
