"""The mirror over hours' worth of mishaps at once: what the server holds in the end is what the store has.

200,000 readings wait; more come in by the broker meanwhile. The server is stopped and started, asks to wait,
breaks connections in the middle of a body, refuses one line in a hundred thousand, and the gateway is killed
(-9) again and again after the server has taken a page and before its place is kept.
"""

import random
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from gateway.core.inputs import SiteChanged, Started
from gateway.core.reading import OWN_TIME, Reading
from gateway.edges.sqlite import open_writer
from tests.broker import Broker
from tests.cli.house import Daemon, site_of
from tests.contracts.mirror import Rig, samples_of, short
from tests.contracts.mirror_house import House
from tests.timeseries import FaultProxy, SeriesServer

pytestmark = [pytest.mark.long, pytest.mark.broker, pytest.mark.series]

READINGS = 200_000
KILLS = 8
STOPS = 3
SEED = 20241105
WITHIN_S = 900.0


def _fill(house: House) -> None:
    """A store as after a long time without the server: every probe of the site, one reading a minute."""
    site = site_of(house.site)
    writer = open_writer(house.store, site_id=site.id, clock_kind="wall", reserve_bytes=65_536)
    first_ms = (int(time.time()) - 40 * 86_400) * 1000
    probes = [probe.id for probe in site.probes]
    with writer.atomic():
        writer.add_event(first_ms, first_ms, Started("0"))
        writer.add_event(first_ms, first_ms, SiteChanged(site))
    made = [
        Reading(
            probes[k % len(probes)],
            first_ms + k // len(probes) * 60_000,
            14 + k % 331 / 100,
            OWN_TIME,
            k,
            2.9,
        )
        for k in range(READINGS)
    ]
    for start in range(0, READINGS, 1000):
        at_ms = made[start].measured_at_ms
        with writer.atomic():
            writer.add_readings(at_ms, at_ms, made[start : start + 1000])
    writer.close()


class Weather:
    """What the proxy does with each request, drawn by the seed; never refuses good lines by themselves."""

    def __init__(self, proxy: FaultProxy, bad: set[str], kill: Callable[[], None]) -> None:
        self.draw, self.bad, self.kill = random.Random(SEED), bad, kill
        self.kills_left = KILLS
        self.up, self.killed = threading.Event(), threading.Event()
        self.proxy = proxy
        proxy.after = self.after
        proxy.headers = {"Retry-After": "1"}
        proxy.rule = self.rule

    def rule(self, lines: list[str]) -> str | int:
        """One request."""
        if self.bad & set(lines):
            return self.draw.choice([400, 422])
        chance = self.draw.random()
        if chance < 0.10:
            return self.draw.choice(["cut", 429, 503, 500, "half", 413 if len(lines) > 100 else 500])
        return "lost" if chance < 0.22 else "pass"

    def after(self) -> None:
        """The server has the page, and the gateway does not know it yet."""
        if self.kills_left and self.up.is_set():
            self.up.clear()
            self.kills_left -= 1
            self.kill()
            self.killed.set()


def test_after_all_that_can_go_wrong_the_server_has_what_the_store_has(
    tmp_path: Path, broker: Broker, series_server: SeriesServer, proxies: Callable[..., FaultProxy]
) -> None:
    proxy = proxies(series_server.port)
    house = House(tmp_path, broker, proxy.url, "batch = 1000")
    _fill(house)
    readings = [line for line in house.lines() if line.startswith("reading")]
    bad = set(random.Random(SEED).sample(readings, READINGS // 100_000))
    daemons: list[Daemon] = []
    weather = Weather(proxy, bad, lambda: daemons[-1].send(signal.SIGKILL))
    daemons.append(house.start())
    weather.up.set()
    deadline = time.monotonic() + WITHIN_S
    round_, stops = 0, 0
    try:
        while not _done(house, weather) and time.monotonic() < deadline:
            round_ += 1
            house.publish(50, 1000 * round_)
            if weather.killed.wait(1.0):
                weather.killed.clear()
                daemons[-1].discard()
                daemons.append(house.start())
                weather.up.set()
            elif stops < STOPS and round_ % 4 == 0:
                stops += 1
                series_server.stop()
                house.publish(20, 1000 * round_ + 500)
                series_server.start()
        assert daemons[-1].end() == 0
    finally:
        for one in house.daemons:
            one.discard()
    told = Counter(str(what) for what, _ in proxy.seen)
    print(f"requests {dict(told)}, kills {len(daemons) - 1}, stops {stops}")  # noqa: T201 - for who runs it
    _compare(house, proxy, series_server, bad)
    assert len(daemons) - 1 == KILLS
    assert stops == STOPS


def _done(house: House, weather: Weather) -> bool:
    """Whether the backlog is through and all that was to happen has happened."""
    return not weather.kills_left and len(set(weather.proxy.written)) >= len(house.lines()) - len(weather.bad)


def _compare(house: House, proxy: FaultProxy, server: SeriesServer, bad: set[str]) -> None:
    """The last effects of the stop go out by hand; then both must be equal."""
    proxy.rule = lambda lines: 400 if bad & set(lines) else "pass"
    rig = Rig(house.store, proxy.url, org="q", bucket="malt")
    rig.settle()
    lines = rig.expected()
    aside = {one.line for one in rig.reader.aside(1000)}
    rig.close()
    found = server.samples()
    assert len(found) == len(set(found))
    wanted, there = short(samples_of(sorted(set(lines) - bad))), short(found)
    lost, foreign = wanted - there, there - wanted
    assert (len(lost), len(foreign)) == (0, 0), (sorted(lost)[:5], sorted(foreign)[:5])
    assert aside == bad
