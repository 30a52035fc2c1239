"""Commit, settle, judge: the pipeline with a real store and the real engine, fed by a source in memory."""

import json
import sqlite3
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from gateway.core import engine
from gateway.core.effects import AlarmChange
from gateway.core.inputs import (
    Cast,
    ClockStepped,
    Condition,
    Entry,
    Event,
    Refused,
    Resumed,
    SiteChanged,
    Started,
)
from gateway.core.reading import Reading, Reason, Rejected
from gateway.core.site import Day, Floor, Place, Probe, Programme, Site
from gateway.core.wire import Refusal
from gateway.core.wire.gauge import Arrival
from gateway.edges.clock import TopicClock
from gateway.edges.sqlite import Writer, open_reader, open_writer
from gateway.pipeline import Parts, Pipeline
from gateway.pipeline_time import resumed_at_ms
from gateway.ports import Clock
from tests.contracts.source import Remembered

#: 2025-10-09T08:53:20Z, a whole 10 s.
BEGAN_MS = 1_760_000_000_000


class Hands:
    """A clock that is moved by hand; real time goes with it."""

    def __init__(self, wall_ms: int = BEGAN_MS) -> None:
        self.wall, self.mono, self.sure = wall_ms, 5_000, True

    def wall_ms(self) -> int:
        return self.wall

    def mono_ms(self) -> int:
        return self.mono

    def trusted(self) -> bool:
        return self.sure

    def pass_ms(self, ms: int) -> None:
        self.wall += ms
        self.mono += ms


def probe(name: str, **more: Any) -> Probe:
    """A temperature probe in bed C that sends JSON each minute."""
    return Probe(name, "bed-c", "temperature", "Cel", f"quern/bed-c/{name}", 60.0, **more)


def site(**more: Any) -> Site:
    """One bed with two probes, one of which sends bare numbers."""
    days = (Day(1.0, 15, 17, 22, 25, 10, 8, 12), Day(6.0, 16, 18, 22, 25, 10, 8, 12))
    fields: dict[str, Any] = {
        "id": "quern-hill",
        "name": "Quern Hill Maltings",
        "time_zone": "Europe/London",
        "floors": (Floor("one", 40.0),),
        "places": (Place("bed-c", "bed", "Bed C", "one", 0.0, 10.0, None, "floor"),),
        "probes": (probe("c1"), probe("c2", payload="number")),
        "programmes": (Programme("floor", days=days),),
    }
    return Site(**{**fields, **more})


class Bounded(sqlite3.Connection):
    """A connection whose file can be forbidden to grow: SQLite itself then says that it is full."""

    last: "Bounded"

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        Bounded.last = self

    def limit(self, more: int) -> None:
        """So many pages more than now, and no further."""
        now = self.execute("PRAGMA page_count").fetchone()[0]
        self.execute(f"PRAGMA max_page_count = {now + more}")


class Gateway:
    """A pipeline over a store in a folder; `again` is the same after a kill."""

    def __init__(
        self, folder: Path, source: Remembered, clock: Clock, real: Hands, at: Site | None = None
    ) -> None:
        self.folder, self.source, self.clock, self.real = folder, source, clock, real
        kind = "topic" if isinstance(clock, TopicClock) else "wall"
        self.journal: Writer = open_writer(
            folder, site_id="quern-hill", clock_kind=kind, reserve_bytes=65_536, connection=Bounded
        )
        set_clock = clock.set_ms if isinstance(clock, TopicClock) else None
        self.line = Pipeline(
            Parts(at or site(), "quern", "1.2", self.journal, source, clock, engine, real.mono_ms, set_clock)
        )
        self.line.begin()

    def round(self, ms: int = 0) -> "Gateway":
        """Let time pass and turn once."""
        self.real.pass_ms(ms)
        self.line.step(0.0)
        return self

    def again(self, down_ms: int = 0, at: Site | None = None, clock: Clock | None = None) -> "Gateway":
        """Killed: nothing is saved, the broker sends again what was not settled, the clock counts from 0."""
        self.journal.close()
        self.real.wall += down_ms
        self.real.mono = 0
        return Gateway(self.folder, self.source.restarted(), clock or self.clock, self.real, at)

    def entries(self) -> list[Entry]:
        return self.journal.entries_after(0, 10_000)

    def said(self) -> list[Any]:
        return [entry.what for entry in self.entries()]

    def values(self) -> list[float]:
        return [what.value for what in self.said() if isinstance(what, Reading)]

    def counts(self) -> dict[str, int]:
        reader = open_reader(self.folder)
        try:
            return dict(reader.counts())
        finally:
            reader.close()

    def status(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self.source.statuses[-1])
        return found


