"""An endless load for a daemon that is killed: mosquitto_pub, a phone, and what both know."""

from __future__ import annotations

import http.server
import json
import subprocess
import threading
import time
from collections import Counter
from pathlib import Path
from typing import Any

from gateway.core.reading import Reading
from gateway.edges.sqlite import open_reader
from tests.broker import Broker
from tests.cli.house import NIGHT_MS, Daemon, site_file

MINUTE_S = 60
SOON_S = 60.0
MANY = 1_000_000
#: One cycle of the load is an hour of the clock on the topic; bed C is hot from minute 15 to 35 of it.
HOT = range(15, 35)
#: Probes speak so many minutes at once, the clock follows; by that minute bed C must have been called for.
PART_MIN, CALLED_BY_MIN = 5, 30
STEADY = ("bed-a/bed-a-mid", "bed-b/bed-b-mid", "bed-d/bed-d-mid")
#: Probes that send each second, one that sends bare numbers, one topic nobody knows.
QUICK = ("bed-a/bed-a-co2", "bed-b/bed-b-co2", "bed-d/bed-d-co2")
BARE, STRANGE = "outdoors/outdoors-air", "bed-c/none"


class Phone:
    """Takes webhooks on a free port; a call that comes twice bears the same id."""

    def __init__(self) -> None:
        self.heard: dict[str, dict[str, Any]] = {}
        self.posts = 0
        self.news = threading.Condition()
        phone = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = json.loads(self.rfile.read(int(self.headers["content-length"])))
                with phone.news:
                    phone.posts += 1
                    phone.heard[self.headers["webhook-id"]] = body
                    phone.news.notify_all()
                self.send_response(204)
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the library's name
                return

        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, args=(0.1,), daemon=True).start()

    def called_for(self, place: str) -> set[int]:
        """The numbers of the alarms of a place it was called for."""
        return {
            int(body["alarm"]) for body in list(self.heard.values())
            if body["place"] == place and body["type"] in ("call", "repeat") and body["alarm"] is not None
        }  # fmt: skip

    def wait_called(self, place: str, count: int) -> None:
        """Until that many alarms of a place have been heard; fails where they do not come."""
        with self.news:
            came = self.news.wait_for(lambda: len(self.called_for(place)) >= count, SOON_S)
        assert came, f"{len(self.called_for(place))} of {count} alarms were heard"

    def close(self) -> None:
        """No further calls."""
        self._server.shutdown()
        self._server.server_close()


