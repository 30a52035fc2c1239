"""mosquitto with the shipped drop-in: what an account may do, and what nobody may."""

import os
import queue
import shutil
import signal
import socket
import ssl
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from gateway.live import credentials as live_credentials
from tests.broker import Broker
from tests.deploy.board import HOST, SOON_S, BoardBroker, Site, make_site, publish, site_text, until

pytestmark = pytest.mark.broker
MINE, ANOTHERS = "quern-hill/bed-a/a-low", "quern-hill/bed-a/a-mid"
Brokers = Callable[..., BoardBroker]


class Ear:
    """mosquitto_sub with an account, which says what it has heard when it is ended."""

    def __init__(self, broker: Broker, site: Site, account: str, topic: str) -> None:
        words = [
            "stdbuf",
            "-oL",
            "mosquitto_sub",
            *broker.client_args,
            "--cafile",
            str(site.ca),
            "-u",
            account,
            "-q",
            "1",
        ]
        words += ["-P", site.password(account), "-t", topic, "-d", "-F", "heard %t=%p"]
        self._process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        self._lines: queue.Queue[str | None] = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()
        while not (self._line() or "").startswith("Subscribed"):
            assert self.running

    def _read(self) -> None:
        assert self._process.stdout is not None
        with self._process.stdout as out:
            for line in out:
                self._lines.put(line.rstrip("\n"))
        self._lines.put(None)

    def _line(self) -> str | None:
        return self._lines.get(timeout=SOON_S)

    @property
    def running(self) -> bool:
        """Whether it still holds its connection, or tries to."""
        return self._process.poll() is None

    def end(self, least: int = 0) -> list[str]:
        """Stop it once it has heard at least so many messages; every message it heard."""
        heard: list[str] = []
        while len(heard) < least:
            line = self._line()
            assert line is not None, f"it ended, having heard {heard}"
            heard += _heard(line)
        self._process.terminate()
        while (line := self._line()) is not None:
            heard += _heard(line)
        self._process.wait(SOON_S)
        return heard


def _heard(line: str) -> list[str]:
    return [line.removeprefix("heard ")] if line.startswith("heard ") else []


@contextmanager
def listening(broker: Broker, site: Site, account: str, topic: str) -> Iterator[Ear]:
    """An ear that is connected and subscribed."""
    ear = Ear(broker, site, account, topic)
    try:
        yield ear
    finally:
        if ear.running:
            ear.end()


def test_a_probe_writes_its_own_topic_and_no_other(site: Site, board_brokers: Brokers) -> None:
    broker = board_brokers(site)
    with listening(broker, site, "gateway", "quern-hill/#") as ear:
        assert publish(broker, site, "a-low", MINE, "1") == ""
        assert "Not authorized" in publish(broker, site, "a-low", ANOTHERS, "2", "-V", "5")
        for topic in (ANOTHERS, f"{MINE}/more", "quern-hill/gateway/status", "quern-hill/clock", "else"):
            publish(broker, site, "a-low", topic, "2")
        assert publish(broker, site, "a-mid", ANOTHERS, "3") == ""
        assert ear.end(2) == [f"{MINE}=1", f"{ANOTHERS}=3"]


def test_the_gateway_may_hear_what_the_broker_threw_away(site: Site, board_brokers: Brokers) -> None:
    with listening(board_brokers(site), site, "gateway", "$SYS/broker/publish/messages/dropped") as ear:
        assert ear.end(1) == ["$SYS/broker/publish/messages/dropped=0"]


def test_a_probe_hears_nothing(site: Site, board_brokers: Brokers) -> None:
    broker = board_brokers(site)
    with listening(broker, site, "a-mid", "#") as ear:
        assert publish(broker, site, "a-low", MINE, "1", "-r") == ""
        assert ear.running
        assert ear.end() == []


@pytest.mark.parametrize(
    "words",
    [
        ["-u", "a-low", "-P", "wrong"],
        ["-u", "a-low", "-P", ""],
        ["-u", "a-low"],
        ["-u", "nobody", "-P", "wrong"],
        [],
    ],
)
def test_nobody_comes_in_without_a_credential(site: Site, board_brokers: Brokers, words: list[str]) -> None:
    broker = board_brokers(site)
    base = ["mosquitto_pub", *broker.client_args, "--cafile", str(site.ca), "-q", "1", "-t", MINE, "-m", "1"]
    done = subprocess.run([*base, *words], capture_output=True, text=True, check=False, timeout=SOON_S)
    assert done.returncode == 5, done.stderr
    assert "not authorised" in done.stderr


def test_one_accounts_password_is_not_anothers(site: Site, board_brokers: Brokers) -> None:
    broker = board_brokers(site)
    said = publish(broker, site, "a-low", MINE, "1", "-P", site.password("a-mid"))
    assert "not authorised" in said


