"""The simulation as a programme: over a real broker, read and told by clients nobody here wrote."""

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from simulators.options import moment_s
from simulators.run import read_site
from simulators.run_mqtt import judged_to_s
from simulators.world import World
from tests.broker import Broker, free_port
from tests.simulators.sites import SITE_FILE, START_S, site

ROOT = Path(__file__).resolve().parents[2]
SIMULATE = [sys.executable, "-m", "simulators", "run", "--seed", "4", "--patience", "10"]


def site_file(folder: Path, port: int) -> list[str]:
    """The words that name a site whose broker is on that port."""
    path = folder / "site.toml"
    path.write_text(SITE_FILE.read_text().replace("port = 18830", f"port = {port}"))
    return ["--site", str(path)]


def run(words: list[str], within_s: float = 30.0) -> subprocess.CompletedProcess[str]:
    """A command to its end."""
    return subprocess.run(words, cwd=ROOT, capture_output=True, text=True, timeout=within_s, check=False)


@pytest.mark.broker
def test_what_is_published_is_what_the_world_says(broker: Broker, tmp_path: Path) -> None:
    """An hour by published clock: each message of the same pure world, in order, and the clock after it."""
    keep = ["mosquitto_sub", *broker.client_args, "-c", "-i", "keeper", "-q", "1", "-t", "quern-hill/#"]
    assert run([*keep, "-E"]).returncode == 0
    words = [*SIMULATE, *site_file(tmp_path, broker.port), "--clock", "topic", "--hours", "1"]
    done = run([*words, "--epoch", "2025-11-24T18:00:00Z", "--truth", str(tmp_path / "truth.jsonl")])
    assert done.returncode == 0, done.stderr

    world, expected = World(site(), 4, start_s=START_S), []
    for k in range(360):
        world.step(10.0)
        expected += [f"{reading.topic} {reading.payload.decode()}" for reading in world.readings()]
        expected.append(f"quern-hill/clock {json.dumps({'t': START_S + 10.0 * (k + 1)})}")
    got = run([*keep, "-v", "-C", str(len(expected)), "-W", "20"])
    assert got.stdout.splitlines() == expected
    told = [json.loads(line) for line in (tmp_path / "truth.jsonl").read_text().splitlines()]
    assert told == world.truth()


@pytest.mark.broker
def test_an_order_turns_a_bed_and_a_signal_ends_the_run(broker: Broker, tmp_path: Path) -> None:
    truth = tmp_path / "truth.jsonl"
    words = [*SIMULATE, *site_file(tmp_path, broker.port), "--clock", "scaled", "--truth", str(truth)]
    tell = ["mosquitto_pub", *broker.client_args, "-q", "1", "-t", "quern-hill/sim/command", "-m"]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True) as going:
        assert going.stdout is not None
        said = [going.stdout.readline(), going.stdout.readline()]
        for order in ('{"fly": 1}', '{"turn": "bed-c"}'):
            assert run([*tell, order]).returncode == 0
        said += [going.stdout.readline(), going.stdout.readline()]
        going.send_signal(signal.SIGTERM)
        said += going.stdout.readlines()
        assert going.wait(20) == 0

    assert "orders go to quern-hill/sim/command" in said[1]
    assert "order refused (1 so far): verb 'fly'" in said[2]
    assert 'order done: {"turn": "bed-c"}' in said[3]
    assert "1 done, 1 refused, 0 lost" in said[-1]
    lines = [json.loads(line) for line in truth.read_text().splitlines()]
    assert [line["target"] for line in lines if line["kind"] == "order"] == ["bed-c"]
    assert [line["ended_at"] for line in lines if line["kind"] == "turn"] == [None]


