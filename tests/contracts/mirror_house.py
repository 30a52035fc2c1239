"""A running gateway with a time-series server: its site file, its store, and the readings it is sent."""

import json
import subprocess
import time
from pathlib import Path

from gateway.core.points import Pen
from gateway.edges.sqlite import open_reader
from tests.broker import Broker
from tests.cli.house import SOON_S, Daemon, site_file
from tests.timeseries import FaultProxy


class House:
    """A site whose file names the proxy before the server, its store and its broker."""

    def __init__(self, folder: Path, broker: Broker, url: str, more: str = "") -> None:
        """`more`: a further line of [series]."""
        self.broker = broker
        self.site = site_file(folder / "site", broker=broker.port)
        self.store = folder / "store"
        token = folder / "site" / "series.token"
        token.touch(0o600)
        token.write_text("made-up-token")
        keys = ('org = "q"', 'bucket = "malt"', 'token_file = "series.token"', "every_s = 0.2", more)
        series = "\n".join(["[series]", f'url = "{url}"', *keys, ""])
        self.site.write_text(self.site.read_text() + series)
        self.daemons: list[Daemon] = []

    def start(self) -> Daemon:
        """A gateway on this store."""
        one = Daemon(self.site, self.store)
        self.daemons.append(one)
        one.wait_for("running version=", "connected to")
        return one

    def publish(self, count: int, first: int) -> None:
        """So many readings of one probe, one a second, by mosquitto_pub."""
        words = ["mosquitto_pub", *self.broker.client_args, "-q", "1"]
        words += ["-t", "quern-hill/bed-c/bed-c-mid", "-l"]
        now_s = int(time.time()) - 50_000 + first
        lines = [json.dumps({"v": round(15 + k % 50 / 10, 1), "t": now_s + k}) for k in range(count)]
        subprocess.run(words, input="\n".join(lines), text=True, check=True, timeout=SOON_S)

    def lines(self) -> list[str]:
        """What must be in the server."""
        reader = open_reader(self.store)
        pen = Pen("quern-hill")
        lines = [pen.entry(entry) for entry in reader.entries_after(0, 10**6)]
        lines += [pen.effect(one.kind, one.body) for one in reader.effects_in_order(0, 10**6)]
        reader.close()
        return [line for line in lines if line is not None]

    def wait(self, proxy: FaultProxy, readings: int) -> None:
        """Until so many readings went to the server; a test's only clock is the deadline."""
        deadline = time.monotonic() + SOON_S
        while len({line for line in proxy.written if line.startswith("reading")}) < readings:
            assert time.monotonic() < deadline, (len(proxy.written), self.daemons[-1].log)
            proxy.changed.wait(0.2)
            proxy.changed.clear()
