"""The daemon whole: a real broker, real probes' messages, a phone, the control socket, stop and kill."""

import http.client
import http.server
import json
import queue
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from gateway.core.moment import rfc3339
from gateway.core.reading import Reading
from gateway.edges import control
from gateway.edges.clock import real_mono_ms, real_wall_ms
from gateway.edges.sqlite import open_reader
from tests.broker import Broker, free_port
from tests.cli.house import NIGHT_MS, ROOT, SOON_S, Daemon, schema, site_file, type_in

pytestmark = pytest.mark.broker


class Phone:
    """Takes webhooks on a free port and keeps their bodies."""

    def __init__(self) -> None:
        heard: queue.Queue[dict[str, Any]] = queue.Queue()

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                heard.put(json.loads(self.rfile.read(int(self.headers["content-length"]))))
                self.send_response(204)
                self.end_headers()

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - the library's name
                return

        self.heard = heard
        self._server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.port = int(self._server.server_address[1])
        threading.Thread(target=self._server.serve_forever, args=(0.1,), daemon=True).start()

    def hears(self, text: str) -> dict[str, Any]:
        """The next message with this text; fails where none comes."""
        while text not in (body := self.heard.get(timeout=SOON_S))["text"]:
            continue
        return body

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


@pytest.fixture
def phone() -> Iterator[Phone]:
    one = Phone()
    yield one
    one.close()


class House:
    """One site, its store, a broker and a phone; daemons are started on it."""

    def __init__(self, folder: Path, broker: Broker, phone: Phone) -> None:
        self.broker, self.phone = broker, phone
        self.door = free_port()
        self.site = site_file(folder / "site", broker=broker.port, door=self.door, phone=phone.port)
        self.store = folder / "store"
        self.daemons: list[Daemon] = []

    def start(self, *more: str) -> Daemon:
        one = Daemon(self.site, self.store, *more)
        self.daemons.append(one)
        one.wait_for("running version=", "connected to")
        return one

    def publish(self, topic: str, payload: Any) -> None:
        """By mosquitto_pub, which nobody here wrote; returns once the broker has it."""
        words = ["mosquitto_pub", *self.broker.client_args, "-q", "1", "-t", f"quern-hill/{topic}", "-m"]
        subprocess.run([*words, json.dumps(payload)], check=True, timeout=SOON_S)

    def publish_many(self, topic: str, payloads: list[Any]) -> None:
        words = ["mosquitto_pub", *self.broker.client_args, "-q", "1", "-t", f"quern-hill/{topic}", "-l"]
        text = "".join(json.dumps(payload) + "\n" for payload in payloads)
        subprocess.run(words, input=text, text=True, check=True, timeout=SOON_S)

    def barrier(self, at_ms: int) -> dict[str, Any]:
        """Tell the time and wait until the gateway has judged up to it."""
        words = ["mosquitto_sub", *self.broker.client_args, "-t", "quern-hill/gateway/status"]
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as listener:
            self.publish("clock", {"t": at_ms / 1000})
            assert listener.stdout is not None
            until_ms = real_mono_ms() + SOON_S * 1000
            for line in listener.stdout:
                status: dict[str, Any] = json.loads(line)
                if status["judged_to"] is not None and status["judged_to"] >= rfc3339(at_ms):
                    listener.terminate()
                    return status
                assert real_mono_ms() < until_ms, status
        raise AssertionError("the status ended")

    def read(self, *words: object) -> Any:
        return type_in("--store", self.store, *words, "--json").json


@pytest.fixture
def house(tmp_path: Path, broker: Broker, phone: Phone) -> Iterator[House]:
    one = House(tmp_path, broker, phone)
    yield one
    for daemon in one.daemons:
        daemon.discard()


def _hot(house: House, minutes: range) -> None:
    """Bed C warms by 0.1 K a minute: messages and the clock, minute by minute."""
    for minute in minutes:
        at_ms = NIGHT_MS + minute * 60_000
        house.publish("bed-c/bed-c-mid", {"t": at_ms / 1000, "v": 20.0 + 0.1 * minute})
        house.barrier(at_ms)