class Load:
    """What the broker took at QoS 1, line by line as mosquitto_pub was told that it did."""

    def __init__(self, broker: Broker) -> None:
        self._broker = broker
        self.timed: dict[tuple[str, int], float] = {}
        self.bare: list[float] = []
        self.strange: list[str] = []
        self.cycles = 0
        self.clock_ms = NIGHT_MS

    @property
    def taken(self) -> int:
        """Messages, those of the clock left out."""
        return len(self.timed) + len(self.bare) + len(self.strange)

    def _begin(self, topic: str, lines: list[str]) -> subprocess.Popen[str]:
        words = ["mosquitto_pub", *self._broker.client_args, "-q", "1", "-t", f"quern-hill/{topic}", "-l"]
        process = subprocess.Popen(words, stdin=subprocess.PIPE, text=True)
        assert process.stdin is not None
        process.stdin.write("\n".join(lines) + "\n")
        process.stdin.close()
        return process

    @staticmethod
    def _end(process: subprocess.Popen[str]) -> None:
        """It ends with 0 once the broker has acknowledged every line."""
        assert process.wait(SOON_S) == 0

    def tell(self, minutes: int) -> None:
        """Set the clock to so many minutes after the night's beginning."""
        self.clock_ms = NIGHT_MS + minutes * MINUTE_S * 1000
        words = ["mosquitto_pub", *self._broker.client_args, "-q", "1", "-t", "quern-hill/clock", "-m"]
        subprocess.run([*words, json.dumps({"t": self.clock_ms / 1000})], check=True, timeout=SOON_S)

    def part(self, first: int, last: int) -> None:
        """Some minutes of a cycle from every probe, all at once; then the time."""
        start = self.cycles * 60
        at = [NIGHT_MS + (start + minute) * MINUTE_S * 1000 + 500 for minute in range(first, last)]
        seconds = range(at[0], at[-1] + MINUTE_S * 1000, 1000)
        series = {topic: [(ms, 15.0 + number) for ms in at] for number, topic in enumerate(STEADY)}
        series["bed-c/bed-c-mid"] = [
            (ms, 23.0 if minute in HOT else 20.0) for ms, minute in zip(at, range(first, last), strict=True)
        ]
        series |= {topic: [(ms, 2000.0 + ms // 1000 % 500) for ms in seconds] for topic in QUICK}
        bare = [(len(self.bare) + k) % 8000 / 100 - 20 for k in range(10)]
        strange = [f"nobody {self.cycles} {first} {k}" for k in range(2)]
        begun = [
            self._begin(topic, [json.dumps({"t": ms / 1000, "v": value}) for ms, value in readings])
            for topic, readings in series.items()
        ]
        begun += [self._begin(BARE, [f"{value:.2f}" for value in bare]), self._begin(STRANGE, strange)]
        for process in begun:
            self._end(process)
        for topic, readings in series.items():
            probe = topic.split("/")[1]
            self.timed.update({(probe, ms): value for ms, value in readings})
        self.bare += bare
        self.strange += strange
        self.tell(start + last)

    def cycle(self, phone: Phone | None) -> None:
        """One hour; where a phone is given, wait at the hottest until it has been called."""
        for first in range(0, 60, PART_MIN):
            self.part(first, first + PART_MIN)
            if phone is not None and first + PART_MIN == CALLED_BY_MIN:
                phone.wait_called("bed-c", self.cycles + 1)
        self.cycles += 1


class Gateway:
    """One store and one site on a broker; daemons come and go."""

    def __init__(self, folder: Path, broker: Broker, phone: Phone) -> None:
        self.site = site_file(folder / "site", broker=broker.port, phone=phone.port)
        self.store = folder / "store"
        self.daemon: Daemon | None = None
        self._broker = broker

    def start(self) -> Daemon:
        """A daemon, not waited for."""
        self.daemon = Daemon(self.site, self.store, "--clock", "topic")
        return self.daemon

    def discard(self) -> None:
        """Leave nothing running."""
        if self.daemon is not None:
            self.daemon.discard()

    def wait_judged(self, clock_ms: int) -> None:
        """Until everything up to a time is judged and no notice waits."""
        until_s = time.monotonic() + SOON_S
        pause = threading.Event()
        reader = open_reader(self.store)
        try:
            while reader.last_stamp()[1] < clock_ms or reader.due_notices():
                assert time.monotonic() < until_s, (reader.last_stamp(), clock_ms, reader.due_notices()[:3])
                pause.wait(0.05)
        finally:
            reader.close()

    def readings(self) -> list[Reading]:
        """Every reading in the journal, in order."""
        reader = open_reader(self.store)
        try:
            found: list[Reading] = []
            n = 0
            while page := reader.entries_after(n, 20_000):
                n = page[-1].n
                found += [entry.what for entry in page if isinstance(entry.what, Reading)]
            return found
        finally:
            reader.close()

    def strange(self) -> Counter[str]:
        """The refused payloads that are kept, by what they said."""
        reader = open_reader(self.store)
        try:
            return Counter(line.rejected.payload.decode() for line in reader.rejected(MANY))
        finally:
            reader.close()

    def counts(self) -> dict[str, int]:
        """The running totals."""
        reader = open_reader(self.store)
        try:
            return reader.counts()
        finally:
            reader.close()

    def alarms(self) -> Counter[tuple[str, str | None, str | None, int, str]]:
        """Every alarm but those about the gateway itself."""
        reader = open_reader(self.store)
        try:
            return Counter(
                (one.alarm.kind, one.alarm.place, one.alarm.probe, one.alarm.occurrence, one.alarm.level)
                for one in reader.alarms(True, MANY)
                if not one.alarm.kind.startswith("gateway_")
            )
        finally:
            reader.close()

    def delivered(self, kind: str) -> set[int]:
        """The occurrences of a kind for which some phone is recorded as reached."""
        reader = open_reader(self.store)
        try:
            numbers = {one.alarm.number: one.alarm.occurrence for one in reader.alarms(True, MANY)
                       if one.alarm.kind == kind}  # fmt: skip
            return {
                numbers[line.notice.alarm] for line in reader.notices(MANY)
                if line.notice.alarm in numbers and line.delivered_at_ms is not None
            }  # fmt: skip
        finally:
            reader.close()