def measured(value: float, after_s: float = 0.0) -> str:
    """A message of c1."""
    return json.dumps({"v": value, "t": BEGAN_MS / 1000 + after_s})


@pytest.fixture
def gateway(tmp_path: Path) -> Gateway:
    """On a new store."""
    hands = Hands()
    return Gateway(tmp_path / "store", Remembered(), hands, hands)


def test_a_new_store_begins_with_started_and_its_site(gateway: Gateway) -> None:
    first, second = gateway.entries()
    assert (first.n, first.at_ms, first.run_ms, first.what) == (1, BEGAN_MS, BEGAN_MS, Started("1.2"))
    assert second.what == SiteChanged(site())


def test_messages_are_committed_settled_and_judged(gateway: Gateway) -> None:
    gateway.source.publish("quern/bed-c/c1", measured(17.1), measured(17.2, 60))
    gateway.source.publish("quern/bed-c/c2", "16.5")
    gateway.round(5_000)
    assert gateway.values() == [17.1, 17.2, 16.5]
    assert [m.mid for m in gateway.source.settled] == [1, 2, 3]
    gateway.line.end()
    assert gateway.journal.load_judge()[0].n == 5
    found = gateway.status()
    assert (found["state"], found["received"], found["settled"]) == ("stopping", 3, 3)
    assert (found["committed"], found["judged"], found["judged_to"]) == (5, 5, "2025-10-09T08:53:25.000Z")


def test_every_message_has_one_outcome_and_the_counts_say_so(gateway: Gateway) -> None:
    gateway.source.publish("quern/bed-c/c1", measured(17.1), measured(17.1), measured(17.9), "{", "")
    gateway.source.publish("quern/attic/z1", "1", "2")
    gateway.source.publish("quern/gateway/status", "{}")
    gateway.source.publish("quern/bed-c/c2", "17", qos=0)
    gateway.round()
    assert len(gateway.source.settled) == 8
    counts = gateway.counts()
    assert counts["received"] == 8 == counts["kept"] + counts["duplicates"] + counts["refused"]
    assert (counts["kept"], counts["duplicates"], counts["refused"]) == (2, 1, 5)
    refused = [what for what in gateway.said() if isinstance(what, Refused)]
    assert {(one.topic, one.probe, one.reason): one.count for one in refused} == {
        ("quern/bed-c/c1", "c1", "not_json"): 1,
        ("quern/bed-c/c1", "c1", "empty"): 1,
        ("quern/bed-c/c1", "c1", "conflict"): 1,
        ("quern/attic/z1", None, "unknown_topic"): 2,
    }
    reader = open_reader(gateway.folder)
    [conflict] = [row for row in reader.rejected(10) if row.rejected.reason == Reason.CONFLICT]
    reader.close()
    assert conflict.rejected.probe == "c1"


def test_a_repeat_of_what_was_let_go_is_refused_as_too_old_and_counted(gateway: Gateway) -> None:
    gateway.source.publish("quern/bed-c/c1", measured(17.1), measured(17.2, 60))
    gateway.round(5_000)
    gateway.line.end()
    with gateway.journal.atomic():
        assert gateway.journal.let_go(10**15, 10, mirrored=False) > 0
    gateway.source.publish("quern/bed-c/c1", measured(17.1), measured(17.3, 120))
    gateway.round(5_000)
    counts = gateway.counts()
    assert (counts["received"], counts["kept"], counts["refused"]) == (4, 3, 1)
    refused = [what for what in gateway.said() if isinstance(what, Refused)]
    assert refused == [Refused("quern/bed-c/c1", "c1", "too_old", 1)]
    assert len(gateway.source.settled) == 4


