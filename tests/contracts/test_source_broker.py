"""The real source and a real mosquitto: kill -9, lost sessions, old protocol, a full queue, twins, TLS."""

import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from gateway.edges.mqtt import MqttSource
from gateway.ports import Message
from tests.broker import Broker
from tests.contracts.source import ROOT, connected, options, payloads, publish, real, take, until

REPOSITORY = Path(__file__).resolve().parents[2]


@contextmanager
def running(source: MqttSource) -> Iterator[MqttSource]:
    """The source, connected; stopped afterwards."""
    try:
        yield connected(source)
    finally:
        assert source.stop()


def status(broker: Broker, *more: str) -> dict[str, object]:
    """The next status, or the one that is kept."""
    command = [
        "mosquitto_sub",
        *broker.client_args,
        "-t",
        f"{ROOT}/gateway/status",
        "-C",
        "1",
        "-W",
        "10",
        *more,
    ]
    said = subprocess.run(command, capture_output=True, text=True, check=True, timeout=15)
    found: dict[str, object] = json.loads(said.stdout)
    return found


def test_killed_with_unsettled_messages_it_gets_them_again_in_order(broker: Broker) -> None:
    # A process of its own takes ten messages, settles the first three, and dies.
    script = (
        "import sys; from pathlib import Path; from tests.contracts.source import *\n"
        "broker = Broker(Path('.')); broker.port = int(sys.argv[1])\n"
        "source = connected(real(broker)); print('here', flush=True)\n"
        "found = take(source, 10); source.settle(found[:3])\n"
        "until(lambda: source.facts()['settled'] == 3); print('taken', flush=True); sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", script, str(broker.port)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=REPOSITORY,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stdout.readline() == "here\n"
        publish(broker, f"{ROOT}/a", *map(str, range(10)))
        assert process.stdout.readline() == "taken\n"
        os.kill(process.pid, signal.SIGKILL)
    publish(broker, f"{ROOT}/a", "10", "11")
    with running(real(broker, session=1)) as source:
        found = take(source, 9)
        assert payloads(found) == [str(number) for number in range(3, 12)]
        assert [message.dup for message in found] == [True] * 7 + [False] * 2
        assert source.session() == 1
        assert source.conditions() == []


def test_a_lost_session_is_said_and_old_settlements_do_not_touch_new_messages(broker: Broker) -> None:
    with running(real(broker)) as source:
        publish(broker, f"{ROOT}/a", "old")
        old = take(source, 1)
        broker.kill()
        until(lambda: not source.facts()["connected"])
        broker.start()
        connected(source)
        assert source.conditions() == [("session", True, "the broker forgot us, messages may be missing")]
        assert source.session() == 2
        publish(broker, f"{ROOT}/a", "new")
        new = take(source, 1)
        assert new[0].mid == old[0].mid, "the broker counts from one again, or this shows nothing"
        source.settle(old)
        until(lambda: source.facts()["stale_settlements"] == 1)
        broker.restart()
        again = take(source, 1)
        assert (again[0].payload, again[0].dup, again[0].session) == (b"new", True, 2)


def test_the_first_connection_of_a_new_store_has_lost_nothing(broker: Broker) -> None:
    with running(real(broker)) as source:
        assert source.facts()["session_present"] is False
        assert source.conditions() == []
        assert source.session() == 1


def test_a_session_the_broker_should_have_had_is_missed_at_start_too(broker: Broker) -> None:
    with running(real(broker, session=7)) as source:
        assert [(name, on) for name, on, _ in source.conditions()] == [("session", True)]
        assert source.session() == 8


class Deaf:
    """A listener that passes all on to a broker, but for a CONNECT of MQTT 5, which it never answers."""

    host = "127.0.0.1"

    def __init__(self, broker: Broker) -> None:
        self._broker = broker
        self._listener = socket.create_server((self.host, 0))
        self.port: int = self._listener.getsockname()[1]
        self.unanswered = 0
        self._open: list[socket.socket] = [self._listener]
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        with suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                self._open.append(near)
                first = near.recv(4096)
                # After the packet's head, and the name MQTT with its length, comes the version.
                if first[first.index(b"MQTT") + 4] == 5:
                    self.unanswered += 1
                    continue
                far = socket.create_connection((self._broker.host, self._broker.port))
                self._open.append(far)
                far.sendall(first)
                for pair in ((near, far), (far, near)):
                    threading.Thread(target=self._carry, args=pair, daemon=True).start()

    @staticmethod
    def _carry(source: socket.socket, target: socket.socket) -> None:
        with suppress(OSError):
            while piece := source.recv(4096):
                target.sendall(piece)

    def close(self) -> None:
        """End every connection."""
        for one in self._open:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()


def test_a_broker_that_does_not_answer_mqtt_5_is_spoken_to_in_3_1_1(broker: Broker) -> None:
    with closing(Deaf(broker)) as deaf:
        quick: dict[str, Any] = {"port": deaf.port, "connack_s": 0.4}
        with running(real(broker, **quick)) as source:
            assert source.facts()["protocol"] == "3.1.1"
            assert deaf.unanswered == 1
            publish(broker, f"{ROOT}/a", "1", "2")
            source.settle(take(source, 2)[:1])
            until(lambda: source.facts()["settled"] == 1)
        with running(real(broker, session=1, **quick)) as source:
            assert source.facts()["session_present"] is True
            found = take(source, 1)
            assert (found[0].payload, found[0].dup) == (b"2", True)


def test_a_kept_reading_comes_once_and_not_at_every_connection(broker: Broker) -> None:
    publish(broker, f"{ROOT}/a", "old", retain=True)
    with running(real(broker)) as source:
        found = take(source, 1)
        assert (found[0].payload, found[0].retain) == (b"old", True)
        source.settle(found)
        until(lambda: source.facts()["settled"] == 1)
        broker.restart()
        until(lambda: source.facts()["connections"] == 2 and source.facts()["connected"])
        assert source.take(9, 0.5) == []


def test_a_full_queue_stops_reading_and_loses_nothing(broker: Broker) -> None:
    with running(real(broker, queue_messages=50)) as source:
        publish(broker, f"{ROOT}/a", *map(str, range(500)))
        until(lambda: source.facts()["queued"] == 50)
        found: list[Message] = []
        while len(found) < 500:
            assert source.facts()["queued"] <= 50
            taken = take(source, 1)
            source.settle(taken)
            found += taken
        assert payloads(found) == [str(number) for number in range(500)]
        assert source.facts()["connections"] == 1


def test_a_queue_full_for_long_drops_the_connection_and_no_message(broker: Broker) -> None:
    with running(real(broker, queue_messages=20, keepalive_s=1)) as source:
        publish(broker, f"{ROOT}/a", *map(str, range(100)))
        until(lambda: source.facts()["overflows"] == 1)
        assert not source.facts()["connected"]
        found: set[str] = set()
        while len(found) < 100:
            taken = take(source, 1)
            source.settle(taken)
            found |= set(payloads(taken))
        assert found == {str(number) for number in range(100)}
        assert not source.facts()["twin"], "it ended the connection itself: that is no twin"


def test_the_queue_is_bounded_in_bytes_too(broker: Broker) -> None:
    with running(real(broker, queue_bytes=100_000)) as source:
        publish(broker, f"{ROOT}/a", *["x" * 20_000] * 40)
        until(lambda: source.facts()["queued_bytes"] >= 100_000)
        assert source.facts()["queued_bytes"] < 100_000 + 70_000
        assert len(take(source, 40)) == 40


def test_a_huge_message_is_cut_and_the_next_one_is_whole(broker: Broker) -> None:
    with running(real(broker)) as source:
        huge = subprocess.run(
            ["mosquitto_pub", *broker.client_args, "-q", "1", "-t", f"{ROOT}/a", "-s"],
            input=b"x" * 5_000_000, check=True, timeout=15,
        )  # fmt: skip
        assert huge.returncode == 0
        publish(broker, f"{ROOT}/b", "17.2")
        first, second = take(source, 2)
        assert first.payload == b"x" * 65_537
        assert (second.topic, second.payload) == (f"{ROOT}/b", b"17.2")


def test_two_with_one_client_id_are_noticed(broker: Broker) -> None:
    with running(real(broker)) as first, running(real(broker)) as second:
        until(lambda: first.facts()["twin"])
        assert [(name, on) for name, on, _ in first.conditions()] == [("twin", True)]
        publish(broker, f"{ROOT}/a", "1")
        assert payloads(take(second, 1)) == ["1"]


def test_the_last_will_says_lost_and_an_orderly_end_does_not(broker: Broker) -> None:
    with running(real(broker)) as source:
        source.publish_status(b'{"state":"running"}')
        assert status(broker) == {"state": "running"}
        publish(broker, f"{ROOT}/a", "1")
        found = take(source, 1)
        assert found[0].topic == f"{ROOT}/a", "its own status must not come back"
        source.settle(found)
        source.publish_status(b'{"state":"stopping"}')
    assert status(broker) == {"state": "stopping"}

    source = connected(real(broker, session=1, keepalive_s=1, queue_messages=1))
    publish(broker, f"{ROOT}/a", "1", "2")
    # It does not read and so drops the connection, without a farewell.
    until(lambda: source.facts()["overflows"] == 1)
    said = until(lambda: (now := status(broker))["state"] == "lost" and now)
    assert set(said) == set("state at received settled committed judged judged_to notices_due".split())
    assert source.stop()


@pytest.mark.parametrize(
    "answer", [b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\xff" * 50, b"\x20\x02\x00\x05", b""]
)
def test_whatever_answers_the_thread_lives_and_tries_again(answer: bytes) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        nobody = Broker(Path())
        nobody.port = listener.getsockname()[1]
        source = real(nobody, connack_s=0.2)
        for _ in range(2):
            near, _ = listener.accept()
            near.recv(1000)
            near.sendall(answer)
            near.close()
        until(lambda: source.facts()["fault"] != "not tried yet")
        facts = source.facts()
        assert facts["alive"]
        assert facts["loop_age_s"] < 3
        assert not facts["connected"]
        assert source.stop()


def test_a_fault_nobody_foresaw_does_not_end_the_thread(tmp_path: Path, broker: Broker) -> None:
    source = real(broker, tls=True, ca_file=tmp_path / "none.pem")
    until(lambda: "none" in source.facts()["fault"] or "No such file" in source.facts()["fault"])
    assert source.facts()["alive"]
    assert source.stop()


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    """A certificate for 127.0.0.1 that vouches for itself, with its key beside it."""
    command = [
        "openssl",
        "req",
        "-x509",
        "-newkey",
        "ec",
        "-pkeyopt",
        "ec_paramgen_curve:prime256v1",
        "-nodes",
    ]
    command += ["-keyout", str(tmp_path / "key.pem"), "-out", str(tmp_path / "cert.pem"), "-days", "2"]
    command += ["-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1"]
    subprocess.run(command, check=True, capture_output=True)
    return tmp_path / "cert.pem"


def test_tls_and_a_password(certificate: Path, brokers: Callable[..., Broker]) -> None:
    words = certificate.parent / "passwords"
    subprocess.run(
        ["mosquitto_passwd", "-b", "-c", str(words), "gw", "malt"], check=True, capture_output=True
    )
    config = f"certfile {certificate}\nkeyfile {certificate.parent / 'key.pem'}\npassword_file {words}\n"
    broker = brokers(config.replace("password_file", "allow_anonymous false\npassword_file"))
    secure: dict[str, Any] = {"tls": True, "ca_file": certificate, "username": "gw", "password": "malt"}
    with running(real(broker, **secure)) as source:
        command = [
            "mosquitto_pub",
            *broker.client_args,
            "--cafile",
            str(certificate),
            "-u",
            "gw",
            "-P",
            "malt",
        ]
        text = "".join(f"{number}\n" for number in range(3000))
        subprocess.run(
            [*command, "-q", "1", "-t", f"{ROOT}/a", "-l"], input=text, text=True, check=True, timeout=30
        )
        found: list[Message] = []
        while len(found) < 3000:
            taken = source.take(500, 1.0)
            source.settle(taken)
            found += taken
        assert payloads(found) == [str(number) for number in range(3000)]
    wrong = real(broker, **{**secure, "password": "hops"})
    until(lambda: "refused" in wrong.facts()["fault"])
    assert wrong.stop()


def test_a_frozen_broker_is_noticed_and_found_again(broker: Broker) -> None:
    with running(real(broker, keepalive_s=1)) as source:
        broker.pause()
        until(lambda: not source.facts()["connected"])
        broker.resume()
        connected(source)
        assert source.facts()["session_present"] is True
        assert source.session() == 1


def test_options_name_the_status_topic(broker: Broker) -> None:
    assert options(broker).status_topic == "quern/gateway/status"
