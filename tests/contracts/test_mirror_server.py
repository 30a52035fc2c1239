"""The mirror against a real server: what is read back is what the store has, no more, no less.

By default that is Debian's victoria-metrics. Its series are named MEASUREMENT_FIELD; it keeps about twelve
digits of a value (0.1 + 0.2 comes back as 0.3), so values here have fewer. With INFLUX_URL, INFLUX_TOKEN,
INFLUX_ORG and INFLUX_BUCKET set, the same is tried against that InfluxDB, whose bucket must keep for ever
and is emptied.
"""

import os
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Protocol

import pytest

from gateway import mirror
from gateway.edges.clock import WallClock
from gateway.edges.influx import Influx
from tests.contracts.mirror import Rig, samples_of
from tests.timeseries import FaultProxy, InfluxServer, Sample, SeriesServer

INFLUX = ("INFLUX_URL", "INFLUX_TOKEN", "INFLUX_ORG", "INFLUX_BUCKET")


class Server(Protocol):
    """What the contract needs of either."""

    @property
    def url(self) -> str: ...
    def samples(self) -> list[Sample]: ...


@pytest.fixture(params=["victoria-metrics", "InfluxDB"])
def server(request: pytest.FixtureRequest) -> Iterator[Server]:
    """A running server."""
    if request.param == "victoria-metrics":
        yield request.getfixturevalue("series_server")
        return
    values = [os.environ.get(name) for name in INFLUX]
    if not all(values):
        pytest.skip(f"needs {', '.join(INFLUX)}")
    yield InfluxServer(*(value or "" for value in values))


@pytest.fixture
def rig(tmp_path: Path, server: Server) -> Iterator[Rig]:
    """A store with a bit of everything, mirrored to that server."""
    made = Rig(tmp_path / "store", server.url, **getattr(server, "access", {}))
    made.everything(1200)
    yield made
    made.close()


def test_what_is_read_back_is_what_the_store_has(rig: Rig, server: Server) -> None:
    rig.settle()
    found = server.samples()
    assert len(found) == len(set(found))
    assert set(found) == samples_of(rig.expected())
    assert {name for name, *_ in found} >= {"reading_value", "alarm_active", "turn_began_ms", "event_n"}


def test_what_is_written_twice_is_there_once(rig: Rig, server: Server) -> None:
    rig.settle()
    lines = rig.expected()
    random.Random(4).shuffle(lines)
    rig.series.write(lines)
    found = server.samples()
    assert len(found) == len(set(found))
    assert set(found) == samples_of(rig.expected())


def test_long_values_come_back_to_twelve_digits(server: Server) -> None:
    """A value in degrees Fahrenheit has seventeen digits once it is in Celsius."""
    access = getattr(server, "access", {"org": "quern", "bucket": "malt", "token": "a token"})
    series = Influx(server.url, access["org"], access["bucket"], access["token"], WallClock())
    values = [21.11111111111111, -17.77777777777778, 0.1 + 0.2, 1 / 3, 1e-7 / 3, 249_999.99999999997]
    lines = [f"digits,site=quern-hill value={v!r} {1_700_000_000_000 + k}" for k, v in enumerate(values)]
    series.write(lines)
    series.close()
    found = {at: value for name, _, at, value in server.samples() if name == "digits_value"}
    assert [found[at] for at in sorted(found)] == pytest.approx(values, rel=1e-11)


def test_a_server_down_for_a_while_gets_everything(
    rig: Rig, series_server: SeriesServer, server: Server
) -> None:
    if server is not series_server:
        pytest.skip("somebody else's server is not stopped")
    rig.settle()
    series_server.stop()
    for k in range(5):
        rig.fill(400, began=1000 * (k + 1))
        assert rig.mirror.turn() >= mirror.AWAY_S[0]
    series_server.start()
    rig.settle()
    found = series_server.samples()
    assert len(found) == len(set(found))
    assert set(found) == samples_of(rig.expected())


@pytest.mark.parametrize("seed", range(6))
def test_through_whatever_goes_wrong_the_server_ends_up_with_the_same(
    tmp_path: Path, series_server: SeriesServer, proxies: Callable[..., FaultProxy], seed: int
) -> None:
    """Orders and restarts drawn by the seed; the lines refused for good are the only ones missing."""
    draw = random.Random(seed)
    proxy = proxies(series_server.port)
    directory = tmp_path / "store"
    rig = Rig(directory, proxy.url, batch=draw.choice([97, 500, 5000]))
    rig.everything(draw.randrange(500, 3000))
    bad = set(draw.sample([line for line in rig.expected() if line.startswith("reading")], 3))
    faults: list[str | int] = ["cut", "lost", "half", 413, 429, 500, 503, 401, 404]

    def rule(lines: list[str]) -> str | int:
        if bad & set(lines):
            return draw.choice([400, 422])
        # A refusal of good lines would, by right, put one of them aside.
        return draw.choice(faults) if len(lines) > 1 and draw.random() < 0.4 else "pass"

    proxy.rule = rule
    for _ in range(30):
        rig.pass_s(rig.mirror.turn())
        if draw.random() < 0.3:
            rig.broken = draw.random() < 0.5
            rig.mirror.turn()
            rig.close()
            rig = Rig(directory, proxy.url, batch=500)
    proxy.rule = lambda lines: 400 if bad & set(lines) else "pass"
    rig.settle()
    found = series_server.samples()
    assert len(found) == len(set(found))
    assert set(found) == samples_of(sorted(set(rig.expected()) - bad))
    assert {one.line for one in rig.reader.aside(10)} == bad
    rig.close()
