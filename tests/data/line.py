"""A series told to a gateway whose time comes on a topic, and what must come of it by the data alone."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

from gateway.edges.clock import TopicClock
from tests.data.series import Probe, Series, steps
from tests.scenarios.gate import Gate

HOUR_MS = 3_600_000
#: What loggers write where there is nothing to write (README of the data).
SENTINELS = (-9999.0, 7999.0)
#: How long a probe may be silent (practice.md; the site file's default): in a bed, for gas, elsewhere.
BED_S, GAS_S, OTHER_S, INTERVALS = 1800.0, 300.0, 1800.0, 1.5


class Told(NamedTuple):
    """One thing the broker took: a reading of a probe, or the clock (`probe` None)."""

    at_ms: int
    probe: str | None
    value: float = 0.0


def told(series: Series, step_ms: int, order: str) -> Iterator[Told]:
    """Readings and clock messages in the order they are published.

    `before`: the clock says the end of a step, then come its readings. `after`: the readings, then the clock.
    Both tell the time at least hourly where there are no readings. `sparse`: as `after`, without that.
    """
    clock_ms = 0
    for end_ms, step in steps(series, step_ms):
        begin_ms = end_ms - step_ms
        while order != "sparse" and clock_ms and begin_ms - clock_ms > HOUR_MS:
            clock_ms += HOUR_MS
            yield Told(clock_ms, None)
        if order != "sparse" and clock_ms < begin_ms:
            yield Told(begin_ms, None)
        if order == "before":
            yield Told(end_ms, None)
        yield from (Told(at_ms, probe, value) for probe, at_ms, value in step)
        if order != "before":
            yield Told(end_ms, None)
        clock_ms = end_ms


def payload(one: Told) -> bytes:
    """It as the broker gets it."""
    if one.probe is None:
        return json.dumps({"t": one.at_ms / 1000}).encode()
    return json.dumps({"t": one.at_ms / 1000, "v": one.value}).encode()


def topic(root: str, series: Series, one: Told) -> str:
    """Where it is published."""
    places = {probe.id: probe.place for probe in series.probes}
    return f"{root}/clock" if one.probe is None else f"{root}/{places[one.probe]}/{one.probe}"


def tell(gate: Gate, series: Series, sequence: Iterator[Told], copies: int = 1) -> None:
    """All of it through the pipeline, some hundreds of messages at a time."""
    clock = TopicClock()
    gate.open(clock, clock.set_ms)
    waiting = 0
    for one in sequence:
        for _ in range(copies if one.probe else 1):
            gate.bench.publish(topic(gate.root, series, one), payload(one))
            waiting += 1
        if waiting >= 500:
            gate.hand.let_pass(1000)
            gate.run()
            gate.deliver()
            waiting = 0
    gate.run()


def allowed_ms(probe: Probe) -> int:
    """How long this probe may be silent."""
    usual_s = BED_S if probe.place == "bed-a" else GAS_S if probe.quantity == "co2" else OTHER_S
    return round(max(usual_s, INTERVALS * probe.every_s) * 1000)


def silences(series: Series, sequence: Iterator[Told]) -> Counter[str]:
    """How often each probe must be found silent: by what was told, without the gateway's code.

    A probe is heard at the time the clock showed when its (good) reading came; it is silent once the clock
    shows its allowance more.
    """
    allowed = {probe.id: allowed_ms(probe) for probe in series.probes}
    clock_ms, heard, silent = 0, dict.fromkeys(allowed, 0), set[str]()
    found: Counter[str] = Counter()
    for one in sequence:
        if one.probe is not None:
            if one.value not in SENTINELS:
                heard[one.probe] = clock_ms
                silent.discard(one.probe)
            continue
        if not clock_ms:
            heard = dict.fromkeys(allowed, one.at_ms)
        clock_ms = one.at_ms
        for probe, ms in allowed.items():
            if probe not in silent and clock_ms >= heard[probe] + ms:
                silent.add(probe)
                found[probe] += 1
    return found