def test_many_unknown_topics_in_one_commit_do_not_flood_the_journal(gateway: Gateway) -> None:
    for number in range(500):
        gateway.source.publish(f"quern/attic/{number}", "1")
    gateway.round()
    refused = [what for what in gateway.said() if isinstance(what, Refused)]
    assert len(refused) == 21
    assert sum(one.count for one in refused) == 500
    assert gateway.counts()["refused"] == 500


def test_a_repeat_without_own_time_is_counted_once_and_only_if_it_is_one(gateway: Gateway) -> None:
    gateway.source.publish("quern/bed-c/c2", "16.5", "16.5")
    messages = gateway.source.take(9, 0.0)
    gateway.line.intake(messages)
    again = [message._replace(dup=True, epoch=2) for message in messages]
    gateway.line.intake(again)
    assert gateway.values() == [16.5, 16.5], "the same words twice are two readings; sent again they are not"
    assert gateway.counts()["redelivered"] == 2
    # Another session, another packet number, other bytes, or no DUP: a message of its own.
    gateway.line.intake(
        [again[0]._replace(session=2), again[0]._replace(mid=9), again[0]._replace(payload=b"16.6")]
    )
    gateway.line.intake([again[0]._replace(dup=False)])
    assert len(gateway.values()) == 6


def test_killed_before_settling_nothing_is_lost_or_doubled(gateway: Gateway) -> None:
    gateway.source.publish("quern/bed-c/c1", measured(17.1), measured(17.2, 60))
    gateway.source.publish("quern/bed-c/c2", "16.5")
    messages = gateway.source.take(9, 0.0)
    gateway.line.intake(messages)
    # The commit is done; the settlements were still on their way.
    gateway.source.unsettle(messages)
    after = gateway.again().round()
    assert after.values() == [17.1, 17.2, 16.5]
    assert len(after.source.settled) == 3
    counts = after.counts()
    assert (counts["kept"], counts["duplicates"], counts["redelivered"]) == (3, 2, 1)


def test_a_restart_is_told_with_the_time_it_took(gateway: Gateway) -> None:
    gateway.round(60_000)
    _, at_ms, run_ms = gateway.journal.last_stamp()
    after = gateway.again(down_ms=3_600_000)
    resumed, started = after.entries()[-2:]
    assert (resumed.what, started.what) == (Resumed(3_600_000), Started("1.2"))
    assert (resumed.at_ms, resumed.run_ms) == (at_ms + 3_600_000, run_ms) == (started.at_ms, started.run_ms)
    after.round(20_000)
    after.line.record(Cast("bed-c"))
    last = after.entries()[-1]
    assert (last.at_ms, last.run_ms) == (at_ms + 3_620_000, run_ms + 20_000)
    changed = after.again(down_ms=1000, at=site(name="Quern Hill"))
    assert [type(what) for what in changed.said()[-3:]] == [Resumed, Started, SiteChanged]


def test_a_step_of_the_clock_comes_before_what_is_committed_next(gateway: Gateway) -> None:
    hands = gateway.real
    hands.pass_ms(5_000)
    hands.wall += 900
    gateway.line.record(Cast("bed-c"))
    assert gateway.entries()[-1].at_ms == BEGAN_MS + 5_000, "less than a second is no step"
    hands.wall += 2_000_000
    gateway.source.publish("quern/bed-c/c2", "16.5")
    gateway.round()
    step, reading = gateway.entries()[-2:]
    assert step.what == ClockStepped(2_000_900)
    assert step.at_ms == reading.at_ms == hands.wall
    assert step.run_ms == reading.run_ms == BEGAN_MS + 5_000
    # Back by less than five minutes: `at` waits. By more: it is believed.
    hands.wall -= 60_000
    gateway.round(30_000)
    assert gateway.said()[-1] == ClockStepped(-60_000)
    assert gateway.entries()[-1].at_ms == step.at_ms + 30_000
    gateway.real.pass_ms(20_000)
    gateway.line.record(Cast("bed-c"))
    assert gateway.entries()[-1].at_ms == step.at_ms + 30_000
    hands.wall -= 3_600_000
    gateway.line.record(Cast("bed-c"))
    assert gateway.entries()[-1].at_ms == hands.wall
    after = gateway.again(down_ms=10_000)
    assert isinstance(after.said()[-2], Resumed)
    assert after.entries()[-1].at_ms == hands.wall