def test_nothing_comes_in_unencrypted_or_by_an_old_protocol(site: Site, board_brokers: Brokers) -> None:
    broker = board_brokers(site)
    plain = ["mosquitto_pub", *broker.client_args, "-q", "1", "-t", MINE, "-m", "1", "-u", "a-low"]
    plain += ["-P", site.password("a-low")]
    assert subprocess.run(plain, capture_output=True, check=False, timeout=SOON_S).returncode
    assert _handshake(broker, site, ssl.TLSVersion.TLSv1_3) == "TLSv1.3"
    assert _handshake(broker, site, ssl.TLSVersion.TLSv1_2) == "TLSv1.2"
    with pytest.raises(ssl.SSLError, match="PROTOCOL_VERSION"), pytest.warns(DeprecationWarning, match="TLS"):
        _handshake(broker, site, ssl.TLSVersion.TLSv1_1)


def _handshake(broker: Broker, site: Site, version: ssl.TLSVersion) -> str | None:
    context = ssl.create_default_context(cafile=site.ca)
    context.set_ciphers("ALL:@SECLEVEL=0")  # else this side would refuse the old version by itself
    context.minimum_version = ssl.TLSVersion.TLSv1_1 if version < ssl.TLSVersion.TLSv1_2 else version
    context.maximum_version = version
    with (
        socket.create_connection((HOST, broker.port), SOON_S) as line,
        context.wrap_socket(line, server_hostname=HOST) as secure,
    ):
        return secure.version()


def test_a_probe_cannot_push_the_gateway_off(site: Site, board_brokers: Brokers) -> None:
    """MQTT 3.1.4-2: a second client of the same id ends the first one's connection."""
    broker = board_brokers(site)
    with listening(broker, site, "gateway", "quern-hill/#") as ear:
        for stolen in ("gateway", "malting-gateway-quern-hill"):
            assert publish(broker, site, "a-low", MINE, stolen, "-i", stolen) == ""
        assert ear.end(2) == [f"{MINE}=gateway", f"{MINE}=malting-gateway-quern-hill"]
    assert "already connected" not in broker.log


def test_a_payload_of_megabytes_is_cut_off(site: Site, board_brokers: Brokers) -> None:
    broker = board_brokers(site)
    with listening(broker, site, "gateway", "quern-hill/#") as ear:
        publish(broker, site, "a-low", MINE, "x" * 70_000)
        assert publish(broker, site, "a-low", MINE, "1") == ""
        assert ear.end(1) == [f"{MINE}=1"]
    assert "oversize packet" in broker.log


def test_an_account_by_certificate(
    site: Site, board_brokers: Brokers, tmp_path_factory: pytest.TempPathFactory
) -> None:
    broker = board_brokers(site, certificates=True)
    stranger = make_site(tmp_path_factory.mktemp("stranger"), certificates=True)
    with listening(broker, site, "gateway", "quern-hill/#") as ear:
        assert _by_certificate(broker, site, site, MINE) == 0
        _by_certificate(broker, site, site, ANOTHERS)
        assert _by_certificate(broker, site, stranger, MINE) != 0
        words = ["-p", str(broker.certificate_port)]
        assert publish(broker, site, "a-low", MINE, "no certificate", *words)
        assert ear.end(1) == [f"{MINE}=by certificate"]


def _by_certificate(broker: BoardBroker, site: Site, whose: Site, topic: str) -> int:
    own = whose.credentials / "probes" / "a-low"
    words = ["mosquitto_pub", "-h", HOST, "-p", str(broker.certificate_port), "--cafile", str(site.ca)]
    words += ["--cert", f"{own}.pem", "--key", f"{own}.key", "-q", "1", "-t", topic, "-m", "by certificate"]
    return subprocess.run(words, capture_output=True, check=False, timeout=SOON_S).returncode


def test_a_new_account_is_let_in_without_ending_anybodys_connection(
    board_brokers: Brokers, tmp_path: Path
) -> None:
    """As `deploy/install broker` does when only the lists have changed: SIGHUP (mosquitto(8))."""
    site = make_site(tmp_path, probes=("a-low",))
    broker = board_brokers(site)
    with listening(broker, site, "gateway", "quern-hill/#") as ear:
        site.file.write_text(site_text(port=8883, probes=("a-low", "a-mid")))
        live_credentials.make(site.file, {}, site.credentials, (), certificates=False)
        assert "not authorised" in publish(broker, site, "a-mid", ANOTHERS, "too early")
        for name in ("passwords", "access"):
            shutil.copy(site.credentials / "broker" / name, broker.folder / "malting-gateway" / name)
        os.kill(broker.pid, signal.SIGHUP)
        until(lambda: publish(broker, site, "a-mid", ANOTHERS, "1") == "")
        assert publish(broker, site, "a-low", MINE, "2") == ""
        assert ear.end(2) == [f"{ANOTHERS}=1", f"{MINE}=2"]
    assert broker.log.count("as gateway ") == 1
