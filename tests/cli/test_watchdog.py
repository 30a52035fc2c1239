"""The service manager's watchdog, over a socket of its own: fed while all loops turn, starved by one."""

import os
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.edges.clock import real_mono_s
from tests.broker import Broker
from tests.cli.house import SOON_S, Daemon, site_file, type_in

pytestmark = pytest.mark.broker

#: Within this the manager wants to hear, else it kills and starts again (WatchdogSec of the unit). A loop may
#: stand for half of it; the slowest one that is well comes round each 5 s.
WITHIN_S = 14.0


class Manager:
    """The service manager's end of the socket."""

    def __init__(self, path: Path) -> None:
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))

    def hears(self, beginning: bytes, within_s: float) -> bool:
        """Whether a word that begins so comes in time."""
        until_s = real_mono_s() + within_s
        while (left_s := until_s - real_mono_s()) > 0:
            self._socket.settimeout(left_s)
            try:
                if self._socket.recv(1000).startswith(beginning):
                    return True
            except TimeoutError:
                break
        return False

    def forget(self) -> None:
        """What came until now was not listened to."""
        self._socket.setblocking(False)
        try:
            while True:
                self._socket.recv(1000)
        except BlockingIOError:
            return

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    one = Manager(tmp_path / "notify")
    yield one
    one.close()


def _fed(manager: Manager, times: int) -> bool:
    return all(manager.hears(b"WATCHDOG=1", WITHIN_S) for _ in range(times))


def test_a_writer_that_hangs_starves_the_watchdog(tmp_path: Path, broker: Broker, manager: Manager) -> None:
    site, store, pipe = tmp_path / "site", tmp_path / "store", tmp_path / "pipe"
    daemon = Daemon(
        site_file(site, broker=broker.port), store, program="tests.cli.stuck", STUCK_AT=str(pipe),
        NOTIFY_SOCKET=str(tmp_path / "notify"), WATCHDOG_USEC=str(round(WITHIN_S * 1e6)),
    )  # fmt: skip
    try:
        assert manager.hears(b"READY=1", SOON_S)
        daemon.wait_for("connected to")
        assert _fed(manager, 8), "all loops turn, longer than any may stand still"

        os.mkfifo(pipe)
        words = [
            "mosquitto_pub",
            *broker.client_args,
            "-q",
            "1",
            "-t",
            "quern-hill/bed-c/bed-c-mid",
            "-m",
            "15",
        ]
        subprocess.run(words, check=True, timeout=SOON_S)
        daemon.wait_for("loops that stand still: writer")
        manager.forget()
        assert not manager.hears(b"WATCHDOG=1", WITHIN_S), "here the manager kills it"
        rows = type_in("--store", store, "health", "--json").json["rows"]
        assert [row["detail"] for row in rows if row["name"] == "gateway"] == ["stands still: writer"]

        pipe.write_bytes(b"")
        pipe.unlink()
        daemon.wait_for("loops that stand still: none any more")
        assert _fed(manager, 2)
        assert daemon.end() == 0
    finally:
        daemon.discard()
