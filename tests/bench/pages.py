"""What the page costs: time to serve, memory over a daemon without it, and fifty open pages that listen and
fetch themselves anew when they are told of a change, as `gateway/web/static/page.js` does."""

import argparse
import http.client
import os
import re
import socket
import statistics
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from gateway.edges.control import ask
from tests.bench import load
from tests.bench.memory import talk
from tests.bench.town import Town, memory_mb, until

_WEB = '[web]\nlisten = "127.0.0.1:0"\n'
PATHS = ("/", "/bed/bed-00")
#: As in page.js.
LEAST_GAP_S = 4.0


def options(parser: argparse.ArgumentParser) -> None:
    """Its own words on the command line."""
    parser.add_argument("--times", type=int, default=200, help="how often each page is asked for")
    parser.add_argument("--listeners", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=30.0, help="how long the open pages are watched")


def run(chosen: argparse.Namespace) -> dict[str, Any]:
    """Milliseconds until a page is there, as who asked measures it, one after another; MB (10^6) of resident
    memory with the page, once it was used, over a daemon without; the share of a core that the daemon takes
    while 200 probes speak each 10 s: alone, with open pages that listen, and with pages that fetch anew."""
    bare_mb = _without()
    with tempfile.TemporaryDirectory() as folder, Town(Path(folder), 10, _WEB) as town:
        pid = _up(town)
        load.publish(town.broker.host, town.broker.port, 20_000, time.time() - 60)
        port, cookie = _way_in(town)
        begin_mb, _ = memory_mb(pid)
        _calm(pid)
        took = {path: _served_ms(port, cookie, path, chosen.times) for path in PATHS}
        used_mb, _ = memory_mb(pid)
        quiet = _share(pid, town, chosen.seconds)
        cookies = [_enter(town)[1] for _ in range(chosen.listeners)]
        open_pages = [_listen(port, one) for one in cookies]
        heard = _share(pid, town, chosen.seconds)
        events = [_events(one) for one in open_pages]
        fetching = [_Open(port, one, PATHS[0]) for one in cookies]
        fetched = _share(pid, town, chosen.seconds)
        fetches = [one.end() for one in fetching]
        town.stop()
    return {
        "times": chosen.times,
        "p50_ms": {path: round(statistics.median(found), 1) for path, found in took.items()},
        "p95_ms": {path: round(_p95(found), 1) for path, found in took.items()},
        "bare_mb": round(bare_mb, 1),
        "page_mb": round(begin_mb - bare_mb, 1),
        "page_used_mb": round(used_mb - bare_mb, 1),
        "listeners": chosen.listeners,
        "events_each": min(events),
        "core_quiet": round(quiet, 4),
        "core_listening": round(heard, 4),
        "fetches_each": min(fetches),
        "core_fetching": round(fetched, 4),
    }


def _p95(found: list[float]) -> float:
    return statistics.quantiles(found, n=20)[-1]


def _without() -> float:
    """Resident memory of a daemon without the page on the same load."""
    with tempfile.TemporaryDirectory() as folder, Town(Path(folder), 10) as town:
        pid = _up(town)
        load.publish(town.broker.host, town.broker.port, 20_000, time.time() - 60)
        talk(town, 5.0, 10)
        found, _ = memory_mb(pid)
        town.stop()
    return found


def _up(town: Town) -> int:
    pid = town.start()
    until(lambda: b"running version" in (town.folder / "daemon.log").read_bytes(), 0.05)
    return pid


def _way_in(town: Town) -> tuple[int, str]:
    """The page's port, and a cookie."""
    talk(town, 5.0, 10)
    ask(town.store, {"kind": "account", "what": "add", "name": "Ada", "role": "maltster"}, 10.0)
    return _enter(town)


def _enter(town: Town) -> tuple[int, str]:
    """Another browser of the same person."""
    said = ask(town.store, {"kind": "account", "what": "open", "name": "Ada"}, 10.0)
    found = re.fullmatch(r"http://127\.0\.0\.1:(\d+)(/in/\S+)", said["said"][0])
    assert found, said
    line = http.client.HTTPConnection("127.0.0.1", int(found[1]), timeout=10)
    line.request("POST", found[2], headers={"Content-Length": "0"})
    cookie = line.getresponse().getheader("set-cookie", "").split(";")[0]
    line.close()
    return int(found[1]), cookie


def _calm(pid: int) -> None:
    """Wait until what was published is judged and summed: it would be measured with the first page."""
    last_s = _cpu_s(pid) - 1.0

    def calm() -> bool:
        nonlocal last_s
        before_s, last_s = last_s, _cpu_s(pid)
        return last_s - before_s < 0.03

    until(calm, 0.5)


def _served_ms(port: int, cookie: str, path: str, times: int) -> list[float]:
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    found = []
    for turn in range(times + 5):
        began = time.perf_counter()
        line.request("GET", path, headers={"Cookie": cookie})
        answer = line.getresponse()
        body = answer.read()
        if answer.status != 200 or len(body) < 500:
            raise RuntimeError(f"{path}: {answer.status} {body[:200]!r}")
        if turn >= 5:
            found.append((time.perf_counter() - began) * 1000)
    line.close()
    return found


def _listen(port: int, cookie: str) -> socket.socket:
    line = socket.create_connection(("127.0.0.1", port), 10)
    line.sendall(f"GET /live HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {cookie}\r\n\r\n".encode())
    return line


class _Open:
    """A page that is open: told of a change, it fetches its middle again, each 4 s at the most."""

    def __init__(self, port: int, cookie: str, path: str) -> None:
        self._port, self._cookie, self._path, self._fetched = port, cookie, path, 0
        self._line = _listen(port, cookie)
        self._line.settimeout(None)
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._follow, daemon=True)
        self._thread.start()

    def _follow(self) -> None:
        page = http.client.HTTPConnection("127.0.0.1", self._port, timeout=10)
        last_s = 0.0
        try:
            while part := self._line.recv(65536):
                wait_s = LEAST_GAP_S - (time.monotonic() - last_s)
                if b"event: changed" not in part or self._ended.wait(max(0.0, wait_s)):
                    continue
                page.request("GET", self._path, headers={"Cookie": self._cookie, "X-Part": "1"})
                if len(page.getresponse().read()) < 500:
                    raise RuntimeError("a page came short")
                last_s = time.monotonic()
                self._fetched += 1
        except OSError:
            pass
        page.close()

    def end(self) -> int:
        """Close it; how often it was fetched."""
        self._ended.set()
        self._line.shutdown(socket.SHUT_RDWR)
        self._thread.join(10)
        self._line.close()
        return self._fetched


def _events(line: socket.socket) -> int:
    """How many changes a page that listened was told of."""
    line.settimeout(0.5)
    taken = b""
    try:
        while part := line.recv(65536):
            taken += part
    except TimeoutError:
        pass
    line.close()
    return taken.count(b"event: changed")


def _share(pid: int, town: Town, for_s: float) -> float:
    """The share of one core the daemon takes meanwhile."""
    began, before_s = time.perf_counter(), _cpu_s(pid)
    speaking = threading.Thread(target=talk, args=(town, for_s, 10))
    speaking.start()
    speaking.join()
    return (_cpu_s(pid) - before_s) / (time.perf_counter() - began)


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
