"""Any bytes on any topic, under any good site file: no crash, no growth without bound, a reason for each.

The whole intake and judgement are real: pipeline, wire, store, engine. The broker is the one in memory that
holds to the contract of the real one, and fails a settlement that is missing, doubled or out of order.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway import settings as reading
from gateway.core import engine
from gateway.core.reading import Reading, Reason
from gateway.core.site import Probe, Site
from gateway.edges.clock import MOST_AT_ONCE_MS, TOPIC_BEGIN_MS, TopicClock
from gateway.settings import Settings
from tests.cli.house import site_file
from tests.core.desk import START
from tests.core.desk import site as desk_site
from tests.scenarios.conftest import MEMORY
from tests.scenarios.gate import MANY, Gate, Hand
from tests.scenarios.story import journal, replayed

ROOT = "qh"
KEYS = ("v", "t", "n", "b", "a/b", "m~n", "", "0", "x")
NUMBERS = st.one_of(
    st.floats(), st.integers(-(10**400), 10**400), st.floats(-50, 200),
    st.sampled_from([-9999, 7999, 1e308, -0.0, 5e-324]),
)  # fmt: skip
TIMES = st.one_of(
    st.floats(allow_nan=True), st.integers(-(10**30), 10**30), st.text(max_size=30),
    st.floats(START / 1000 - 90_000, START / 1000 + 90_000),
    st.sampled_from(["2026-03-02T20:00:00Z", "2026-03-02T20:00:00", "2026-03-02T23:59:60+01:00", START]),
)  # fmt: skip
LEAVES = st.one_of(NUMBERS, TIMES, st.text(max_size=10), st.booleans(), st.none())
DOCUMENTS = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.dictionaries(st.sampled_from(KEYS), inner, max_size=5), st.lists(inner, max_size=4)
    ),
    max_leaves=12,
)
GOOD = st.fixed_dictionaries({"v": st.floats(0, 40)}, optional={"t": TIMES, "n": NUMBERS, "b": NUMBERS})


def _written(document: Any) -> bytes:
    return json.dumps(document).encode("utf-8", "surrogatepass")


PAYLOADS = st.one_of(
    st.binary(max_size=600),
    DOCUMENTS.map(_written),
    GOOD.map(_written),
    NUMBERS.map(lambda value: str(value)[:40].encode()),
    st.integers(1, 3000).map(lambda depth: b"[" * depth),
    st.integers(1, 70_000).map(lambda size: b"1" * size),
    st.builds(lambda good, at: good[: at % (len(good) + 1)], GOOD.map(_written), st.integers(0, 200)),
)
KNOWN = st.sampled_from(["qh/bed-a/a1", "qh/bed-a/a2", "qh/bed-b/b1", "qh/room/air", "qh/kiln/k1", "qh/many"])
OWN = st.sampled_from(["qh/gateway/status", "qh/sim/command", "qh/gateway", "qh/clock"])
TOPICS = st.one_of(KNOWN, KNOWN, KNOWN, OWN, st.text(min_size=1, max_size=300).map(lambda text: f"qh/{text}"))
MESSAGES = st.lists(st.tuples(TOPICS, PAYLOADS, st.sampled_from([0, 1, 1, 1]), st.booleans()), max_size=25)
POINTERS = st.lists(st.sampled_from(["v", "t", "a~1b", "m~0n", "0", "x"]), max_size=3).map(
    lambda parts: "".join(f"/{part}" for part in parts)
)


@st.composite
def probes(draw: st.DrawFn) -> tuple[Probe, ...]:
    """The desk's probes, read in any way a site file may ask for; some of them share a topic."""
    found = []
    for probe in desk_site().probes:
        low = draw(st.none() | st.floats(-60, 20))
        topic = draw(st.sampled_from([probe.topic, "qh/many"]))
        found.append(
            replace(
                probe, topic=topic, payload=draw(st.sampled_from(["json", "json", "number"])),
                value=draw(POINTERS), time=draw(POINTERS), sequence=draw(POINTERS), battery=draw(POINTERS),
                to_fixed_gain=draw(st.floats(1e-6, 1e6)), to_fixed_offset=draw(st.floats(-300, 300)),
                gain=draw(st.floats(-10, 10)), offset=draw(st.floats(-300, 300)),
                range_low=low, range_high=None if low is None else low + draw(st.floats(0.1, 200)),
                plausible_low=draw(st.none() | st.floats(-1e4, 0)),
                plausible_high=draw(st.none() | st.floats(1, 1e5)),
                every_s=draw(st.floats(0.1, 86_400)), silent_after_s=draw(st.floats(1, 1e6)),
            )
        )  # fmt: skip
    return tuple(found)


@contextmanager
def gate_of(site: Site, settings_of: Settings) -> Iterator[Gate]:
    """A gateway of that site on an empty store in memory."""
    folder = Path(tempfile.mkdtemp(prefix="malting-", dir=MEMORY if MEMORY.is_dir() else None))
    one = Gate(
        folder / "store",
        replace(settings_of, site=site, broker=replace(settings_of.broker, root=ROOT)),
        Hand(START),
    )
    try:
        one.open()
        yield one
        one.close()
    finally:
        shutil.rmtree(folder)


