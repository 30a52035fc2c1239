"""The way of a reading as code: intake → commit → settle → judge → commit.

    messages ──intake──▶ journal ──settle──▶ broker
                            └──judge──▶ effects, state and place, in one transaction

One thread, the writer, calls everything here. `deliver` and whatever else is slow works from what is
committed. `intake`, `record` and `judge` begin from committed data and end in a commit.
"""

from __future__ import annotations

import hashlib
import json
import logging
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NamedTuple, TypeVar

from gateway.core import codec, wire
from gateway.core.inputs import ClockStepped, Condition, Entry, Event, Resumed, SiteChanged, Started
from gateway.core.site import Site
from gateway.errors import StoreFull
from gateway.pipeline_batch import Batch
from gateway.pipeline_judge import Bench, Judge
from gateway.pipeline_status import Status
from gateway.pipeline_time import Stamp, Stamper, keep_axis
from gateway.ports import Clock, Journal, Message, Source

log = logging.getLogger(__name__)
Seen = TypeVar("Seen")

#: Messages in one commit, at most.
BATCH = 1000
#: So much time is judged in one go: a clock message far ahead must not silence the status for minutes.
SLICE_MS = 3_600_000
#: So long others wait at most while a clock message far ahead is judged, in real time and but for one slice.
TURN_MS = 200
#: How often a full disk is looked at again.
ROOM_MS = 5000


class Parts(NamedTuple):
    """What a pipeline is joined from.

    `set_clock` is there where clock messages are the time (contract C4): it takes Unix ms, goes there by so
    many ms at most, and says whether it took them. `notices_due` counts the outbox, `changed` is told when
    effects are committed, `real_ms` is real running time whatever `clock` is.
    """

    site: Site
    root: str
    version: str
    journal: Journal
    source: Source
    clock: Clock
    judge: Judge
    real_ms: Callable[[], int]
    set_clock: Callable[[int, int], bool] | None = None
    notices_due: Callable[[], int] = lambda: 0
    changed: Callable[[], None] = lambda: None
    repeats_kept: int = 1000


