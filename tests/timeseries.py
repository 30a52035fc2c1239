"""The time-series servers the mirror is tried on: a real one on loopback, and one that misbehaves on order.

`series_server` starts Debian's victoria-metrics, which takes the InfluxDB v2 write API; what it holds is
read back through its export API. It answers 204 to lines it cannot read and drops times far off, so every
other answer comes from `FaultProxy`, which stands in front of it and does what the test orders.
"""

import csv
import gzip
import http.client
import http.server
import io
import json
import shutil
import signal
import socket
import socketserver
import subprocess
import threading
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.broker import HOST, free_port, listening

START_S, STOP_S, POLL_S = 20.0, 20.0, 0.02
TRIES = 5
#: A point as read back: (name, tags in order, Unix ms, value).
Sample = tuple[str, tuple[tuple[str, str], ...], int, float]


def server_path() -> str | None:
    """Where victoria-metrics is."""
    return shutil.which("victoria-metrics")


class SeriesServer:
    """One victoria-metrics and its folder; port and data outlive a stop and a start."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = 0
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        """Where it is written to."""
        return f"http://{HOST}:{self.port}"

    def start(self) -> None:
        """Run it and return once it answers."""
        for _ in range(1 if self.port else TRIES):
            port = self.port or free_port()
            if self._run(port):
                self.port = port
                return
        log = (self.folder / "log").read_text(errors="replace")
        raise RuntimeError(f"victoria-metrics did not answer within {START_S} s:\n{log[-2000:]}")

    def stop(self) -> None:
        """End it in order; returns once it is gone."""
        process, self._process = self._process, None
        if process is None:
            return
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            raise

    def samples(self) -> list[Sample]:
        """Everything it holds; a list, so that what is doubled is seen."""
        self._get("/internal/force_flush")
        query = urllib.parse.urlencode({"match[]": '{__name__!=""}', "start": "0", "end": "253370764800"})
        found: list[Sample] = []
        for line in self._get(f"/api/v1/export?{query}").splitlines():
            series: dict[str, Any] = json.loads(line)
            tags = dict(series["metric"])
            name = tags.pop("__name__")
            tags.pop("db", None)  # the bucket
            key = tuple(sorted(tags.items()))
            found += [
                (name, key, at, float(value))
                for at, value in zip(series["timestamps"], series["values"], strict=True)
            ]
        return found

    def _get(self, path: str) -> bytes:
        call = http.client.HTTPConnection(HOST, self.port, timeout=60)
        try:
            call.request("GET", path)
            answer = call.getresponse()
            body = answer.read()
        finally:
            call.close()
        if answer.status >= 300:
            raise RuntimeError(f"{path}: status {answer.status}: {body[:500]!r}")
        return body

    def _run(self, port: int) -> bool:
        path = server_path()
        if path is None:
            raise RuntimeError("victoria-metrics is not installed")
        words = [
            path,
            f"-httpListenAddr={HOST}:{port}",
            f"-storageDataPath={self.folder / 'data'}",
            "-retentionPeriod=100y",
            "-dedup.minScrapeInterval=1ms",
            "-memory.allowedBytes=128MB",
            "-search.latencyOffset=0s",
            "-search.disableCache",
        ]
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        deadline = time.monotonic() + START_S
        while time.monotonic() < deadline:
            try:
                self._process.wait(POLL_S)
                return False
            except subprocess.TimeoutExpired:
                if listening(port):
                    self.port = port
                    self._get("/health")
                    return True
        self.stop()
        return False


class InfluxServer:
    """An InfluxDB somebody has given us the address of. The bucket must be the tests' own: it is emptied."""

    def __init__(self, url: str, token: str, org: str, bucket: str) -> None:
        self.url = url.rstrip("/")
        self.access = {"org": org, "bucket": bucket, "token": token}
        self._call(f"/api/v2/delete?{self._where()}", _ALL_TIME)

    def samples(self) -> list[Sample]:
        """Everything the bucket holds."""
        flux = f'from(bucket: "{self.access["bucket"]}") |> range(start: 0, stop: 2100-01-01T00:00:00Z)'
        query = {"query": flux, "type": "flux", "dialect": {"header": True, "annotations": []}}
        text = self._call(f"/api/v2/query?{self._where()}", query).decode()
        return [one for table in text.split("\r\n\r\n") for one in _flux_rows(table)]

    def _where(self) -> str:
        return urllib.parse.urlencode({key: self.access[key] for key in ("org", "bucket")})

    def _call(self, path: str, body: dict[str, Any]) -> bytes:
        headers = {"Authorization": f"Token {self.access['token']}", "Content-Type": "application/json"}
        request = urllib.request.Request(self.url + path, json.dumps(body).encode(), headers)  # noqa: S310
        with urllib.request.urlopen(request, timeout=60) as answer:  # noqa: S310
            said: bytes = answer.read()
        return said


_ALL_TIME = {"start": "1970-01-01T00:00:00Z", "stop": "2100-01-01T00:00:00Z"}
_OWN_COLUMNS = frozenset(
    {"", "result", "table", "_start", "_stop", "_time", "_value", "_field", "_measurement"}
)


