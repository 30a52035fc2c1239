"""A stand-in for a phone: takes signed messages by HTTP and prints each as a lock screen would show it.

    python -m simulators.phone --port 8410 --secret-file phone.secret --log messages.jsonl

It checks Standard Webhooks signatures where it has the secret, shows a message that comes twice once, and
can be told to answer late or with another status.
"""

from __future__ import annotations

import argparse
import base64
import binascii
import hashlib
import hmac
import json
import queue
import signal
import sys
import textwrap
import threading
from collections import OrderedDict, deque
from dataclasses import dataclass, field
from datetime import datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, TextIO
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from simulators.clock import wall_s

WIDTH = 46
BODY_MOST = 20_000  # Standard Webhooks: a payload has less than 20 kB
TOLERANCE_S = 300.0
KNOWN_MOST = 1000


@dataclass(frozen=True)
class Reply:
    """What the phone says to one message, and after how long."""

    status: int = 204
    delay_s: float = 0.0
    headers: tuple[tuple[str, str], ...] = ()
    body: bytes = b""


@dataclass(frozen=True)
class Received:
    """One message as it came; `signature` is good, bad or unchecked."""

    at_s: float
    id: str
    timestamp: str
    signature: str
    again: bool
    status: int
    message: dict[str, Any]
    raw: bytes = field(repr=False)


def secret_bytes(text: bytes) -> bytes:
    """The key in a secret file: `whsec_` and base64, or else its bytes as they are. Raises ValueError."""
    key = text.removesuffix(b"\n").removesuffix(b"\r")
    if not key.startswith(b"whsec_"):
        return key
    try:
        return base64.b64decode(key[6:] + b"=" * (-(len(key) - 6) % 4), validate=True)
    except binascii.Error as fault:
        raise ValueError("the secret is not base64 after whsec_") from fault


def is_good(secret: bytes, headers: dict[str, str], body: bytes, now_s: float) -> bool:
    """Whether one of the signatures fits and the time is within five minutes."""
    stamp = headers.get("webhook-timestamp", "")
    if not (stamp.isascii() and stamp.isdigit() and abs(int(stamp[:12]) - now_s) <= TOLERANCE_S):
        return False
    signed = f"{headers.get('webhook-id', '')}.{stamp}.".encode() + body
    wanted = base64.b64encode(hmac.new(secret, signed, hashlib.sha256).digest()).decode()
    given = headers.get("webhook-signature", "").split()
    return any(hmac.compare_digest(one.encode(), f"v1,{wanted}".encode()) for one in given)


def screen(message: dict[str, Any], zone: ZoneInfo | None = None, bold: bool = False) -> str:
    """The lock screen: the time, who calls how urgently, the title large, then the text; the link below."""
    inner = WIDTH - 4
    sort = "the call is over" if message.get("type") == "over" else str(message.get("type", ""))
    head = f"{_clock(message.get('at'), zone)}  {_plain(sort)}, {_plain(message.get('priority'))}"
    title = [line.upper() for line in textwrap.wrap(_plain(message.get("title")), inner)]
    lines = [head[:inner], "", *title, "", *textwrap.wrap(_plain(message.get("text")), inner)]
    edge = "─" * (WIDTH - 2)
    big = range(2, 2 + len(title))
    rows = [_row(line, inner, bold and n in big) for n, line in enumerate(lines)]
    link = message.get("answer_url")
    below = [f"  answer: {_plain(link)}"] if link else []
    return "\n".join([f"┌{edge}┐", *rows, f"└{edge}┘", *below]) + "\n"


def _row(line: str, inner: int, bold: bool) -> str:
    text = line.ljust(inner)
    return f"│ \x1b[1m{text}\x1b[0m │" if bold else f"│ {text} │"


def _plain(value: object) -> str:
    """One line that cannot steer a terminal."""
    return "".join(one if one.isprintable() else " " for one in str(value if value is not None else ""))


def _clock(at: object, zone: ZoneInfo | None) -> str:
    try:
        return datetime.fromisoformat(str(at)).astimezone(zone).strftime("%H:%M")
    except ValueError:
        return "--:--"


