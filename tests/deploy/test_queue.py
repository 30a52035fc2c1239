"""Three days without the gateway: what the broker confirmed waits in it, survives its end, and arrives."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from gateway.edges.sqlite import open_reader
from tests.cli.house import Daemon, type_in
from tests.deploy.board import SOON_S, BoardBroker, Site, make_site, until

pytestmark = [pytest.mark.broker, pytest.mark.long]

PROBES = tuple(f"p{number:02d}" for number in range(32))
EVERY_S = 60
#: More than three days of 32 probes a minute (138,240), fewer than the drop-in's 200,000.
MESSAGES = 150_000
Brokers = Callable[..., BoardBroker]


class Site32:
    """Thirty-two probes, their broker, and a gateway that comes and goes."""

    def __init__(self, folder: Path, brokers: Brokers) -> None:
        self.site: Site = make_site(folder / "site", probes=PROBES)
        self.broker = brokers(self.site)
        self.site.file.write_text(
            self.site.file.read_text().replace("port = 8883", f"port = {self.broker.port}")
        )
        self.store = folder / "store"
        self._daemons: list[Daemon] = []

    def start(self) -> Daemon:
        """A gateway that is connected."""
        secrets = str(self.site.credentials / "gateway")
        one = Daemon(self.site.file, self.store, "--trust-clock", MALTING_SECRETS=secrets)
        self._daemons.append(one)
        one.wait_for("running version=", "connected to")
        return one

    def publish(self, rounds: int, newest_s: int) -> int:
        """Each probe says a reading a minute by its own account; how many the broker confirmed."""
        for number, probe in enumerate(PROBES):
            words = ["mosquitto_pub", *self.broker.client_args, "--cafile", str(self.site.ca), "-u", probe]
            words += ["-P", self.site.password(probe), "-q", "1", "-t", f"quern-hill/bed-a/{probe}", "-l"]
            first_s = newest_s - rounds * EVERY_S
            lines = [
                json.dumps({"v": 15 + number / 10 + turn % 50 / 100, "t": first_s + turn * EVERY_S})
                for turn in range(rounds)
            ]
            subprocess.run(words, input="\n".join(lines) + "\n", text=True, check=True, timeout=SOON_S * 4)
        return rounds * len(PROBES)

    def kept(self) -> dict[str, int]:
        """The store's running totals."""
        reader = open_reader(self.store)
        try:
            return reader.counts()
        finally:
            reader.close()

    def discard(self) -> None:
        """Leave nothing running."""
        for daemon in self._daemons:
            daemon.discard()


@pytest.fixture
def house(tmp_path: Path, board_brokers: Brokers) -> Iterator[Site32]:
    one = Site32(tmp_path, board_brokers)
    yield one
    one.discard()


def _resident_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def test_150_000_messages_queue_and_all_arrive(house: Site32, capsys: pytest.CaptureFixture[str]) -> None:
    assert house.start().end() == 0
    rounds = -(-MESSAGES // len(PROBES))
    began = time.monotonic()
    sent = house.publish(rounds, int(time.time()))
    queued_s, queue_mb = time.monotonic() - began, _resident_mb(house.broker.pid)
    house.broker.restart()  # in order: what waits is written down
    began = time.monotonic()
    daemon = house.start()
    until(lambda: house.kept().get("kept", 0) >= sent, within_s=300)
    drained_s = time.monotonic() - began
    assert daemon.end() == 0
    counts = house.kept()
    assert (counts["kept"], counts["received"]) == (sent, sent)
    assert counts.get("duplicates", 0) == counts.get("refused", 0) == 0
    assert "being dropped" not in house.broker.log
    said = type_in("--store", house.store, "verify", "--json")
    assert said.code == 0, said.out
    assert said.json["rows"][0]["counts"]["reading"] == sent
    database = (house.store / "journal.db").stat().st_size
    with capsys.disabled():
        sys.stderr.write(
            f"\n{sent} messages: confirmed in {queued_s:.0f} s, broker {queue_mb:.0f} MB, "
            f"taken in {drained_s:.1f} s, store {database / sent:.0f} bytes each\n"
        )


def test_what_was_confirmed_30_s_ago_survives_a_killed_broker(house: Site32) -> None:
    """The drop-in's autosave_interval; without it mosquitto writes its queue down every half hour."""
    assert house.start().end() == 0
    sent = house.publish(50, int(time.time()))
    written = house.broker.folder / "mosquitto.db"
    confirmed_ns = time.time_ns()
    until(lambda: written.exists() and written.stat().st_mtime_ns > confirmed_ns, within_s=45)
    house.broker.kill()
    house.broker.start()
    house.start()
    until(lambda: house.kept().get("kept", 0) >= sent)
    assert house.kept()["kept"] == sent


def test_signals_do_not_tear_the_queue(house: Site32) -> None:
    """The gateway killed while it drains: nothing is missing, nothing is kept twice."""
    assert house.start().end() == 0
    sent = house.publish(200, int(time.time()))
    daemon = house.start()
    until(lambda: house.kept().get("kept", 0) > 0)
    daemon.end(signal.SIGKILL)
    house.start()
    until(lambda: house.kept().get("kept", 0) >= sent)
    assert house.kept()["kept"] == sent
