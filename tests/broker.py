"""A real mosquitto on a free port of 127.0.0.1, started, stopped, killed and restarted by tests.

`broker` is one running broker; `brokers` makes as many as a test asks for, each with its own
further lines of mosquitto.conf. A test that uses either is skipped, and counted, where mosquitto
is missing. The store is written at a clean stop and at `save()`: after `kill()` the broker comes
back with what it last saved, as mosquitto does by default.
"""

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

HOST = "127.0.0.1"
SBIN = "/usr/local/sbin:/usr/sbin"
START_S = 10.0
STOP_S = 10.0
POLL_S = 0.02
TRIES = 5
# Started by root it would become another user, who cannot write into the test's folder.
USER = "user root" if os.geteuid() == 0 else ""

# The listener stands last, so that further lines may belong to it (certificates, a protocol).
BASE = """\
allow_anonymous true
persistence true
persistence_location {folder}/
max_queued_messages 0
max_inflight_messages 1000
log_dest file {folder}/mosquitto.log
{user}
listener {port} {host}
"""


class BrokerFailed(RuntimeError):
    """Mosquitto did not do as asked; the text holds the end of its log."""


def mosquitto_path() -> str | None:
    """Where mosquitto is; Debian puts it where an ordinary user's PATH does not look."""
    return shutil.which("mosquitto") or shutil.which("mosquitto", path=SBIN)


def free_port() -> int:
    """A TCP port of 127.0.0.1 on which nobody listens at this moment."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port


def listening(port: int) -> bool:
    """Whether somebody accepts connections on that port of 127.0.0.1."""
    with socket.socket() as probe:
        probe.settimeout(1.0)
        return probe.connect_ex((HOST, port)) == 0


class Broker:
    """One mosquitto process and its folder; port and store outlive a restart."""

    host = HOST

    def __init__(self, folder: Path, config: str = "") -> None:
        """`config`: further lines of mosquitto.conf, after those of BASE."""
        self.folder = folder
        self.port = 0
        self.log_path = folder / "mosquitto.log"
        self._config = config
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def running(self) -> bool:
        """Whether the process lives."""
        return self._process is not None and self._process.poll() is None

    @property
    def pid(self) -> int:
        """The process's number; raises BrokerFailed if it does not run."""
        return self._alive().pid

    @property
    def log(self) -> str:
        """What mosquitto has said so far: before it opened its log, then in it."""
        files = (self.folder / "mosquitto.out", self.log_path)
        return "".join(file.read_text(errors="replace") for file in files if file.exists())

    @property
    def client_args(self) -> list[str]:
        """What mosquitto_pub and mosquitto_sub need to find this broker."""
        return ["-h", self.host, "-p", str(self.port)]

    def start(self) -> None:
        """Run it and return once it listens; the first start finds a port, later ones keep it."""
        if self.running:
            raise BrokerFailed("it runs already")
        for _ in range(1 if self.port else TRIES):
            port = self.port or free_port()
            if self._run(port):
                self.port = port
                return
        raise BrokerFailed(f"mosquitto did not listen within {START_S} s:\n{self.log[-2000:]}")

    def stop(self) -> None:
        """End it in order (it saves its store); returns once it is gone."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """kill -9: nothing is saved, no connection is closed in order."""
        self._end(signal.SIGKILL)

    def restart(self) -> None:
        """stop, then start on the same port with the same store."""
        self.stop()
        self.start()

    def pause(self) -> None:
        """Freeze it: connections stay open and nothing answers, as on a dead link."""
        self._alive().send_signal(signal.SIGSTOP)

    def resume(self) -> None:
        """Let a frozen one go on."""
        self._alive().send_signal(signal.SIGCONT)

    def save(self) -> None:
        """Have it write its store now; returns once the file is there anew."""
        store = self.folder / "mosquitto.db"
        before = store.stat().st_mtime_ns if store.exists() else 0
        self._alive().send_signal(signal.SIGUSR1)
        deadline = time.monotonic() + STOP_S
        while not store.exists() or store.stat().st_mtime_ns == before:
            if time.monotonic() > deadline or self._gone_within(POLL_S):
                raise BrokerFailed(f"the store was not written:\n{self.log[-2000:]}")

    def discard(self) -> None:
        """Leave nothing running, whatever state the test left it in."""
        if self.running:
            self._end(signal.SIGKILL)

    def _alive(self) -> subprocess.Popen[bytes]:
        if self._process is None or self._process.poll() is not None:
            raise BrokerFailed("it does not run")
        return self._process

    def _gone_within(self, seconds: float) -> bool:
        try:
            self._alive().wait(seconds)
        except subprocess.TimeoutExpired:
            return False
        return True

    def _run(self, port: int) -> bool:
        """Whether it listens on that port; if not, it has been ended."""
        path = mosquitto_path()
        if path is None:
            raise BrokerFailed("mosquitto is not installed")
        conf = self.folder / "mosquitto.conf"
        conf.write_text(self._text(port))
        with (self.folder / "mosquitto.out").open("ab") as out:
            self._process = subprocess.Popen(
                [path, "-c", str(conf)], stdin=subprocess.DEVNULL, stdout=out, stderr=out
            )
        deadline = time.monotonic() + START_S
        while time.monotonic() < deadline:
            try:
                self._process.wait(POLL_S)
                return False
            except subprocess.TimeoutExpired:
                # Another program may have taken the port: mosquitto then ends within one poll.
                if listening(port) and not self._gone_within(POLL_S):
                    return True
        self.discard()
        return False

    def _text(self, port: int) -> str:
        """The whole configuration."""
        return BASE.format(folder=self.folder, user=USER, port=port, host=HOST) + self._config + "\n"

    def _end(self, how: signal.Signals) -> None:
        process = self._alive()
        process.send_signal(how)
        try:
            process.wait(STOP_S)
        except subprocess.TimeoutExpired as slow:
            process.kill()
            process.wait()
            raise BrokerFailed(f"still running {STOP_S} s after {how.name}") from slow


@pytest.fixture
def brokers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., Broker]]:
    """`brokers(config="", start=True)` makes one broker more; all are gone after the test."""
    made: list[Broker] = []

    def make(config: str = "", start: bool = True) -> Broker:
        one = Broker(tmp_path_factory.mktemp("broker"), config)
        made.append(one)
        if start:
            one.start()
        return one

    yield make
    for one in made:
        one.discard()


@pytest.fixture
def broker(brokers: Callable[..., Broker]) -> Broker:
    """One running broker with the standard configuration."""
    return brokers()
