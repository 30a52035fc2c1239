"""The real daemon, killed at random moments under load: nothing is lost, nothing is there twice.

The load comes from a client nobody here wrote. Moments are drawn while the daemon starts and while it works;
the seed is printed. The publisher waits, at each hot bed, until a phone has been called for it, so that
whatever was lost on the way would show.
"""

from __future__ import annotations

import random
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.broker import Broker
from tests.cli.house import type_in
from tests.crash.gateway_story import Gateway, Load, Phone
from tests.scenarios.story import show

pytestmark = pytest.mark.broker
CYCLES_LEAST = 2
#: One kill in three comes while the daemon starts, so long after the process began; the others so long after
#: it said that it was connected.
STARTING_S, WORKING_S = (0.02, 1.5), (0.0, 2.0)


class Publisher(threading.Thread):
    """Cycles of the load until told to finish; `fault` is what went wrong."""

    def __init__(self, load: Load, phone: Phone) -> None:
        super().__init__(daemon=True)
        self._load, self._phone = load, phone
        self.finish = threading.Event()
        self.fault: Exception | None = None

    def run(self) -> None:
        """Publish."""
        try:
            while not self.finish.is_set() or self._load.cycles < CYCLES_LEAST:
                self._load.cycle(self._phone)
        except Exception as fault:  # noqa: BLE001 - kept for the thread that asks, which fails on it
            self.fault = fault


@pytest.fixture
def made(
    tmp_path: Path, brokers: Callable[..., Broker]
) -> Iterator[Callable[[str], tuple[Gateway, Load, Phone]]]:
    """`made(name)`: a gateway, a load and a phone on a broker of their own."""
    found: list[tuple[Gateway, Load, Phone]] = []

    def make(name: str) -> tuple[Gateway, Load, Phone]:
        broker, phone = brokers(), Phone()
        one = Gateway(tmp_path / name, broker, phone), Load(broker), phone
        found.append(one)
        return one

    yield make
    for gateway, _, phone in found:
        gateway.discard()
        phone.close()


def _killed(gateway: Gateway, load: Load, phone: Phone, kills: int, seed: int) -> list[tuple[str, float]]:
    """Run it under load and kill it so many times; in which state, and how long after its beginning."""
    draw = random.Random(f"kills {seed}")
    daemon = gateway.start()
    daemon.wait_for("running version=", "connected to")
    load.tell(0)
    publisher = Publisher(load, phone)
    publisher.start()
    pause = threading.Event()
    after: list[tuple[str, float]] = []
    for _ in range(kills):
        starting = draw.random() < 1 / 3
        if not starting:
            daemon.wait_for("connected to")
        after.append(
            ("starting" if starting else "working", draw.uniform(*STARTING_S if starting else WORKING_S))
        )
        pause.wait(after[-1][1])
        assert daemon.end(signal.SIGKILL) == -signal.SIGKILL, daemon.log
        daemon = gateway.start()
    publisher.finish.set()
    publisher.join(180)
    assert publisher.fault is None, publisher.fault
    assert not publisher.is_alive()
    gateway.wait_judged(load.clock_ms)
    assert daemon.end() == 0, daemon.log
    return after


def _unkilled(gateway: Gateway, load: Load, phone: Phone, cycles: int) -> None:
    daemon = gateway.start()
    daemon.wait_for("running version=", "connected to")
    load.tell(0)
    for _ in range(cycles):
        load.cycle(phone)
    gateway.wait_judged(load.clock_ms)
    assert daemon.end() == 0, daemon.log


def _everything_is_there_once(gateway: Gateway, load: Load) -> None:
    kept = gateway.readings()
    timed = Counter((one.probe, one.measured_at_ms, one.value) for one in kept if one.probe != "outdoors-air")
    assert timed == Counter((probe, at_ms, value) for (probe, at_ms), value in load.timed.items())
    assert Counter(one.value for one in kept if one.probe == "outdoors-air") == Counter(
        round(value, 2) for value in load.bare
    )
    assert gateway.strange() == Counter(load.strange)
    counts = gateway.counts()
    assert counts["kept"] == len(load.timed) + len(load.bare)
    assert counts["refused"] == len(load.strange)
    assert "effects_differing" not in counts


@pytest.mark.parametrize(
    ("kills", "seed"), [(3, 1), pytest.param(50, 2, marks=pytest.mark.long)], ids=["3", "50"]
)
def test_killed_under_load(made: Callable[[str], tuple[Gateway, Load, Phone]], kills: int, seed: int) -> None:
    gateway, load, phone = made("killed")
    began_s = time.monotonic()
    after = _killed(gateway, load, phone, kills, seed)
    _everything_is_there_once(gateway, load)

    twin, same, other_phone = made("unkilled")
    _unkilled(twin, same, other_phone, load.cycles)
    _everything_is_there_once(twin, same)
    assert gateway.alarms() == twin.alarms()
    assert gateway.delivered("bed_hot") == set(range(1, load.cycles + 1)) == twin.delivered("bed_hot")
    assert len(phone.called_for("bed-c")) == load.cycles

    replayed = type_in("--store", gateway.store, "replay").json
    assert replayed["differences"] == []
    counts = gateway.counts()
    show(
        f"seed {seed}: {kills} kills, {dict(Counter(state for state, _ in after))}; "
        f"{load.taken} messages taken by the broker at QoS 1, each in the store once; {counts}; "
        f"{sum(gateway.alarms().values())} alarms, the same as unkilled, {load.cycles} of them calls that "
        f"reached the phone ({phone.posts} posts, {len(phone.heard)} notices); live = replay over "
        f"{replayed['kept']} effects; {time.monotonic() - began_s:.0f} s"
    )
