"""Live = replay: whatever happened, the journal judged again gives what was kept, to the last effect.

Every story in tests/scenarios, tests/data and tests/crash is compared as well; here the stories are drawn.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway import settings as reading
from gateway.core import engine
from gateway.core.inputs import EVENTS as EVENTS_OF
from gateway.core.inputs import (
    Answered,
    Cast,
    Condition,
    CouchBroken,
    Event,
    KilnWorked,
    Loaded,
    Moved,
    PutInService,
    PutOutOfService,
    Quieted,
    SiteChanged,
    Turned,
    Unquieted,
)
from gateway.settings import Settings
from tests.cli.house import site_file, type_in
from tests.core.desk import HOUR, MINUTE, START
from tests.core.desk import site as desk_site
from tests.scenarios.conftest import MEMORY, folder, full_night, gates, quern_hill
from tests.scenarios.floor import Night
from tests.scenarios.gate import Gate, Hand, PowerCut
from tests.scenarios.story import journal, replayed, replayed_as_inputs, show, story

__all__ = ["folder", "full_night", "gates", "quern_hill"]
ROOT = "qh"
DECADES = 14 * 365 * 24 * HOUR
BEDS, PROBES = st.sampled_from(["bed-a", "bed-b"]), st.sampled_from(["a1", "a2", "b1", "air", "k1"])
PLACE = {"a1": "bed-a", "a2": "bed-a", "b1": "bed-b", "air": "room", "k1": "kiln"}
WHO = st.sampled_from([None, "ada", "ben", "nobody"])
WHEN = st.none() | st.integers(START - 5 * 24 * HOUR, START + 12 * HOUR)
ALARM = st.integers(100, 112)

EVENTS: st.SearchStrategy[Event] = st.one_of(
    st.builds(Cast, BEDS, st.none() | st.sampled_from(["7", "8"]), WHO, st.none(), WHEN),
    st.builds(CouchBroken, BEDS, WHO, st.none(), WHEN),
    st.builds(Turned, BEDS, st.none() | st.floats(0, 20), st.none() | st.floats(0, 20), WHO, st.none(), WHEN),
    st.builds(Moved, BEDS, BEDS, WHO, st.none(), WHEN),
    st.builds(Loaded, BEDS, st.just("kiln"), WHO, st.none(), WHEN),
    st.builds(KilnWorked, st.sampled_from(["lit", "relit", "damped", "drawn", "stripped"]), st.just("kiln")),
    st.builds(Answered, ALARM, st.sampled_from(["going", "heard", "cant", "all-out"]), WHO),
    st.builds(Quieted, ALARM, st.floats(1, 90_000), st.just("repair"), WHO),
    st.builds(Unquieted, ALARM, st.none(), WHO),
    st.builds(PutOutOfService, PROBES, st.just("cable")),
    st.builds(PutInService, PROBES),
    st.builds(EVENTS_OF["test-call"], st.none() | st.just("ada")),
    st.builds(
        EVENTS_OF["check-in"],
        person=st.sampled_from(["ada", "ben"]),
        place=st.just("room"),
        for_s=st.none() | st.floats(60, 9000),
        when_ms=WHEN,
    ),
    st.builds(EVENTS_OF["check-out"], person=st.sampled_from(["ada", "ben"]), when_ms=WHEN),
    st.builds(Condition, st.sampled_from(["broker", "session", "dropped", "disk", "clock"]), st.booleans()),
)
WARM = st.floats(10, 30) | st.sampled_from([4.0, 21.9, 22.0, 25.0, 66.0])
READINGS = st.tuples(
    PROBES, st.lists(WARM, min_size=1, max_size=20), st.sampled_from([0, 0, 0, 3, 60, 400]), st.booleans()
)
Step = tuple[str, Any]
STEPS: st.SearchStrategy[Step] = st.one_of(
    st.tuples(st.just("readings"), READINGS),
    st.tuples(st.just("readings"), READINGS),
    st.tuples(st.just("air"), st.lists(st.sampled_from([800, 4999, 5000, 20_000]), min_size=1, max_size=9)),
    st.tuples(st.just("event"), EVENTS),
    st.tuples(st.just("event"), EVENTS),
    st.tuples(st.just("pass"), st.integers(1, 5 * HOUR)),
    st.tuples(st.just("deliver"), st.sampled_from(["delivered", "failed", "gone"])),
    st.tuples(st.just("garbage"), st.binary(max_size=20)),
    st.tuples(st.just("clock"), st.sampled_from([-HOUR, -2 * MINUTE, 90_000, HOUR, DECADES, -DECADES])),
    st.tuples(st.just("trusted"), st.booleans()),
    st.tuples(st.just("down"), st.integers(0, 9 * HOUR)),
    st.tuples(st.just("cut"), st.integers(1, 6)),
    st.tuples(st.just("site"), st.sampled_from([20.0, 22.0])),
)


class Told:
    """Steps done to a gateway; where the power goes, it starts again."""

    def __init__(self, gate: Gate) -> None:
        self.gate = gate

    def step(self, kind: str, what: Any) -> None:
        """Do one step, then let a round follow."""
        try:
            getattr(self, "_" + kind)(what)
            self.gate.run()
        except PowerCut:
            self._start()

    def _start(self) -> None:
        while True:
            self.gate.fall()
            try:
                self.gate.open()
                self.gate.run()
                return
            except PowerCut:
                continue

    def _send(self, probe: str, body: Any) -> None:
        payload = body if isinstance(body, bytes) else json.dumps(body).encode()
        self.gate.bench.publish(f"qh/{PLACE[probe]}/{probe}", payload)

    def _readings(self, what: tuple[str, list[float], int, bool]) -> None:
        """A minute apart, so many minutes old, with a time or without."""
        probe, values, age_min, own = what
        for value in values:
            at_s = (self.gate.hand.wall - age_min * MINUTE) / 1000
            self._send(probe, {"v": value, "t": at_s} if own else {"v": value})
            self.gate.hand.let_pass(MINUTE)
            self.gate.run()

    def _air(self, values: list[float]) -> None:
        self._readings(("air", values, 0, True))

    def _event(self, event: Event) -> None:
        self.gate.record(event)

    def _pass(self, ms: int) -> None:
        self.gate.hand.let_pass(ms)

    def _deliver(self, outcome: str) -> None:
        self.gate.deliver(outcome)

    def _garbage(self, payload: bytes) -> None:
        self._send("a1", payload)

    def _clock(self, by_ms: int) -> None:
        if 0 < self.gate.hand.wall + by_ms < 2 * 10**12:
            self.gate.hand.step(by_ms)

    def _trusted(self, trusted: bool) -> None:
        self.gate.hand.trusted = trusted

    def _down(self, ms: int) -> None:
        self.gate.fall()
        self.gate.hand.let_pass(ms)
        self._start()

    def _cut(self, points: int) -> None:
        self.gate.cut_in(points)

    def _site(self, strict_c: float) -> None:
        site = self.gate.settings.site
        changed = tuple(replace(one, strict_high_c=strict_c) for one in site.programmes)
        self.gate.record(SiteChanged(replace(site, programmes=changed)))


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    """Settings whose site is the desk's."""
    found = reading.load(site_file(tmp_path_factory.mktemp("site")), {})
    return replace(found, site=desk_site(), broker=replace(found.broker, root=ROOT))