def test_from_a_message_to_a_phone_and_an_answer(house: House) -> None:
    daemon = house.start("--clock", "topic")
    house.barrier(NIGHT_MS)
    cast = type_in("--store", house.store, "cast", "bed-c", "--piece", "14", "--at", "2024-11-01T02:00:00Z")
    schema("recorded").validate(cast.json)
    _hot(house, range(1, 34))
    call = house.phone.hears("PIECE 14 HOT. Bed C")
    assert (call["type"], call["place"]) == ("call", "bed-c")
    [hot] = [row for row in house.read("alarms")["rows"] if row["kind"] == "bed_hot"]
    said = type_in("--store", house.store, "answer", hot["number"], "going", "--by", "ada")
    assert said.code == 0
    status = house.barrier(NIGHT_MS + 34 * 60_000)
    schema("status").validate(status)
    assert status["state"] == "running"
    assert status["judged"] == status["committed"] >= said.json["journal"]
    [hot] = [row for row in house.read("alarms")["rows"] if row["kind"] == "bed_hot"]
    assert (hot["state"], hot["answered_by"]) == ("acknowledged", "ada")
    assert daemon.end() == 0
    assert "alarm at=" in daemon.log
    assert "kind=bed_hot" in daemon.log
    again = type_in("--store", house.store, "replay")
    assert (again.code, again.json["differences"]) == (0, [])
    assert again.json["kept"] > 3


def test_the_link_in_a_message_answers_its_alarm(house: House) -> None:
    house.start("--clock", "topic")
    house.barrier(NIGHT_MS)
    type_in("--store", house.store, "cast", "bed-c", "--piece", "14", "--at", "2024-11-01T02:00:00Z")
    _hot(house, range(1, 34))
    call = house.phone.hears("PIECE 14 HOT. Bed C")
    assert call["answer_url"].startswith("http://127.0.0.1:8470/a/")
    path = call["answer_url"].removeprefix("http://127.0.0.1:8470")
    status, page = _door(house, "GET", path)
    assert (status, "Bed C" in page) == (200, True)
    status, page = _door(house, "POST", path, "answer=going")
    assert (status, "you are going" in page) == (200, True)
    house.barrier(NIGHT_MS + 34 * 60_000)
    [hot] = [row for row in house.read("alarms")["rows"] if row["number"] == call["alarm"]]
    assert hot["state"] == "acknowledged"


def _door(house: House, method: str, path: str, body: str | None = None) -> tuple[int, str]:
    call = http.client.HTTPConnection("127.0.0.1", house.door, timeout=SOON_S)
    try:
        call.request(method, path, body, {"content-type": "application/x-www-form-urlencoded"})
        answer = call.getresponse()
        return answer.status, answer.read().decode()
    finally:
        call.close()


def test_every_document_is_good_while_the_daemon_runs(house: House) -> None:
    house.start("--clock", "topic")
    _hot(house, range(1, 3))
    house.publish("bed-c/bed-c-mid", "nonsense")
    house.barrier(NIGHT_MS + 3 * 60_000)
    for command in ("beds", "probes", "alarms", "turns", "notices", "rejected", "health", "tonight"):
        schema(command).validate(house.read(command))
    assert house.read("beds")["running"] is True
    health = {row["name"]: row for row in house.read("health")["rows"]}
    assert health["gateway"]["state"] == health["broker"]["state"] == health["store"]["state"] == "good"
    assert house.read("rejected")["counts"][0]["reason"] == "no_value"


def test_health_tells_a_stopped_gateway_from_a_killed_one(house: House) -> None:
    for how, says in ((signal.SIGTERM, "was stopped"), (signal.SIGKILL, "does not answer")):
        house.start("--clock", "topic").end(how)
        health = {row["name"]: row for row in house.read("health")["rows"]}
        assert health["gateway"]["state"] == health["broker"]["state"] == "bad"
        assert says in health["gateway"]["detail"]


def test_killed_under_load_nothing_is_lost_or_doubled(house: House) -> None:
    daemon = house.start("--clock", "topic")
    house.barrier(NIGHT_MS)
    at = [NIGHT_MS + second * 200 for second in range(1, 1001)]
    for part in (at[:300], at[300:700], at[700:]):
        payloads = [{"t": ms / 1000, "v": 15.0} for ms in part]
        load = threading.Thread(target=house.publish_many, args=("bed-c/bed-c-mid", payloads))
        load.start()
        daemon.end(signal.SIGKILL)
        daemon = house.start("--clock", "topic")
        load.join(SOON_S)
    house.barrier(NIGHT_MS + 1100 * 1000)
    assert daemon.end() == 0
    replayed = type_in("--store", house.store, "replay")
    assert (replayed.code, replayed.json["differences"]) == (0, [])
    reader = open_reader(house.store)
    kept = [entry.what for entry in reader.entries_after(0, 10_000) if isinstance(entry.what, Reading)]
    reader.close()
    assert [reading.measured_at_ms for reading in kept] == at