def test_the_judge_comes_to_the_same_after_a_kill(tmp_path: Path) -> None:
    def play(folder: Path, kill: bool) -> list[AlarmChange]:
        hands = Hands()
        gateway = Gateway(folder, Remembered(), hands, hands)
        gateway.line.record(Cast("bed-c", "14"))
        for minute in range(90):
            gateway.source.publish("quern/bed-c/c1", measured(20.0 + minute / 10, minute * 60))
            gateway.round(60_000)
            if kill and minute % 20 == 13:
                gateway = gateway.again()
        gateway.line.end()
        reader = open_reader(folder)
        alarms = [line.alarm for line in reader.alarms(True)]
        reader.close()
        return alarms

    whole, killed = play(tmp_path / "whole", kill=False), play(tmp_path / "killed", kill=True)
    found = [
        [(a.occurrence, a.raised_at_ms, a.level, a.state) for a in alarms if a.kind == "bed_hot"]
        for alarms in (whole, killed)
    ]
    assert len(found[0]) == 1, "the bed must have run hot, or this shows nothing"
    assert found[0] == found[1]


class Poisoned:
    """A form with a fault of its own."""

    def take(self, payload: bytes, arrival: Arrival) -> list[Reading | tuple[str, Refusal]]:
        raise ZeroDivisionError("a fault of ours")


def test_a_fault_of_ours_in_reading_a_message_stops_nothing(gateway: Gateway) -> None:
    gateway.line._book.forms["quern/bed-c/c1"] = (Poisoned(),)
    gateway.source.publish("quern/bed-c/c1", measured(17.1))
    gateway.source.publish("quern/bed-c/c2", "16.5")
    gateway.round()
    assert gateway.values() == [16.5]
    assert len(gateway.source.settled) == 2
    assert gateway.counts()["refused"] == 1


def test_the_sessions_number_is_kept_with_the_next_commit(gateway: Gateway) -> None:
    assert gateway.journal.get_meta("session") == "1"
    gateway.source.number = 4
    gateway.source.changes.append(("session", True, "lost"))
    gateway.round()
    assert gateway.said()[-1] == Condition("session", True, "lost")
    assert gateway.journal.get_meta("session") == "4"


def test_a_full_disk_settles_nothing_gives_the_reserve_up_and_goes_on_later(gateway: Gateway) -> None:
    gateway.source.publish("quern/bed-c/c1", *(measured(17.0, -number) for number in range(1000)))
    Bounded.last.limit(0)
    gateway.round()
    assert gateway.source.settled == []
    assert gateway.values() == []
    assert not (gateway.folder / "reserve").exists()
    # What SQLite was denied, the reserve now gives.
    Bounded.last.limit(40)
    gateway.line.record(Cast("bed-c"))
    gateway.round(1_000)
    assert gateway.source.settled == [], "no intake while the reserve is spent"
    Bounded.last.limit(100_000)
    gateway.round(6_000)
    assert len(gateway.values()) == 1000
    assert [m.mid for m in gateway.source.settled] == list(range(1, 1001))
    conditions = [what for what in gateway.said() if isinstance(what, Condition)]
    assert [(one.name, one.on) for one in conditions][-1] == ("disk", False)
    assert (gateway.folder / "reserve").exists()


def _topic(folder: Path) -> Gateway:
    return Gateway(folder, Remembered(), TopicClock(), Hands())