def _flux_rows(table: str) -> Iterator[Sample]:
    """The rows of one table of annotated CSV without its annotations."""
    for row in csv.DictReader(io.StringIO(table.strip())):
        at_ms = round(datetime.fromisoformat(row["_time"]).timestamp() * 1000)
        tags = tuple(sorted((k, v) for k, v in row.items() if k not in _OWN_COLUMNS and v))
        yield f"{row['_measurement']}_{row['_field']}", tags, at_ms, float(row["_value"])


#: What the proxy does with one request. "pass" hands it on; a number is answered as that status without
#: handing it on; "cut" breaks off in the middle of the body; "lost" hands it on and never says so; "half"
#: hands it on and breaks off in the middle of the status line; "stall" does not answer at all.
Order = str | int


class FaultProxy:
    """Stands in front of a server (`to`, a port, or none) and obeys `orders`, the oldest first.

    Each order is for one request; without orders `rule` decides: it is given the lines of the request and
    returns an order. `headers` and `body` go with every status of the proxy's own.
    """

    def __init__(self, to: int | None = None) -> None:
        self.to = to
        self.orders: list[Order] = []
        self.rule: Callable[[list[str]], Order] = lambda _: "pass"
        self.headers: dict[str, str] = {}
        self.body = b'{"code":"invalid","message":"unable to parse the line"}'
        self.seen: list[tuple[Order, int]] = []  #: what was done, and lines of the request
        self.requests: list[tuple[str, dict[str, str]]] = []
        self.written: list[str] = []  #: lines that reached a server, or would have where there is none
        self.after: Callable[[], None] = lambda: None  #: called when "lost" has reached the server
        self.changed = threading.Event()  #: set at each request, for a test to wait on and clear
        self._stalled = threading.Event()
        self._server = _Server(self)
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        """Where it is written to."""
        return f"http://{HOST}:{self._server.server_address[1]}"

    def close(self) -> None:
        """Free the port; a stalled request ends."""
        self._stalled.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def order(self, lines: list[str]) -> Order:
        """What to do with this request."""
        order = self.orders.pop(0) if self.orders else self.rule(lines)
        self.seen.append((order, len(lines)))
        return order

    def stall(self) -> None:
        """Say nothing until the proxy is closed."""
        self._stalled.wait(60)

    def hand_on(self, path: str, headers: dict[str, str], body: bytes) -> tuple[int, bytes]:
        """The server's answer; 204 where there is none behind."""
        if self.to is None:
            return 204, b""
        call = http.client.HTTPConnection(HOST, self.to, timeout=30)
        try:
            call.request("POST", path, body, headers)
            answer = call.getresponse()
            return answer.status, answer.read()
        finally:
            call.close()


class _Server(socketserver.ThreadingMixIn, http.server.HTTPServer):
    daemon_threads = True
    request_queue_size = 50

    def __init__(self, proxy: FaultProxy) -> None:
        self.proxy = proxy
        super().__init__((HOST, 0), _Handler)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A caller that went away is part of the test."""


class _Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    timeout = 60
    disable_nagle_algorithm = True
    server: _Server

    def log_message(self, *args: Any) -> None:
        """Quiet."""

    def do_POST(self) -> None:
        """One write."""
        proxy, size = self.server.proxy, int(self.headers["Content-Length"])
        # "cut" is in the middle of the body, as far as a server can tell.
        if proxy.orders[:1] == ["cut"]:
            self.rfile.read(size // 2)
            proxy.order([])
            self._cut()
            return
        body = self.rfile.read(size)
        lines = gzip.decompress(body).decode().split("\n")
        order = proxy.order(lines)
        proxy.requests.append((self.path, dict(self.headers)))
        if order in ("pass", "lost", "half"):
            self._hand_on(order, lines, body)
        elif order == "stall":
            proxy.stall()
            self._cut()
        elif order == "cut":
            self._cut()
        else:
            self._answer(int(order), proxy.body, proxy.headers)

    def _hand_on(self, order: Order, lines: list[str], body: bytes) -> None:
        proxy = self.server.proxy
        kept = {key: self.headers[key] for key in ("Content-Type", "Content-Encoding", "Authorization")}
        try:
            status, said = proxy.hand_on(self.path, kept, body)
        except OSError:
            self._answer(502, b"", {})
            return
        if status == 204:
            proxy.written += lines
        proxy.changed.set()
        if order == "pass":
            self._answer(status, said, {})
            return
        if order == "lost":
            proxy.after()
        if order == "half":
            self.wfile.write(b"HTTP/1.1 20")
        self._cut()

    def _answer(self, status: int, body: bytes, headers: dict[str, str]) -> None:
        self.send_response(status)
        for key, value in headers.items():
            self.send_header(key, value)
        if status != 204:
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        if status != 204:
            self.wfile.write(body)

    def _cut(self) -> None:
        self.close_connection = True
        self.connection.shutdown(socket.SHUT_RDWR)


@pytest.fixture
def series_server(tmp_path: Path) -> Iterator[SeriesServer]:
    """A running victoria-metrics; the test is left out, and counted, where there is none."""
    folder = tmp_path / "series"
    folder.mkdir()
    server = SeriesServer(folder)
    server.start()
    yield server
    server.stop()


@pytest.fixture
def proxies() -> Iterator[Callable[..., FaultProxy]]:
    """`proxies(to=None)` makes one proxy more; all are gone after the test."""
    made: list[FaultProxy] = []

    def make(to: int | None = None) -> FaultProxy:
        made.append(FaultProxy(to))
        return made[-1]

    yield make
    for one in made:
        one.close()