def test_recording_goes_through_the_daemon_and_hostile_requests_do_not(house: House) -> None:
    house.start("--clock", "topic")
    house.barrier(NIGHT_MS)
    requests: list[tuple[dict[str, Any], str]] = [
        ({}, "kind"),
        ({"kind": ["turned"]}, "kind"),
        ({"kind": "started", "version": "9"}, "not one of"),
        ({"kind": "turned", "bed": {"a": 1}}, "expected text"),
        ({"kind": "turned", "bed": "bed-a", "when": "25:00"}, "when"),
        ({"kind": "answer", "alarm": 10**30, "answer": "going"}, "sensible size"),
    ]
    for request, says in requests:
        answer = control.ask(house.store, request, SOON_S)
        assert says in answer["fault"]
    assert control.ask(house.store, {"kind": "turned", "bed": "bed-a"}, SOON_S)["journal"] > 2
    refused = type_in("--store", house.store, "cast", "bed-x")
    assert (refused.code, "no bed bed-x" in refused.err) == (2, True)


@pytest.mark.long
def test_what_was_told_not_to_be_answered_is_not_kept_later(house: House) -> None:
    daemon = house.start("--clock", "topic")
    house.barrier(NIGHT_MS)
    daemon.send(signal.SIGSTOP)
    said = type_in("--store", house.store, "turned", "bed-c")
    daemon.send(signal.SIGCONT)
    assert (said.code, said.out) == (3, "")
    assert "did not answer within 5 s" in said.err
    house.barrier(NIGHT_MS + 60_000)
    assert type_in("--store", house.store, "turned", "bed-a").code == 0, "the gateway goes on"
    assert {row["bed"] for row in house.read("turns")["rows"]} == {"bed-a"}


def test_clock_messages_that_go_backward_are_counted_and_change_nothing(house: House) -> None:
    house.start("--clock", "topic")
    house.barrier(NIGHT_MS + 60_000)
    for payload in ({"t": NIGHT_MS / 1000}, {"t": "noon"}):
        house.publish("clock", payload)
    status = house.barrier(NIGHT_MS + 120_000)
    assert status["judged_to"] == status["at"] == rfc3339(NIGHT_MS + 120_000)
    health = {row["name"]: row for row in house.read("health")["rows"]}
    assert health["clock"]["detail"].endswith("; 2 clock messages ignored")


