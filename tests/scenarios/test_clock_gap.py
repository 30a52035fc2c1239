"""A clock message far ahead: judged by the hour, with turns for others between, and left where it stands."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from gateway.core.inputs import Cast
from gateway.edges.clock import TopicClock
from gateway.settings import Settings
from tests.core.desk import HOUR, MINUTE, START
from tests.core.desk import site as desk_site
from tests.scenarios.gate import MANY, Gate, Hand
from tests.scenarios.story import replayed

GAP_H = 10


class Slow:
    """A topic's clock; an hour of it takes 150 ms to judge, told to the gate's own clock."""

    def __init__(self, hand: Hand, resumed_ms: int | None = None) -> None:
        self.clock, self._hand = TopicClock(resumed_ms), hand

    def set_ms(self, at_ms: int, most_ms: int) -> bool:
        """As `TopicClock.set_ms`."""
        self._hand.mono += 150
        return self.clock.set_ms(at_ms, most_ms)


def _told(gate: Gate, at_ms: int) -> None:
    gate.bench.publish("qh/clock", b'{"t":%d}' % (at_ms // 1000))


def test_others_have_their_turn_in_a_long_gap_and_the_rest_is_judged_after_a_start(
    tmp_path: Path, quern_hill: Settings
) -> None:
    settings = replace(quern_hill, site=desk_site(), broker=replace(quern_hill.broker, root="qh"))
    gate = Gate(tmp_path / "store", settings, Hand(0), topic=True)
    slow = Slow(gate.hand)
    gate.open(slow.clock, slow.set_ms)
    _told(gate, START)
    gate.run()
    gate.record(Cast("bed-a", "14"))

    end_ms = START + GAP_H * HOUR
    _told(gate, end_ms)
    gate.bench.publish("qh/bed-a/a1", b'{"v":15.0}')
    gate.pipeline.step(0.0)
    assert slow.clock.wall_ms() == START + 2 * HOUR, "a turn is over when the second hour is"
    assert len(gate.bench._unsettled) == 2
    number = gate.record(Cast("bed-b", "15"))
    assert gate.reader is not None
    [entry] = gate.reader.entries_after(number - 1, 1)
    assert entry.at_ms == START + 2 * HOUR, "it was recorded where the judge stands"

    gate.fall()
    slow = Slow(gate.hand, START + 2 * HOUR)
    gate.open(slow.clock, slow.set_ms)
    for _ in range(GAP_H):
        gate.run()
        gate.pipeline.step(0.0)
    assert slow.clock.wall_ms() == end_ms
    assert not gate.bench._unsettled
    readings = [one for one in gate.reader.entries_after(0, MANY) if getattr(one.what, "probe", "") == "a1"]
    assert [one.at_ms for one in readings] == [end_ms]
    silent = {one.probe: one.raised_ms for one in gate.alarms() if one.kind == "probe_silent"}
    # Never heard: silent after its half hour, and not at the end of the gap.
    assert silent["a2"] == START + 30 * MINUTE
    replayed(gate)
    gate.close()
