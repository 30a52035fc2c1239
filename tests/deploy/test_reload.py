"""`malting-gateway reload` and SIGHUP: a good site file takes effect as an input, a bad one does nothing."""

import json
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.core.inputs import Entry, SiteChanged
from gateway.edges.sqlite import open_reader
from tests.broker import Broker
from tests.cli.house import SOON_S, Daemon, Said, site_file, type_in
from tests.deploy.board import until

pytestmark = pytest.mark.broker

PROBE = """
[[probe]]
id = "new-one"
place = "bed-a"
quantity = "temperature"
unit = "Cel"
payload = "number"
every_s = 60
range = [-20, 60]
"""


class Running:
    """A daemon whose site file is edited under it."""

    def __init__(self, folder: Path, broker: Broker) -> None:
        self.broker, self.store = broker, folder / "store"
        self.site = site_file(folder / "site", broker=broker.port)
        self.daemon = Daemon(self.site, self.store)
        self.daemon.wait_for("running version=", "connected to")

    def edit(self, old: str, new: str) -> None:
        text = self.site.read_text()
        assert old in text
        self.site.write_text(text.replace(old, new))

    def reload(self) -> Said:
        return type_in("--store", self.store, "reload")

    def sites(self) -> list[Entry]:
        """Every site file of the journal."""
        reader = open_reader(self.store)
        found = [entry for entry in reader.entries_after(0, 10_000) if isinstance(entry.what, SiteChanged)]
        reader.close()
        return found

    def publish(self, topic: str, text: str) -> None:
        words = ["mosquitto_pub", *self.broker.client_args, "-q", "1", "-t", topic, "-m", text]
        subprocess.run(words, check=True, timeout=SOON_S)

    def probe(self, name: str) -> dict[str, object] | None:
        rows = type_in("--store", self.store, "probes", "--json").json["rows"]
        return next((row for row in rows if row["probe"] == name), None)


@pytest.fixture
def running(tmp_path: Path, broker: Broker) -> Iterator[Running]:
    one = Running(tmp_path, broker)
    yield one
    one.daemon.discard()


def test_a_new_probe_is_taken_and_judged(running: Running) -> None:
    assert running.probe("new-one") is None
    running.edit("# ---- People", PROBE + "\n# ---- People")
    said = running.reload()
    assert said.code == 0, said.err
    assert "in force from journal entry" in said.out
    running.publish("quern-hill/bed-a/new-one", "17.25")
    until(lambda: (running.probe("new-one") or {}).get("value") == 17.25)
    assert len(running.sites()) == 2
    assert "nothing has changed" in running.reload().out
    assert len(running.sites()) == 2
    assert running.daemon.end() == 0
    again = Daemon(running.site, running.store)
    again.wait_for("running version=")
    assert again.end() == 0
    assert len(running.sites()) == 2, "the file in force is not changed by a start with the same file"
    assert type_in("--store", running.store, "replay").code == 0


def test_a_bad_file_changes_nothing_and_says_so(running: Running) -> None:
    running.edit('place = "bed-a"', 'place = "bed-z"')
    said = running.reload()
    assert said.code == 2
    assert "site.toml:" in said.err
    assert "bed-z" in said.err
    assert len(running.sites()) == 1
    running.publish("quern-hill/bed-a/bed-a-mid", json.dumps({"v": 16.5}))
    until(lambda: (running.probe("bed-a-mid") or {}).get("value") == 16.5)
    assert running.daemon.end() == 0


def test_by_signal(running: Running) -> None:
    running.edit("high_repeat_s = 300", "high_repeat_s = 240")
    running.daemon.send(signal.SIGHUP)
    running.daemon.wait_for("site file read again: in force from journal entry")
    [_, entry] = running.sites()
    assert isinstance(entry.what, SiteChanged)
    assert entry.what.site.callout.high_repeat_s == 240
    running.edit("high_repeat_s = 240", "high_repeat_s = -1")
    running.daemon.send(signal.SIGHUP)
    running.daemon.wait_for("the site file was read again and is not used")
    assert len(running.sites()) == 2
    assert running.daemon.end() == 0


def test_another_site_is_refused_and_connections_wait_for_a_start(running: Running) -> None:
    running.edit('listen = "127.0.0.1:0"', 'listen = "127.0.0.1:1"')
    said = running.reload()
    assert (said.code, "links, web: takes effect when the gateway is started again" in said.out) == (0, True)
    running.edit('id = "quern-hill"', 'id = "other-hill"')
    said = running.reload()
    assert (said.code, "belongs to 'quern-hill'" in said.err) == (2, True)
    assert len(running.sites()) == 1


def test_with_no_gateway_there_is_no_answer(tmp_path: Path) -> None:
    said = type_in("--store", tmp_path, "reload")
    assert said.code == 3
    assert "no gateway runs on this store" in said.err