@pytest.mark.long
def test_a_stop_within_a_long_gap_of_the_clock_ends_soon_and_the_rest_is_judged_after_the_next_start(
    house: House,
) -> None:
    daemon = house.start("--clock", "topic")
    house.barrier(NIGHT_MS)
    _hot(house, range(1, 4))
    end_ms, part_way = NIGHT_MS + 20 * 86_400_000, rfc3339(NIGHT_MS + 3_600_000)
    words = ["mosquitto_sub", *house.broker.client_args, "-t", "quern-hill/gateway/status"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as listener:
        house.publish("clock", {"t": end_ms / 1000})
        house.publish("bed-c/bed-c-mid", {"t": end_ms / 1000, "v": 15.0})
        assert listener.stdout is not None
        told = (json.loads(line)["judged_to"] for line in listener.stdout)
        judged_to = next(to for to in told if to > part_way)
        listener.terminate()
    asked_ms = real_mono_ms()
    assert daemon.end() == 0
    took_ms = real_mono_ms() - asked_ms
    assert judged_to < rfc3339(end_ms), "the gap was over too soon to say anything"
    assert took_ms < 2000

    house.start("--clock", "topic")
    assert house.barrier(end_ms + 60_000)["judged_to"] == rfc3339(end_ms + 60_000)
    newest = {row["probe"]: row["measured_at"] for row in house.read("probes")["rows"]}
    assert newest["bed-c-mid"] == rfc3339(end_ms), "what came after the clock's message is there too"
    replayed = type_in("--store", house.store, "replay")
    assert (replayed.code, replayed.json["differences"]) == (0, [])


def test_the_log_is_on_standard_error(house: House) -> None:
    words = [sys.executable, "-m", "gateway", "--site", str(house.site), "--store", str(house.store), "run"]
    with subprocess.Popen(
        [*words, "--clock", "topic"], cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stderr is not None
        next(line for line in process.stderr if "running version=" in line)
        process.terminate()
        out, _ = process.communicate(timeout=SOON_S)
    assert (process.returncode, out) == (0, "")


def test_a_second_daemon_on_the_same_store_is_turned_away(house: House) -> None:
    house.start("--clock", "topic")
    second = type_in("--site", house.site, "--store", house.store, "run", "--clock", "topic")
    assert second.code == 3
    assert "already writes to this store" in second.err


def test_a_store_keeps_its_kind_of_clock(house: House) -> None:
    house.start("--clock", "topic").end()
    other = type_in("--site", house.site, "--store", house.store, "run", "--clock", "wall")
    assert other.code == 2
    assert "kept by the clock 'topic', not 'wall'" in other.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--speed", "60"], "--speed: only with --clock scaled"),
        (["--clock", "scaled", "--speed", "60"], "--epoch, --started missing"),
        (["--clock", "scaled", "--speed", "0", "--epoch", "2024-11-05T00:00:00Z", "--started",
          "2024-11-05T00:00:00Z"], "--speed: 0.0"),
        (["--clock", "scaled", "--speed", "6", "--epoch", "noon", "--started", "noon"], "--epoch: got"),
    ],
)  # fmt: skip
def test_a_clock_that_makes_no_sense_is_exit_2(house: House, words: list[str], says: str) -> None:
    said = type_in("--site", house.site, "--store", house.store, "run", *words)
    assert said.code == 2
    assert says in said.err
    assert not house.store.exists()


def test_the_service_manager_hears_ready_alive_and_stopping(
    house: House, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(SOON_S)
        daemon = Daemon(house.site, house.store, "--clock", "topic", NOTIFY_SOCKET=str(tmp_path / "notify"))
        house.daemons.append(daemon)
        heard = _hear(manager, lambda word: word.startswith(b"READY=1"))
        heard += _hear(manager, lambda word: word.startswith(b"WATCHDOG=1"))
        assert daemon.end() == 0
        _hear(manager, lambda word: word == b"STOPPING=1")
    assert heard[0].startswith(b"READY=1")


def _hear(manager: socket.socket, wanted: Callable[[bytes], bool]) -> list[bytes]:
    heard = [manager.recv(1000)]
    while not wanted(heard[-1]):
        heard.append(manager.recv(1000))
    return heard


def test_a_key_that_others_may_read_is_said_by_health_and_stops_no_watch(house: House) -> None:
    (house.site.parent / "secrets" / "ada.key").chmod(0o644)
    daemon = house.start("--clock", "topic")
    [row] = [one for one in house.read("health")["rows"] if one["name"] == "site file"]
    assert row["state"] == "note"
    assert "secrets/ada.key" in row["detail"]
    assert "chmod o= ada.key" in row["detail"]
    assert daemon.end() == 0


def test_a_scaled_clock_runs_ahead_as_told(house: House) -> None:
    started = rfc3339(real_wall_ms())
    scaled = ["--clock", "scaled", "--speed", "600", "--epoch", "2024-11-05T00:00:00Z", "--started", started]
    daemon = house.start(*scaled)
    words = ["mosquitto_sub", *house.broker.client_args, "-t", "quern-hill/gateway/status", "-W", "60"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as listener:
        assert listener.stdout is not None
        status = next(one for one in map(json.loads, listener.stdout) if one["at"] > "2024-11-05T00:40")
        listener.terminate()
    assert "2024-11-05T00:30" < status["judged_to"] <= status["at"] < "2024-11-05T12:00"
    assert daemon.end() == 0


def test_a_writer_that_fails_ends_the_gateway_with_a_bad_exit_code(house: House) -> None:
    daemon = house.start("--clock", "topic")
    house.barrier(NIGHT_MS)
    damage = sqlite3.connect(house.store / "journal.db", timeout=SOON_S)
    damage.execute("DROP TABLE total")
    damage.commit()
    damage.close()
    house.publish("bed-c/bed-c-mid", {"t": NIGHT_MS / 1000, "v": 15.0})
    assert daemon.wait() == 1
    assert "the writer has failed; the gateway ends" in daemon.log
