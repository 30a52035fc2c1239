"""Quarters of an hour are what the minutes come to, whatever order, restarts and letting go there were."""

import random
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.core.reading import OWN_TIME, Reading
from gateway.edges.sqlite import copying, grains, open_reader, open_writer, quarters
from gateway.ports import Minute, Quarter
from tests.contracts.store import undone
from tests.contracts.test_store_retention import BEGAN_MS, DAY_MS, PROBES, Store, same

QUARTER_MS = 900_000
ALL = (0, 2 * BEGAN_MS)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    one = Store(tmp_path / "store")
    yield one
    one.close()


def expected(minutes: list[Minute], from_ms: int) -> list[Minute]:
    """The quarters the simple way: from every minute of the span."""
    groups: dict[int, list[Minute]] = {}
    for one in minutes:
        groups.setdefault(one.begin_ms // QUARTER_MS, []).append(one)
    return [_together(max(q * QUARTER_MS, from_ms - from_ms % 60_000), groups[q]) for q in sorted(groups)]


def _together(begin_ms: int, group: list[Minute]) -> Minute:
    times, flags = sum(one.times for one in group), 0
    for one in group:
        flags |= one.flags
    last = max(group, key=lambda one: one.last_at_ms)
    mean = sum(one.mean * one.times for one in group) / times
    low, high = min(one.low for one in group), max(one.high for one in group)
    return Minute(begin_ms, times, low, mean, high, last.last, last.last_at_ms, flags)


def check(store: Store, from_ms: int, to_ms: int) -> int:
    """Both grains of every probe over that span tell the same; how many readings they count."""
    counted = 0
    for probe in PROBES:
        with store.reader.snapshot():
            found = store.reader.quarters(probe, from_ms, to_ms, 10**5)
            wanted = expected(store.reader.minutes(probe, from_ms, to_ms, 10**6), from_ms)
        assert same(list(found), wanted), probe
        counted += sum(one.times for one in found)
    return counted


def add(store: Store, most: int) -> int:
    with store.writer.atomic():
        return store.writer.add_quarters(most)


def again(store: Store) -> None:
    """The process ends and another one begins."""
    store.close()
    store.writer = open_writer(store.folder, site_id="quern", clock_kind="wall", reserve_bytes=4096)
    store.reader = open_reader(store.folder)


def batch(draw: random.Random, now_ms: int) -> list[Reading]:
    """A few readings, some of them days late."""
    late_ms = draw.choice((0, 0, 0, 3_600_000, 3 * DAY_MS))
    return [
        Reading(
            draw.choice(PROBES),
            now_ms - late_ms - draw.randrange(1_200_000),
            draw.choice((draw.uniform(-5, 40), 17, 17.5)),
            OWN_TIME | draw.choice((0, 2)),
        )
        for _ in range(draw.randrange(20))
    ]


@pytest.mark.parametrize("seed", range(8))
def test_they_are_what_the_minutes_come_to(store: Store, seed: int) -> None:
    draw = random.Random(seed)
    for _ in range(50):
        store.now_ms += draw.randrange(1, 40) * 60_000
        store.commit(*batch(draw, store.now_ms), event=draw.random() < 0.3)
        if draw.random() < 0.5:
            store.judged()
        if draw.random() < 0.6:
            add(store, draw.choice((1, 7, 100)))
        with undone(store.writer):
            store.writer.add_quarters(100)
        if draw.random() < 0.5:
            store.let_go(draw.choice((0, 3_600_000, 8 * 3_600_000)), draw.choice((1, 7, 100)))
        if draw.random() < 0.1:
            again(store)
        assert check(store, *ALL) == len(store.all)
        begin_ms = BEGAN_MS + draw.randrange(-(DAY_MS // 8), DAY_MS // 8)
        check(store, begin_ms, begin_ms + draw.choice((0, 700_000, 5_000_000, DAY_MS)))
    assert int(store.reader.get_meta("readings_gone") or 0) > 20, "some have gone, or this shows nothing"
    while add(store, 100) == 100:
        continue
    assert check(store, *ALL) == len(store.all)
    assert copying.look(store.folder / "journal.db").faults == []


@pytest.mark.parametrize("few", [0, 10**9])
def test_both_ways_to_what_is_not_summed_yet_lead_there(store: Store, few: int) -> None:
    draw = random.Random(5)
    for turn in range(30):
        store.now_ms += 300_000
        store.commit(*batch(draw, store.now_ms))
        if turn == 15:
            add(store, 100)
    counted = 0
    for probe in PROBES:
        found = grains.quarters(store.reader._db, probe, *ALL, 10**5, few)
        assert same(list(found), expected(store.reader.minutes(probe, *ALL, 10**6), 0)), probe
        counted += sum(one.times for one in found)
    assert counted == len(store.all)


def test_a_store_from_before_begins_with_its_minutes(store: Store) -> None:
    draw = random.Random(9)
    for _ in range(60):
        store.now_ms += 20 * 60_000
        store.commit(*batch(draw, store.now_ms))
    store.judged()
    store.let_go(4 * 3_600_000)
    # As a store that has had no quarters yet: the migration makes the table, and no place in it.
    db = sqlite3.connect(store.folder / "journal.db")
    with db:
        db.execute("DELETE FROM quarter")
        db.execute("DELETE FROM meta WHERE key LIKE 'quarters%'")
    db.close()
    assert check(store, *ALL) == len(store.all), "before the first step"
    store.judged()
    assert store.let_go(3_600_000, 5) == 0, "nothing goes before its minutes are taken over"
    steps, late = 1, 0
    while add(store, 7) == 7:
        steps += 1
        if steps % 5 == 0:
            late += len(store.commit(Reading("a-low", BEGAN_MS + steps, 50.0 + steps, OWN_TIME)))
        if steps % 11 == 0:
            again(store)
        assert check(store, *ALL) == len(store.all)
    assert steps > 20
    assert late > 3, "late readings of quarters that were summed"
    store.judged()
    assert store.let_go(0, 10**6) > 0
    assert check(store, *ALL) == len(store.all)


def test_a_step_is_bounded_and_one_too_many_changes_nothing(store: Store) -> None:
    store.commit(*(Reading("a-low", BEGAN_MS + k * 10_000, 15.0 + k, OWN_TIME) for k in range(100)))
    assert [add(store, 40) for _ in range(4)] == [40, 40, 20, 0]
    held = store.writer._db.execute("SELECT sum(count) FROM quarter").fetchone()[0]
    assert held == 100
    assert quarters.place(store.writer._db) == 100


def test_a_span_holds_no_minute_beyond_its_ends(store: Store) -> None:
    """A bed's chart begins with its casting: what its probes said before lies outside."""
    begin_ms = BEGAN_MS - BEGAN_MS % QUARTER_MS
    store.commit(*(Reading("a-low", begin_ms + k * 60_000, float(k), OWN_TIME) for k in range(60)))
    add(store, 1000)
    found = store.reader.quarters("a-low", begin_ms + 5 * 60_000, begin_ms + 50 * 60_000)
    assert all(isinstance(one, Quarter) for one in found)
    assert [((one.begin_ms - begin_ms) // 60_000, one.low, one.high) for one in found] == [
        (5, 5.0, 14.0), (15, 15.0, 29.0), (30, 30.0, 44.0), (45, 45.0, 50.0)
    ]  # fmt: skip
    cut = store.reader.quarters("a-low", begin_ms, begin_ms + DAY_MS, 2)
    assert cut == store.reader.quarters("a-low", begin_ms, begin_ms + 29 * 60_000)
    assert store.reader.quarters("nobody", *ALL) == []
    assert store.reader.quarters("a-low", *ALL, 0) == []
