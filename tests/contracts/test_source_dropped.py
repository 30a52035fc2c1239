"""What a broker throws away: a real mosquitto with a queue that is too short, one that tells nothing."""

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from gateway.edges.mqtt.watch import DROPPED_EACH_S, Watch
from tests.broker import Broker
from tests.contracts.source import ROOT, connected, payloads, publish, real, take, until

SHORT = "max_queued_messages 5\nsys_interval 1\n"


def _somebody_away(broker: Broker) -> None:
    """A client with a session that is not there: the broker keeps five messages for it."""
    words = ["mosquitto_sub", *broker.client_args, "-i", "away", "-c", "-q", "1", "-t", f"{ROOT}/b", "-E"]
    subprocess.run(words, check=True, timeout=20)


def test_what_the_broker_throws_away_is_told_once_it_grows(brokers: Callable[[str], Broker]) -> None:
    broker = brokers(SHORT)
    _somebody_away(broker)
    publish(broker, f"{ROOT}/b", *map(str, range(20)))
    source = connected(real(broker))
    try:
        until(lambda: source.facts()["dropped"] is not None)
        first = source.facts()["dropped"]
        assert source.conditions() == []
        publish(broker, f"{ROOT}/b", *map(str, range(40)))
        assert len(payloads(take(source, 40))) == 40
        until(lambda: source.facts()["dropped"] > first)
        [(name, on, detail)] = until(source.conditions)
        assert (name, on) == ("dropped", True)
        assert "thrown away by the broker" in detail
        assert source.facts()["received"] == 40, "its own count is no message"
    finally:
        assert source.stop()


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_a_broker_that_does_not_tell_serves_as_before(
    brokers: Callable[[str], Broker], tmp_path: Path, protocol: str
) -> None:
    (tmp_path / "access").write_text(f"topic readwrite {ROOT}/#\n")
    (tmp_path / "access").chmod(0o644)
    broker = brokers(f"acl_file {tmp_path / 'access'}\n{SHORT}")
    source = connected(real(broker, protocol=protocol))
    try:
        publish(broker, f"{ROOT}/a", "17")
        assert payloads(take(source, 1)) == ["17"]
        assert source.facts()["dropped"] is None
        assert source.facts()["reconnects"] == 0
    finally:
        assert source.stop()


def test_growth_is_told_at_most_once_a_minute_and_less_is_a_new_beginning() -> None:
    watch = Watch(0.0)
    for at_s, count in ((1, 7), (2, 9), (3, 12), (40, 15), (70, 15), (71, 2), (72, 2), (200, 5)):
        watch.threw_away(float(at_s), count)
    assert [detail.split()[0] for _, _, detail in watch.changes()] == ["2", "6", "3"]
    assert watch.dropped == 5
    assert DROPPED_EACH_S == 60.0