@pytest.mark.broker
def test_a_scaled_clock_is_the_one_both_sides_compute(broker: Broker, tmp_path: Path) -> None:
    """SIM + N x (wall - WALL), begun a minute before the programme was."""
    started_s = time.time() - 60.0
    words = [*SIMULATE, *site_file(tmp_path, broker.port), "--clock", "scaled", "--speed", "600"]
    done = run([*words, "--epoch", str(START_S), "--started", str(started_s), "--seconds", "1.5"])
    ended_s = moment_s(done.stdout.split("stopped at ")[1].split(": ")[0])

    elapsed_s = time.time() - started_s
    assert START_S + 600.0 * 61.0 < ended_s <= START_S + 600.0 * elapsed_s


@pytest.mark.broker
def test_a_run_waits_for_a_gateways_judgement(broker: Broker, tmp_path: Path) -> None:
    """The kept status of a gateway that has judged far ahead lets every step pass."""
    status = ["mosquitto_pub", *broker.client_args, "-q", "1", "-t", "quern-hill/gateway/status"]
    assert run([*status, "-r", "-m", '{"judged_to": "2099-01-01T00:00:00.000Z"}']).returncode == 0
    words = [*SIMULATE, *site_file(tmp_path, broker.port), "--clock", "topic", "--hours", "0.1"]
    done = run([*words, "--wait-judged", "--epoch", str(START_S)])
    assert "0 steps not judged in time" in done.stdout


@pytest.mark.parametrize(
    "payload",
    [b"", b"[]", b"judged", b'{"judged_to": 5}', b'{"judged_to": "noon"}', b'{"judged_to": null}', b"\xff"],
)
def test_what_is_no_status_is_passed_over(payload: bytes) -> None:
    assert judged_to_s(payload) is None


def test_a_status_says_how_far_was_judged() -> None:
    assert judged_to_s(b'{"state": "running", "judged_to": "2025-11-24T18:00:00.000Z"}') == START_S


def test_no_broker_is_exit_3(tmp_path: Path) -> None:
    done = run([*SIMULATE, *site_file(tmp_path, free_port()), "--patience", "0.3"])
    assert done.returncode == 3
    assert "no broker at 127.0.0.1" in done.stderr


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--site", "nowhere.toml"], "nowhere.toml"),
        (["--site", str(SITE_FILE), "--mishaps", "drip=1"], "drip"),
        (["--site", str(SITE_FILE), "--epoch", "2025-11-24T18:00:00"], "no offset"),
        (["--site", str(SITE_FILE), "--speed", "0"], "expected 0.001"),
        (["--site", str(SITE_FILE), "--start", str(SITE_FILE.with_name("sites.py"))], "sites.py"),
    ],
)
def test_faulty_input_is_exit_2_and_named(words: list[str], says: str) -> None:
    done = run([*SIMULATE, *words])
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_help_teaches_every_option_and_order() -> None:
    shown = run([sys.executable, "-m", "simulators", "run", "--help"]).stdout
    for word in (
        "--truth",
        "--mishaps",
        "--epoch",
        "--started",
        "sim/command",
        '{"turn": "bed-c"}',
        "delay_s",
    ):
        assert word in shown


def test_the_example_site_can_be_simulated() -> None:
    """Its warmest bed passes its limit in the first 20 minutes; its kiln follows its own programme."""
    world = World(read_site(ROOT / "config" / "quern-hill.toml"), 1, start_s=START_S)
    hottest_c = 0.0
    for _ in range(20):
        world.step(60.0)
        told = [reading.value for reading in world.readings() if reading.probe.startswith("bed-c-mid")]
        hottest_c = max([hottest_c, *told])
    assert 22.0 <= hottest_c < 22.5
    assert [kiln.wanted_c() for kiln in world.kilns.values()] == [45.0]
    assert all(place.air_on for place in world.plan.places if place.kind == "kiln")


def test_moments_as_typed() -> None:
    assert moment_s("2025-11-24T18:00:00Z") == moment_s("2025-11-24T19:00:00+01:00") == START_S
    assert moment_s("1764007200") == START_S