def _bring(gate: Gate, messages: list[tuple[str, bytes, int, bool]]) -> None:
    for topic, payload, qos, retain in messages:
        gate.bench.publish(topic, payload, qos=qos, retain=retain)
    gate.hand.let_pass(30_000)
    gate.run()


def _expected(gate: Gate, topic: str) -> int:
    """How many outcomes a message on this topic has: one for each probe there, one where there is none."""
    if topic in ("qh/clock", "qh/gateway", "qh/sim") or topic.startswith(("qh/gateway/", "qh/sim/")):
        return 0
    return max(1, sum(probe.topic == topic for probe in gate.settings.site.probes))


def _everything_has_an_outcome(gate: Gate, messages: list[tuple[str, bytes, int, bool]]) -> None:
    assert gate.reader is not None
    counts = gate.counts()
    expected = [_expected(gate, topic) for topic, *_ in messages]
    outcomes = counts.get("kept", 0) + counts.get("duplicates", 0) + counts.get("refused", 0)
    assert counts.get("received", 0) == sum(number > 0 for number in expected)
    assert outcomes == sum(expected)
    assert "redelivered" not in counts
    # The broker in memory has nothing left that it would send again.
    assert gate.bench.facts()["settled"] == sum(qos for _, _, qos, _ in messages)
    kept = [entry.what for entry in journal(gate) if isinstance(entry.what, Reading)]
    assert len(kept) == counts.get("kept", 0)
    assert len({(one.probe, one.measured_at_ms) for one in kept}) == len(kept)
    refused = gate.reader.rejected(MANY)
    assert len(refused) == counts.get("refused", 0) == sum(one.times for one in gate.reader.rejected_counts())
    for line in refused:
        assert isinstance(line.rejected.reason, Reason)
        assert line.rejected.detail
        assert len(line.rejected.payload) <= 256
        assert len(line.rejected.topic) <= 512


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Settings whose site is replaced in each example."""
    return reading.load(site_file(tmp_path_factory.mktemp("site")), {})


SLOW = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))


@SLOW
@given(st.lists(MESSAGES, min_size=1, max_size=3))
def test_any_bytes_on_any_topic_come_to_an_outcome(
    plain: Settings, batches: list[list[tuple[str, bytes, int, bool]]]
) -> None:
    with gate_of(desk_site(), plain) as gate:
        for batch in batches:
            _bring(gate, batch)
        _everything_has_an_outcome(gate, [one for batch in batches for one in batch])
        replayed(gate)


@SLOW
@given(probes(), st.lists(MESSAGES, min_size=1, max_size=2))
def test_however_the_site_reads_its_probes(
    plain: Settings, found: tuple[Probe, ...], batches: list[list[tuple[str, bytes, int, bool]]]
) -> None:
    with gate_of(desk_site(probes=found), plain) as gate:
        for batch in batches:
            _bring(gate, batch)
        _everything_has_an_outcome(gate, [one for batch in batches for one in batch])
        replayed(gate)


@SLOW
@given(st.lists(st.one_of(PAYLOADS, DOCUMENTS.map(_written)), max_size=20))
def test_any_bytes_as_a_clock_message(plain: Settings, payloads: list[bytes]) -> None:
    """A clock message sets the time or is counted; what it sets never runs backward, nor on for ever."""
    folder = Path(tempfile.mkdtemp(prefix="malting-", dir=MEMORY if MEMORY.is_dir() else None))
    clock = TopicClock()
    gate = Gate(
        folder / "store",
        replace(plain, site=desk_site(), broker=replace(plain.broker, root=ROOT)),
        Hand(START),
        topic=True,
    )
    try:
        gate.open(clock, clock.set_ms)
        for payload in payloads:
            gate.bench.publish("qh/clock", payload)
            before_ms = clock.wall_ms()
            gate.run()
            assert 0 <= clock.wall_ms() - before_ms <= MOST_AT_ONCE_MS or before_ms == TOPIC_BEGIN_MS
        assert gate.counts().get("clock_ignored", 0) <= len(payloads)
        replayed(gate)
        gate.close()
    finally:
        shutil.rmtree(folder)


def test_a_flood_of_garbage_stays_bounded(plain: Settings) -> None:
    """30,000 messages on 15,000 unknown topics and known ones: lists stay at their size, counts go on."""
    with gate_of(desk_site(), plain) as gate:
        assert gate.reader is not None
        for part in range(30):
            for k in range(500):
                gate.bench.publish(f"qh/unknown/{part}-{k}", b"\xff" * 1000)
                gate.bench.publish("qh/bed-a/a1", b'{"v":' + b"[" * (k % 50))
            gate.hand.let_pass(10_000)
            gate.run()
        counts = gate.reader.rejected_counts()
        assert sum(one.times for one in counts) == gate.counts()["refused"] == 30_000
        assert len(gate.reader.rejected(MANY)) == 10_000
        assert len([one for one in counts if one.probe is None]) <= 5001
        # At most 20 topics are named in one commit's events, one more stands for the rest.
        assert len(journal(gate)) <= 2 + 30 * (20 + 1 + 1)
        assert len(engine.dump(gate.state())) < 20_000
        assert gate.bench.facts()["queued"] == 0
