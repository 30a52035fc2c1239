"""Recorded series through mosquitto and the real daemon, its clock on the topic; read by the command line."""

from __future__ import annotations

import json
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from gateway.core.moment import rfc3339
from gateway.edges.sqlite import open_reader
from tests.broker import Broker
from tests.cli.house import Daemon, schema, type_in
from tests.crash.gateway_story import Phone
from tests.data import series as sources
from tests.data.line import HOUR_MS, payload, silences, told, topic
from tests.data.series import Series
from tests.scenarios.story import show

pytestmark = [pytest.mark.data, pytest.mark.broker]
SOON_S = 120.0
ROOT = "quern-hill"


class Driver:
    """Publishes in order over one connection, and reads the gateway's status (contract C5)."""

    def __init__(self, broker: Broker) -> None:
        self.status: dict[str, Any] = {}
        self.news = threading.Condition()
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="driver")
        self._client.max_inflight_messages_set(500)
        self._client.max_queued_messages_set(0)
        self._client.on_message = self._heard
        self._client.connect(broker.host, broker.port)
        self._client.subscribe(f"{ROOT}/gateway/status", 1)
        self._client.loop_start()

    def _heard(self, client: Client, data: object, message: MQTTMessage) -> None:
        with self.news:
            self.status = json.loads(message.payload)
            self.news.notify_all()

    def publish(self, where: str, body: bytes) -> None:
        """Hand one message over."""
        self._client.publish(where, body, qos=1)

    def wait_judged(self, to: str) -> None:
        """Until the gateway says that it has judged up to a time."""
        with self.news:
            done = self.news.wait_for(lambda: str(self.status.get("judged_to") or "") >= to, SOON_S)
        assert done, self.status

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def driver(broker: Broker) -> Iterator[Driver]:
    one = Driver(broker)
    yield one
    one.close()


def _through_the_daemon(
    folder: Path, broker: Broker, driver: Driver, series: Series, step_ms: int, order: str
) -> tuple[Path, float]:
    """Everything published and judged; the store of a gateway that has stopped, and the seconds it took."""
    phone = Phone()
    site = sources.site_file(folder / "site", series, broker.port, phone.port)
    daemon = Daemon(site, folder / "store", "--clock", "topic")
    try:
        daemon.wait_for("running version=", "connected to")
        began_s, last_ms = time.monotonic(), 0
        for one in told(series, step_ms, order):
            driver.publish(topic(ROOT, series, one), payload(one))
            last_ms = max(last_ms, one.at_ms if one.probe is None else 0)
        driver.wait_judged(rfc3339(last_ms))
        took_s = time.monotonic() - began_s
        assert daemon.end() == 0, daemon.log
    finally:
        daemon.discard()
        phone.close()
    return folder / "store", took_s


@pytest.mark.parametrize(
    ("source", "step_ms", "order"),
    [
        (sources.nab, HOUR_MS, "after"),
        pytest.param(sources.nab, HOUR_MS, "before", marks=pytest.mark.long),
        pytest.param(sources.candanedo, 120_000, "after", marks=pytest.mark.long),
        pytest.param(sources.room_occupancy, 31_000, "before", marks=pytest.mark.long),
        pytest.param(sources.sonde_2019, 900_000, "after", marks=pytest.mark.long),
    ],
)
def test_a_recorded_series_over_mosquitto(
    source: Callable[[], Series], step_ms: int, order: str, tmp_path: Path, broker: Broker, driver: Driver
) -> None:
    series = source()
    store, took_s = _through_the_daemon(tmp_path, broker, driver, series, step_ms, order)
    sentinels = Counter(
        "implausible" for probe in series.probes for _, value in probe.readings if value in (-9999.0, 7999.0)
    )
    reader = open_reader(store)
    counts = reader.counts()
    reader.close()
    assert counts["received"] == series.messages == counts["kept"] + sentinels.total()
    said = type_in("--store", store, "rejected", "--json").json
    schema("rejected").validate(said)
    assert {row["reason"]: row["count"] for row in said["counts"]} == dict(sentinels)
    alarms = type_in("--store", store, "alarms", "--all", "--json").json["rows"]
    silent = [row for row in alarms if row["kind"] == "probe_silent"]
    assert Counter(row["probe"] for row in silent) == silences(series, told(series, step_ms, order))
    if source is sources.nab:
        # README of the data: exactly 10 outages, each one alarm and one word that it is over.
        assert [[step["signal"] for step in row["history"]][:2] for row in silent] == [
            ["raise", "clear"]
        ] * 10
    again = type_in("--store", store, "replay").json
    assert again["differences"] == []
    show(f"{series.name}, {order}: {counts}, {len(silent)} silences, {again['kept']} effects live = replay; "
         f"{took_s:.1f} s for {series.messages} readings")  # fmt: skip