class Phone:
    """Serves from `start` to `stop`. `replies` are used up in order, then `usual` is said; `received` gets
    every message whose body is whole."""

    def __init__(
        self,
        port: int = 0,
        *,
        host: str = "127.0.0.1",
        secret: bytes | None = None,
        out: TextIO | None = None,
        log: TextIO | None = None,
        zone: str | None = None,
    ) -> None:
        self.usual = Reply()
        self.replies: deque[Reply] = deque()
        self.received: queue.SimpleQueue[Received] = queue.SimpleQueue()
        self._secret, self._out, self._log = secret, out, log
        self._zone = ZoneInfo(zone) if zone else None
        self._known: OrderedDict[str, None] = OrderedDict()
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._server = _Server((host, port), type("Handler", (_Handler,), {"phone": self}))
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.1}, name="phone", daemon=True
        )
        self.url = f"http://{host}:{self._server.server_address[1]}/"

    def start(self) -> Phone:
        """Begin to answer."""
        self._thread.start()
        return self

    def stop(self) -> None:
        """End, and let go of whoever waits for a late reply."""
        self._stopping.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def take(self, headers: dict[str, str], raw: bytes) -> Reply:
        """One message: checked, shown, kept; what to say to it."""
        reply = self.replies.popleft() if self.replies else self.usual
        now_s = wall_s()
        signature = "unchecked"
        if self._secret is not None:
            signature = "good" if is_good(self._secret, headers, raw, now_s) else "bad"
        message = _message(raw)
        if signature == "bad" or message is None:
            reply = Reply(401 if signature == "bad" else 400)
        with self._lock:
            name = headers.get("webhook-id", "")[:200]
            again = name in self._known
            if reply.status < 300:
                self._known[name] = None
                if len(self._known) > KNOWN_MOST:
                    self._known.popitem(last=False)
            stamp = headers.get("webhook-timestamp", "")
            got = Received(now_s, name, stamp, signature, again, reply.status, message or {}, raw)
            self._show(got)
        self.received.put(got)
        self._stopping.wait(reply.delay_s)
        return reply

    def _show(self, got: Received) -> None:
        if self._log:
            line = {name: value for name, value in vars(got).items() if name != "raw"}
            self._log.write(json.dumps(line, ensure_ascii=False) + "\n")
            self._log.flush()
        if not self._out:
            return
        if got.status >= 300:
            self._out.write(f"  (message {_plain(got.id)} turned away with status {got.status})\n")
        elif got.again:
            self._out.write(f"  (message {_plain(got.id)} came once more)\n")
        else:
            self._out.write(screen(got.message, self._zone, self._out.isatty()))
        self._out.flush()


def _message(raw: bytes) -> dict[str, Any] | None:
    try:
        found = json.loads(raw)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Who sends may hang up at any time; that is no news."""


class _Handler(BaseHTTPRequestHandler):
    phone: Phone
    timeout = 30.0

    def do_POST(self) -> None:
        """A message."""
        length = self.headers.get("Content-Length", "")
        if not (length.isascii() and length.isdigit()) or int(length[:9]) > BODY_MOST:
            self._say(Reply(413))
            return
        raw = self.rfile.read(int(length))
        if len(raw) == int(length):
            self._say(self.phone.take({name.lower(): value for name, value in self.headers.items()}, raw))

    def _say(self, reply: Reply) -> None:
        self.send_response_only(reply.status)
        for name, value in (*reply.headers, ("Content-Length", str(len(reply.body)))):
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(reply.body)

    def log_message(self, *args: Any) -> None:
        """The screen is the log."""


def _options(words: list[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m simulators.phone", description="A stand-in for a phone.")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (%(default)s)")
    parser.add_argument("--port", type=int, default=0, help="port to listen on (default: a free one)")
    parser.add_argument("--secret-file", type=Path, help="check signatures with this secret")
    parser.add_argument("--log", type=Path, help="add one JSON line for each message to this file")
    parser.add_argument("--zone", help="time zone of the clock on the screen, such as Europe/London")
    parser.add_argument("--fail", type=int, default=204, metavar="STATUS", help="answer with this status")
    parser.add_argument("--delay", type=float, default=0.0, metavar="S", help="answer after so many seconds")
    return parser.parse_args(words)


def main(words: list[str] | None = None) -> int:
    """Run until interrupted; 2 where a file or the port cannot be had."""
    given = _options(words)
    try:
        secret = secret_bytes(given.secret_file.read_bytes()) if given.secret_file else None
        log = given.log.open("a", encoding="utf-8") if given.log else None
        phone = Phone(given.port, host=given.host, secret=secret, out=sys.stdout, log=log, zone=given.zone)
    except (OSError, ValueError, ZoneInfoNotFoundError) as fault:
        sys.stderr.write(f"phone: {fault}\n")
        return 2
    phone.usual = Reply(given.fail, given.delay)
    ended = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: ended.set())
    phone.start()
    sys.stdout.write(f"a stand-in phone listens on {phone.url}\n")
    sys.stdout.flush()
    ended.wait()
    phone.stop()
    return 0


if __name__ == "__main__":
    sys.exit(main())