@contextmanager
def gate_of(found: Settings) -> Iterator[Gate]:
    """A gateway on an empty store in memory, open."""
    folder = Path(tempfile.mkdtemp(prefix="malting-", dir=MEMORY if MEMORY.is_dir() else None))
    gate = Gate(folder / "store", found, Hand(START))
    try:
        gate.open()
        yield gate
    finally:
        gate.fall()
        shutil.rmtree(folder)


def _draw_and_compare(found: Settings, steps: list[Step]) -> None:
    with gate_of(found) as gate:
        told = Told(gate)
        for kind, what in steps:
            told.step(kind, what)
        gate.cut_in(10**9)
        replayed(gate)
        _a_snapshot_is_as_good_as_the_journal(gate)


def _a_snapshot_is_as_good_as_the_journal(gate: Gate) -> None:
    """The newest snapshot and what follows it come to the same state as the whole journal, byte for byte."""
    assert gate.reader is not None
    cursor, snapshot, at = gate.reader.load_judge()
    assert snapshot is not None
    state = engine.load(snapshot)
    assert engine.dump(state) == snapshot
    engine.advance(state, [one for one in journal(gate) if one.n > at.n], cursor.run_ms)
    whole = engine.new()
    engine.advance(whole, journal(gate), cursor.run_ms)
    assert engine.dump(whole) == engine.dump(state)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(STEPS, min_size=3, max_size=30))
def test_any_history_judged_again_is_the_same(plain: Settings, steps: list[Step]) -> None:
    _draw_and_compare(plain, steps)


@pytest.mark.long
@settings(max_examples=1500, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(STEPS, min_size=3, max_size=60))
def test_many_longer_histories(plain: Settings, steps: list[Step]) -> None:
    _draw_and_compare(plain, steps)


def test_a_night_judged_again_by_the_command_and_from_a_file(
    full_night: Night, gates: Callable[..., Gate], tmp_path: Path
) -> None:
    """`replay --store` over the store, and `replay --inputs` over the journal written as a file."""
    gate = gates(full_night.start_ms)
    story(gate, full_night).until(full_night.start_ms + 8 * HOUR)
    compared = replayed(gate)
    said = type_in("--store", gate.store, "replay")
    assert said.code == 0
    assert said.json["kept"] == said.json["made"] == said.json["same"] == compared
    assert said.json["differences"] == []
    as_inputs = replayed_as_inputs(gate, tmp_path)
    show(f"{said.json['entries']} entries, {compared} effects by --store, {as_inputs} by --inputs")