def clock_message(after_s: float) -> str:
    return json.dumps({"t": BEGAN_MS / 1000 + after_s})


def test_clock_messages_are_the_time_and_split_the_batch(tmp_path: Path) -> None:
    gateway = _topic(tmp_path)
    source = gateway.source
    source.publish("quern/clock", clock_message(0))
    source.publish("quern/bed-c/c2", "16.5")
    source.publish("quern/clock", clock_message(60), clock_message(30), "{}", "x")
    source.publish("quern/bed-c/c2", "16.6")
    source.publish("quern/clock", clock_message(125.5))
    gateway.round()
    found = [
        (entry.at_ms - BEGAN_MS, entry.what.value)
        for entry in gateway.entries()
        if isinstance(entry.what, Reading)
    ]
    assert found == [(0, 16.5), (60_000, 16.6)]
    assert [m.mid for m in source.settled] == list(range(1, 9))
    told = [json.loads(body) for body in source.statuses]
    assert [body["judged_to"] for body in told][:3] == [
        "2025-10-09T08:53:20.000Z", "2025-10-09T08:54:20.000Z", "2025-10-09T08:55:25.500Z"
    ]  # fmt: skip
    assert gateway.counts()["clock_ignored"] == 3
    assert Counter(type(what) for what in gateway.said())[ClockStepped] == 1, (
        "only the first sets the calendar"
    )


def test_a_clock_message_is_settled_only_when_its_time_is_kept(tmp_path: Path) -> None:
    gateway = _topic(tmp_path)
    gateway.source.publish("quern/clock", clock_message(0), clock_message(3600))
    gateway.round()
    assert len(gateway.source.settled) == 2
    stood_ms = resumed_at_ms(gateway.journal)
    assert stood_ms == BEGAN_MS + 3_600_000
    after = gateway.again(clock=TopicClock(stood_ms))
    assert [what for what in after.said() if isinstance(what, Resumed)] == [Resumed(0)]
    after.source.publish("quern/clock", clock_message(3660))
    after.source.publish("quern/bed-c/c2", "16.5")
    after.round()
    assert after.entries()[-1].at_ms == BEGAN_MS + 3_660_000
    assert Counter(type(what) for what in after.said())[ClockStepped] == 1


class Passing(Hands):
    """Real time that goes on by a second whenever somebody looks."""

    def mono_ms(self) -> int:
        self.mono += 1000
        return self.mono


def test_a_clock_message_far_ahead_is_judged_by_the_hour_and_the_status_is_told_meanwhile(
    tmp_path: Path,
) -> None:
    gateway = Gateway(tmp_path, Remembered(), TopicClock(), Passing())
    gateway.source.publish("quern/clock", clock_message(0))
    gateway.source.publish("quern/bed-c/c2", "23")
    gateway.source.publish("quern/clock", clock_message(86_400))
    for _ in range(30):
        gateway.round()
    assert len(gateway.source.settled) == 3
    judged = [json.loads(body)["judged_to"] for body in gateway.source.statuses]
    on_the_way = [at for at in judged if "2025-10-09T08:53:20.000Z" < at < "2025-10-10T08:53:20.000Z"]
    assert len(on_the_way) >= 3
    assert judged == sorted(judged)
    assert judged[-1] == "2025-10-10T08:53:20.000Z"
    stood_ms = resumed_at_ms(gateway.journal)
    assert stood_ms == BEGAN_MS + 86_400_000


def test_without_a_topic_clock_its_messages_mean_nothing(gateway: Gateway) -> None:
    gateway.source.publish("quern/clock", clock_message(3600))
    gateway.round()
    assert len(gateway.source.settled) == 1
    assert len(gateway.entries()) == 2
    assert gateway.counts().get("received", 0) == 0


def test_an_event_is_numbered_and_refused_parts_keep_their_reason(gateway: Gateway) -> None:
    said: Event = Cast("bed-c", "14", "Ada")
    assert gateway.line.record(said) == 3
    assert gateway.said()[-1] == said
    assert isinstance(Rejected("t", b"", Reason.EMPTY, "x").reason, Reason)