class Pipeline:
    """The writer's verbs. `begin` once, then `step` for ever with `record` in between, `end` once."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._journal, self._source = parts.journal, parts.source
        ahead_ms = wire.TOLD_AHEAD_MS if parts.set_clock else wire.AHEAD_MS
        self._ahead_ms = ahead_ms
        self._book = wire.Book(parts.site, parts.root, ahead_ms)
        self._stamper, self._down_ms = Stamper.resume(parts.clock, parts.journal)
        self._session = int(parts.journal.get_meta("session") or 0)
        self._waiting: list[Message] = []
        self._conditions: list[Condition] = []
        self._fresh: list[Entry] = []
        self._committed = self._recorded = 0
        self._bench = Bench(parts.judge, parts.journal, parts.real_ms)
        self._status = Status(parts.source, parts.clock, parts.real_ms, parts.notices_due)
        self._full_since_ms: int | None = None
        self._pause = threading.Event()

    def begin(self) -> None:
        """Say in the journal that the gateway runs (again); judge what was not judged before."""
        said: list[Event] = [Started(self._parts.version)]
        site_print = _site_print(self._parts.site)
        if self._journal.get_meta("site_print") != site_print:
            said.append(SiteChanged(self._parts.site))
        with self._writing(self._down_ms) as (stamp, fresh):
            fresh += [self._journal.add_event(stamp.at_ms, stamp.run_ms, event) for event in said]
            self._journal.set_meta("site_print", site_print)
        self._fresh.clear()
        self._bench.catch_up(self._stamper.now().run_ms)
        self._save()

    def step(self, wait_s: float) -> None:
        """One round: what the connection says of itself, messages, judgement, status."""
        self._conditions += [Condition(name, on, said[:200]) for name, on, said in self._source.conditions()]
        while self._conditions:
            self.record(self._conditions[0])
            del self._conditions[0]
        if self._full_since_ms is not None and not self._room_again():
            self._pause.wait(wait_s)
        else:
            self.intake([] if self._waiting else self._source.take(BATCH, wait_s))
        self.judge()
        if self._status.due():
            self._tell("running")

    def end(self) -> None:
        """Keep everything, with a full snapshot, and say that the gateway stops."""
        self.judge()
        self._save(snapshot=True)
        self._tell("stopping")

    def intake(self, messages: Sequence[Message]) -> None:
        """Commit messages, then settle them. While the disk is full they wait here, unsettled."""
        self._waiting += messages
        try:
            while self._waiting:
                taken = self._before_clock_message()
                if taken:
                    self._take_in(taken)
                else:
                    taken = self._waiting[:1]
                    if not self._take_time(taken[0]):
                        return
                del self._waiting[: len(taken)]
                self._source.settle(taken)
        except StoreFull as fault:
            self._no_room(fault)

    def _before_clock_message(self) -> list[Message]:
        if self._parts.set_clock is None:
            return self._waiting[:]
        topic = self._book.clock_topic
        stop = next((i for i, m in enumerate(self._waiting) if m.topic == topic), len(self._waiting))
        return self._waiting[:stop]

    def _take_in(self, messages: Sequence[Message]) -> None:
        journal = self._journal
        with self._writing() as (stamp, fresh):
            batch = Batch(self._book, stamp.at_ms, self._parts.clock.trusted())
            batch.fill(messages, journal, self._parts.repeats_kept)
            added = journal.add_readings(stamp.at_ms, stamp.run_ms, batch.readings)
            fresh.extend(added.entries)
            batch.refuse(added)
            if batch.rejected:
                fresh.extend(journal.add_event(stamp.at_ms, stamp.run_ms, event) for event in batch.refused())
                journal.keep_rejected(stamp.at_ms, batch.rejected)
            journal.note_counts(**batch.counts(len(added.entries), added.duplicates))
        self._status.received += batch.received
        self._status.settled += batch.received

    def _take_time(self, message: Message) -> bool:
        """Judge up to the time a clock message tells; whether so: only then may the broker forget it.

        Far ahead it goes there by the hour, and now and then lets others have their turn: what they record is
        stamped where the judge stands, and where the program ends meanwhile, the broker tells the time again.
        """
        until_ms = self._parts.real_ms() + TURN_MS
        try:
            at_ms = wire.clock_ms(message.payload)
        except wire.Refusal as why:
            log.warning("a clock message is ignored: %s", why)
            at_ms = None
        if at_ms is None or not self._go_on(at_ms):
            with self._journal.atomic():
                self._journal.note_counts(clock_ignored=1)
            return True
        self._judge()
        while self._parts.clock.wall_ms() < at_ms:
            if self._bench.due:
                self._save()
            if self._status.due():
                self._tell("running")
            if self._parts.real_ms() >= until_ms:
                return False
            self._go_on(at_ms)
            self._judge()
        if self._bench.save():
            self._parts.changed()
        self._tell("running")
        return True

    def _go_on(self, at_ms: int) -> bool:
        set_clock = self._parts.set_clock
        return set_clock is not None and set_clock(at_ms, SLICE_MS)

    def record(self, event: Event) -> int:
        """Commit one event; its journal number. Raises StoreFull if even the reserve has no room."""
        try:
            return self._record(event)
        except StoreFull as fault:
            self._no_room(fault)
            return self._record(event)

    def _record(self, event: Event) -> int:
        with self._writing() as (stamp, fresh):
            fresh.append(self._journal.add_event(stamp.at_ms, stamp.run_ms, event))
            if isinstance(event, SiteChanged):
                self._journal.set_meta("site_print", _site_print(event.site))
        self._recorded += 1
        if isinstance(event, SiteChanged):
            self._book = wire.Book(event.site, self._parts.root, self._ahead_ms)
        return self._committed

    def look(self, view: Callable[[Any], Seen]) -> Seen:
        """What a pure view makes of the judge's state, with everything committed so far judged."""
        self.judge()
        return view(self._bench.state)

    @property
    def place(self) -> tuple[int, int]:
        """The newest entry committed, and judged; any thread may look."""
        return self._committed, self._bench.seen.n

    @property
    def news(self) -> int:
        """How often something else than readings was kept since the start; any thread may look."""
        return self._recorded + self._bench.told

    def judge(self) -> None:
        """Judge what was committed and the time that has passed; keep what came of it."""
        self._judge()
        if self._bench.due:
            self._save()

    def _judge(self) -> None:
        stamp = self._stamper.now()
        if stamp.stepped_ms:
            with self._writing() as (stamp, _):
                pass
        entries, self._fresh = self._fresh, []
        while stamp.run_ms - self._bench.seen.run_ms > SLICE_MS:
            until_ms = entries[-1].run_ms if entries else self._bench.seen.run_ms + SLICE_MS
            self._bench.advance(entries, until_ms)
            entries = []
            if self._bench.due:
                self._save()
            if self._status.due():
                self._tell("running")
        self._bench.advance(entries, stamp.run_ms)

    def _save(self, snapshot: bool = False) -> None:
        try:
            had_effects = self._bench.save(snapshot)
        except StoreFull as fault:
            self._no_room(fault)
        else:
            if had_effects:
                self._parts.changed()

    @contextmanager
    def _writing(self, down_ms: int | None = None) -> Iterator[tuple[Stamp, list[Entry]]]:
        """One commit. A step of the clock, or the time the gateway was down, comes before anything else."""
        stamp = self._stamper.now()
        first: Event | None = ClockStepped(stamp.stepped_ms) if stamp.stepped_ms else None
        if down_ms is not None:
            stamp, first = self._stamper.shifted(stamp.run_ms, down_ms), Resumed(down_ms)
        fresh: list[Entry] = []
        session = self._source.session()
        with self._journal.atomic():
            if first is not None:
                fresh.append(self._journal.add_event(stamp.at_ms, stamp.run_ms, first))
                keep_axis(self._journal, stamp.axis)
            if session != self._session:
                self._journal.set_meta("session", str(session))
            yield stamp, fresh
        self._session = session
        self._stamper.took(stamp)
        self._fresh += fresh
        self._committed = fresh[-1].n if fresh else self._committed

    def _tell(self, state: str) -> None:
        seen = self._bench.seen
        self._status.tell(state, self._committed, seen.n, self._stamper.at_ms(seen.run_ms))

    def _no_room(self, fault: StoreFull) -> None:
        """Give the reserve up, so that alarms and notices still commit, and say what is wrong."""
        if self._full_since_ms is not None:
            return
        log.error("the intake waits, nothing is settled: %s", fault)
        self._full_since_ms = self._parts.real_ms()
        self._journal.free_reserve()
        try:
            self._record(Condition("disk", True, str(fault)[:200]))
        except StoreFull:
            log.exception("not even the reserve was enough to record it")

    def _room_again(self) -> bool:
        """Whether the reserve could be held back again, looked at now and then."""
        now_ms = self._parts.real_ms()
        if self._full_since_ms is None or now_ms - self._full_since_ms < ROOM_MS:
            return False
        self._full_since_ms = now_ms
        if not self._journal.restore_reserve():
            return False
        self._full_since_ms = None
        self.record(Condition("disk", False, "there is room again"))
        return True


def _site_print(site: Site) -> str:
    """Tells one checked site file from another."""
    plain = json.dumps(codec.plain(site), sort_keys=True)
    return hashlib.sha256(plain.encode()).hexdigest()
