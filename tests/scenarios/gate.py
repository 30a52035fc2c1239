"""A gateway of real parts (clock arithmetic, store, pipeline, judge); its broker and phones are by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway.core import engine
from gateway.core.effects import Effect
from gateway.core.inputs import Delivery, Entry, Event
from gateway.edges.clock import ScaledClock
from gateway.edges.sqlite import Reader, Writer, open_reader, open_writer
from gateway.pipeline import Parts, Pipeline
from gateway.ports import AlarmLine, Clock, Message
from gateway.replay import Comparison, compare
from gateway.settings import Settings
from tests.contracts.source import Remembered

RESERVE = 64 * 1024
MANY = 100_000


class PowerCut(Exception):
    """The process is gone at this very point."""


class Machine(ScaledClock):
    """The real arithmetic of a clock over a wall and a running time that are turned by hand."""

    def __init__(self, hand: Hand) -> None:
        super().__init__(1.0, 0, 0, wall=lambda: hand.wall, mono=lambda: hand.mono)
        self._hand = hand

    def trusted(self) -> bool:
        """Whether somebody has set it."""
        return self._hand.trusted


class Hand:
    """A wall clock and a running one, turned by hand."""

    def __init__(self, wall_ms: int, mono_ms: int = 5_000_000) -> None:
        self.wall, self.mono, self.trusted = wall_ms, mono_ms, True
        self.clock: Clock = Machine(self)

    def let_pass(self, ms: int) -> None:
        """Time passes, for both."""
        self.wall += ms
        self.mono += ms

    def step(self, ms: int) -> None:
        """Somebody sets the wall clock."""
        self.wall += ms

    def set_right(self, ms: int) -> None:
        """The wall clock is set from outside, and is to be trusted from here on."""
        self.wall += ms
        self.trusted = True


class Bench(Remembered):
    """The source in memory that holds to the contract of the real one, with points at which the power can go.

    `cut` is asked after each take and before each settlement, and may raise PowerCut.
    """

    def __init__(self) -> None:
        super().__init__()
        self.cut: Callable[[str], None] = lambda where: None

    @property
    def waiting(self) -> int:
        """How many messages the gateway has not taken yet."""
        return len(self._queue)

    def take(self, most: int, wait_s: float) -> list[Message]:
        """As `ports.Source.take`."""
        found = super().take(most, wait_s)
        if found:
            self.cut("take")
        return found

    def settle(self, messages: Sequence[Message]) -> None:
        """As `ports.Source.settle`; anything but the oldest unsettled ones, in order, is a fault."""
        self.cut("settle")
        oldest = [one for one, _ in zip(self._unsettled.values(), messages, strict=False)]
        assert oldest == [one for one in messages if one.qos], "settled out of order, or twice"
        super().settle(messages)


class Judging:
    """The engine, with a moment at which the power can go: judged, and nothing of it kept."""

    new = staticmethod(engine.new)
    dump = staticmethod(engine.dump)
    load = staticmethod(engine.load)
    renumber = staticmethod(engine.renumber)

    def __init__(self, cut: Callable[[str], None]) -> None:
        self._cut = cut

    def advance(self, state: Any, entries: Sequence[Entry], until_run_ms: int) -> list[Effect]:
        """As `engine.advance`."""
        effects = engine.advance(state, entries, until_run_ms)
        self._cut("judge")
        return effects


@dataclass
class Alarm:
    """What two runs have in common of one alarm, and when it was raised."""

    kind: str
    place: str | None
    probe: str | None
    occurrence: int
    level: str
    raised_ms: int
    line: AlarmLine

    @property
    def name(self) -> tuple[str, str | None, str | None, int]:
        """What must be the same."""
        return self.kind, self.place, self.probe, self.occurrence


class Gate:
    """One gateway on one store; it can be opened, cut off at any point, and opened again."""

    def __init__(self, store: Path, settings: Settings, hand: Hand, *, topic: bool = False) -> None:
        self.store, self.settings, self.hand = store, settings, hand
        self.root = settings.broker.root
        self.bench = Bench()
        self.reader: Reader | None = None
        self.opened = 0
        self.cuts: list[str] = []
        self._clock, self._set_clock = hand.clock, None
        self._kind = "topic" if topic else "wall"
        self._writer: Writer | None = None
        self._pipeline: Pipeline | None = None
        self._cut_in: int | None = None

    def open(self, clock: Clock | None = None, set_clock: Callable[[int, int], bool] | None = None) -> None:
        """Start it on its store."""
        self._writer = open_writer(
            self.store, site_id=self.settings.site.id, clock_kind=self._kind, reserve_bytes=RESERVE
        )
        self.bench.cut = self._look
        self.reader = self.reader or open_reader(self.store)
        self._pipeline = Pipeline(
            Parts(
                site=self.settings.site, root=self.root, version="scenario", journal=self._writer,
                source=self.bench, clock=clock or self._clock, judge=Judging(self._look),
                real_ms=lambda: self.hand.mono, set_clock=set_clock,
                notices_due=lambda: len(self._reading.due_notices()),
            )
        )  # fmt: skip
        self._pipeline.begin()
        self.opened += 1

    def close(self) -> None:
        """Stop it in order."""
        if self._pipeline is not None and self._writer is not None:
            self._pipeline.end()
            self._writer.close()
        self._pipeline = None
        if self.reader is not None:
            self.reader.close()
            self.reader = None

    def cut_in(self, points: int) -> None:
        """The power goes at the so-manyth point from now at which it can."""
        self._cut_in = points

    def _look(self, where: str) -> None:
        if self._cut_in is None:
            return
        self._cut_in -= 1
        if self._cut_in <= 0:
            self._cut_in = None
            self.cuts.append(where)
            raise PowerCut(where)

    def fall(self) -> None:
        """The process is dropped where it stands: nothing is ended, nothing said."""
        self._pipeline = None
        if self._writer is not None:
            self._writer.close()
        self.bench.restarted()

    @property
    def _reading(self) -> Reader:
        assert self.reader is not None
        return self.reader

    @property
    def pipeline(self) -> Pipeline:
        """The running pipeline."""
        assert self._pipeline is not None
        return self._pipeline

    def run(self) -> None:
        """Rounds until nothing waits; at least one."""
        while True:
            self.pipeline.step(0.0)
            if not self.bench.waiting:
                return

    def record(self, event: Event) -> int:
        """Somebody records something."""
        number = self.pipeline.record(event)
        self.pipeline.judge()
        return number

    def deliver(self, outcome: str = "delivered") -> list[str]:
        """Each phone gets what waits for it; the texts, oldest first."""
        texts = []
        for due in self._reading.due_notices():
            self.pipeline.record(
                Delivery(due.number, due.phone, outcome, 204 if outcome == "delivered" else 503)
            )
            texts.append(f"{due.person}: {due.text}")
        if texts:
            self.pipeline.judge()
        return texts

    def alarms(self) -> list[Alarm]:
        """Every alarm there was, by number."""
        return [
            Alarm(
                one.alarm.kind, one.alarm.place, one.alarm.probe, one.alarm.occurrence, one.alarm.level,
                one.alarm.raised_at_ms, one,
            )
            for one in self._reading.alarms(True, MANY)
        ]  # fmt: skip

    def compared(self) -> Comparison:
        """The journal judged afresh beside what was kept."""
        return compare(self._reading, lambda text: None)

    def state(self) -> engine.State:
        """What the judge knows, from the journal alone."""
        state = engine.new()
        entries = self._reading.entries_after(0, MANY)
        engine.advance(state, entries, entries[-1].run_ms)
        return state

    def counts(self) -> dict[str, int]:
        """The running totals."""
        return self._reading.counts()
