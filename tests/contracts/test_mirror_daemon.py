"""The mirror in the running gateway: real broker, real server, the command, and kill -9 in between."""

import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.broker import Broker
from tests.cli.house import SOON_S, Daemon, schema, site_file, type_in
from tests.contracts.mirror import samples_of
from tests.contracts.mirror_house import House
from tests.timeseries import FaultProxy, SeriesServer

pytestmark = [pytest.mark.broker, pytest.mark.series]


@pytest.fixture
def proxy(series_server: SeriesServer, proxies: Callable[..., FaultProxy]) -> FaultProxy:
    """Before the server."""
    return proxies(series_server.port)


@pytest.fixture
def house(tmp_path: Path, broker: Broker, proxy: FaultProxy) -> Iterator[House]:
    """One house; nothing of it runs on after the test."""
    made = House(tmp_path, broker, proxy.url)
    yield made
    for one in made.daemons:
        one.discard()


def test_a_gateway_killed_between_write_and_place_leaves_nothing_out(
    house: House, proxy: FaultProxy, series_server: SeriesServer
) -> None:
    daemon = house.start()
    house.publish(300, 0)
    house.wait(proxy, 300)
    type_in("--store", house.store, "turned", "bed-c", "--by", "Ben")
    house.publish(200, 1000)
    house.wait(proxy, 500)
    daemon.end(signal.SIGKILL)
    house.publish(200, 2000)
    again = house.start()
    house.wait(proxy, 700)
    assert again.end() == 0
    found = series_server.samples()
    assert len(found) == len(set(found))
    assert set(found) <= samples_of(house.lines())
    wanted = {one for one in samples_of(house.lines()) if not one[0].startswith("alarm")}
    assert set(found) >= wanted


def test_a_refusing_server_is_an_alarm_and_the_command_tells_and_sends_again(
    house: House, proxy: FaultProxy
) -> None:
    bad = " value=15.3 "
    proxy.rule = lambda lines: (
        400 if any(bad in f"{line.split(',battery')[0]} " for line in lines) else "pass"
    )
    daemon = house.start()
    house.publish(8, 0)
    house.wait(proxy, 7)
    told = type_in("--store", house.store, "mirror", "--json")
    deadline = time.monotonic() + SOON_S
    while not (told.json["rows"] and told.json["rows"][0]["aside"]) and time.monotonic() < deadline:
        told = type_in("--store", house.store, "mirror", "--json")
    schema("mirror").validate(told.json)
    [row] = told.json["rows"]
    assert told.code == 1
    assert (row["aside"], row["lines"][0]["reason"]) == (1, "status 400: unable to parse the line")
    assert "value=15.3" in type_in("--store", house.store, "mirror").out
    health = {row["name"]: row for row in type_in("--store", house.store, "health", "--json").json["rows"]}
    assert health["mirror"]["state"] == "bad"
    proxy.rule = lambda _: "pass"
    assert "1 lines will be sent" in type_in("--store", house.store, "mirror", "--resend").err
    house.wait(proxy, 8)
    proxy.rule = lambda _: 401
    house.publish(3, 100)
    daemon.wait_for("does not take what is written: status 401")
    kinds: set[str] = set()
    while "gateway_mirror" not in kinds and time.monotonic() < deadline:
        kinds = {row["kind"] for row in type_in("--store", house.store, "alarms", "--json").json["rows"]}
    assert "gateway_mirror" in kinds
    assert daemon.end() == 0
    # With no daemon the command marks them by itself; there are none.
    assert "0 lines will be sent" in type_in("--store", house.store, "mirror", "--resend").err


def test_a_store_that_never_had_a_server_says_so(store_without: Path) -> None:
    told = type_in("--store", store_without, "mirror")
    assert (told.code, "No time-series server is written to" in told.out) == (0, True)
    assert type_in("--store", store_without, "mirror", "--json").json["rows"] == []


@pytest.fixture
def store_without(tmp_path: Path, broker: Broker) -> Path:
    """A store of a gateway whose site file names no server, stopped in order."""
    daemon = Daemon(site_file(tmp_path / "site", broker=broker.port), tmp_path / "store")
    daemon.wait_for("running version=")
    assert daemon.end() == 0
    return tmp_path / "store"
