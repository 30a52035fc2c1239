"""The journal: numbers without a gap, one reading per probe and time, all or nothing, exactly as it was."""

import struct
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.core.inputs import Answered, Cast, Condition, Delivery, Entry, Event, SiteChanged, Started
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME, RANGE_HIGH, RETAINED, Reading
from gateway.core.site import Day, Place, Programme, Site
from gateway.edges.sqlite import Reader, Writer
from gateway.errors import StoreFault
from gateway.ports import Cursor, Journal
from gateway.ports import Reader as ReaderPort
from tests.contracts.store import (
    BEGAN_MS,
    add,
    alarm,
    reader_of,
    reading,
    readings_of,
    save,
    undone,
    writer_of,
)


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[Writer]:
    made = writer_of(tmp_path / "store")
    yield made
    made.close()


@pytest.fixture
def reader(writer: Writer, tmp_path: Path) -> Iterator[Reader]:
    made = reader_of(tmp_path / "store")
    yield made
    made.close()


def test_both_sides_are_what_the_ports_ask_for(writer: Writer, reader: Reader) -> None:
    journal: Journal = writer
    view: ReaderPort = reader

    assert journal.entries_after(0, 10) == view.entries_after(0, 10) == []


def test_an_empty_store_answers_with_zeros(writer: Writer, reader: Reader) -> None:
    assert writer.last_stamp() == reader.last_stamp() == (0, 0, 0)
    assert writer.load_judge() == reader.load_judge() == (Cursor(0, 0), None, Cursor(0, 0))
    assert reader.alarms(ended=True) == reader.notices(9) == reader.due_notices() == reader.turns() == []
    assert reader.rejected(9) == reader.rejected_counts() == reader.effects() == []
    assert reader.counts() == {}


def test_readings_and_events_share_one_run_of_numbers(writer: Writer, reader: Reader) -> None:
    """What comes back is what was added, in the order it was added, each with its own stamp."""
    with writer.atomic():
        first = writer.add_event(10, 20, Started("0.1"))
        some = writer.add_readings(10, 20, [reading(0), reading(1)])
    with writer.atomic():
        more = writer.add_readings(11, 21, [reading(2)])
        last = writer.add_event(12, 22, Cast("bed-c", "17", by="ada"))

    expected = [first, *some.entries, *more.entries, last]
    assert [entry.n for entry in expected] == [1, 2, 3, 4, 5]
    assert [(entry.at_ms, entry.run_ms) for entry in expected] == [(10, 20)] * 3 + [(11, 21), (12, 22)]
    assert writer.entries_after(0, 99) == reader.entries_after(0, 99) == expected
    assert reader.last_stamp() == (5, 12, 22)


def test_entries_come_in_pages(writer: Writer) -> None:
    for k in range(7):
        with writer.atomic():
            writer.add_readings(k + 1, k + 1, [reading(2 * k), reading(2 * k + 1)])
            writer.add_event(k + 1, k + 1, Condition("broker", k % 2 == 0))
    whole = writer.entries_after(0, 999)

    assert [entry.n for entry in whole] == list(range(1, 22))
    for most in (1, 2, 3, 20):
        paged: list[Entry] = []
        while page := writer.entries_after(paged[-1].n if paged else 0, most):
            assert len(page) <= most
            paged += page
        assert paged == whole
    assert writer.entries_after(0, 0) == []


def test_a_rolled_back_transaction_leaves_nothing_and_no_gap(writer: Writer, reader: Reader) -> None:
    add(writer, reading(0))

    with undone(writer):
        writer.add_readings(99, 99, [reading(1), reading(2, probe="bed-d/mid"), reading(3, flags=0)])
        writer.add_event(99, 99, Started("x"))
        writer.note_counts(received=4)
        writer.set_meta("session", "lost")
        writer.save_effects([alarm((2, 0))], Cursor(2, 99), b"snapshot")
    with writer.atomic():
        added = writer.add_readings(BEGAN_MS, BEGAN_MS, [reading(1), reading(2, probe="bed-d/mid")])

    assert [entry.n for entry in added.entries] == [2, 3]
    assert reader.entries_after(1, 9) == added.entries
    assert reader.last_stamp() == (3, BEGAN_MS, BEGAN_MS)
    assert (reader.counts(), reader.effects(), reader.get_meta("session")) == ({}, [], None)


def test_the_same_again_is_a_duplicate_and_another_value_a_conflict(writer: Writer) -> None:
    add(writer, reading(0), reading(1))

    with writer.atomic():
        batch = [
            reading(1),
            reading(2),
            reading(1, value=15.5),
            reading(2),
            reading(3),
            reading(3, value=9.0),
        ]
        added = writer.add_readings(BEGAN_MS, BEGAN_MS, batch)

    assert [(entry.n, entry.what) for entry in added.entries] == [(3, reading(2)), (4, reading(3))]
    assert added.duplicates == 2
    assert added.conflicts == [reading(1, value=15.5), reading(3, value=9.0)]
    assert [entry.what for entry in writer.entries_after(0, 9)] == [reading(k) for k in range(4)]


def test_one_time_of_two_probes_is_no_conflict(writer: Writer) -> None:
    with writer.atomic():
        added = writer.add_readings(1, 1, [reading(0), reading(0, value=1.0, probe="bed-c/low")])

    assert (len(added.entries), added.duplicates, added.conflicts) == (2, 0, [])


def test_readings_without_their_own_time_are_kept_apart_by_a_millisecond(writer: Writer) -> None:
    arrived = Reading("bed-c/mid", BEGAN_MS, 15.0)

    with writer.atomic():
        added = writer.add_readings(BEGAN_MS, BEGAN_MS, [arrived, arrived, arrived._replace(value=16.0)])

    times = [one.measured_at_ms for one in readings_of(added.entries)]
    assert times == [BEGAN_MS, BEGAN_MS + 1, BEGAN_MS + 2]
    assert writer.entries_after(0, 9) == added.entries


def test_they_are_kept_apart_over_a_restart_and_a_rollback_too(tmp_path: Path) -> None:
    arrived = Reading("bed-c/mid", BEGAN_MS, 15.0)
    first = writer_of(tmp_path)
    add(first, arrived, arrived)
    with undone(first):
        first.add_readings(1, 1, [arrived] * 7)
    first.close()
    second = writer_of(tmp_path)
    add(second, arrived)

    assert [one.measured_at_ms - BEGAN_MS for one in readings_of(second.entries_after(0, 9))] == [0, 1, 2]
    second.close()


def test_a_reading_that_came_just_now_gives_way_to_one_that_says_its_time(writer: Writer) -> None:
    add(writer, reading(0), Reading("bed-c/mid", BEGAN_MS + 1, 15.0, OWN_TIME))

    with writer.atomic():
        added = writer.add_readings(BEGAN_MS, BEGAN_MS, [Reading("bed-c/mid", BEGAN_MS, 15.0), reading(1)])

    assert [one.measured_at_ms - BEGAN_MS for one in readings_of(added.entries)] == [3, 60_000]
    assert added.duplicates == 0


def test_a_long_run_of_taken_milliseconds_is_stepped_over(writer: Writer) -> None:
    taken = [Reading("bed-c/mid", BEGAN_MS + k, 15.0, OWN_TIME) for k in range(3000)]
    add(writer, *taken)

    with writer.atomic():
        added = writer.add_readings(BEGAN_MS, BEGAN_MS, [Reading("bed-c/mid", BEGAN_MS, 16.0)])
        again = writer.add_readings(BEGAN_MS, BEGAN_MS, [Reading("bed-c/mid", BEGAN_MS, 16.0)])

    [first, second] = readings_of([*added.entries, *again.entries])
    assert 3000 <= first.measured_at_ms - BEGAN_MS <= 6000
    assert second.measured_at_ms == first.measured_at_ms + 1


def test_after_the_clock_was_set_back_new_readings_do_not_stay_at_the_wrong_time(writer: Writer) -> None:
    """Those kept under a time an hour ahead do not pull the next ones there."""
    ahead = BEGAN_MS + 3_600_000
    add(writer, Reading("bed-c/mid", ahead, 15.0), Reading("bed-c/mid", ahead, 15.0))

    with writer.atomic():
        added = writer.add_readings(BEGAN_MS, ahead, [Reading("bed-c/mid", BEGAN_MS, 15.0)] * 2)

    assert [one.measured_at_ms - BEGAN_MS for one in readings_of(added.entries)] == [0, 1]


EXACT = [0.0, -0.0, 0.1 + 0.2, 5e-324, -1.7976931348623157e308, 1e22, 15.0, 2**53 + 1.0, float("inf")]


@pytest.mark.parametrize("value", EXACT)
def test_a_value_comes_back_bit_for_bit(writer: Writer, value: float) -> None:
    """Else a replay would not be the live run again: a REAL column alone would lose the sign of -0.0."""
    flags = OWN_TIME | RETAINED | RANGE_HIGH | CLOCK_UNSURE
    add(
        writer,
        Reading("bed-c/mid", -5, value, flags, None, value),
        Reading("x", 5, value, 0, 2**63 - 1, None),
    )

    kept = readings_of(writer.entries_after(0, 9))
    assert [struct.pack("<d", one.value) for one in kept] == [struct.pack("<d", value)] * 2
    assert kept[0].battery is not None
    assert struct.pack("<d", kept[0].battery) == struct.pack("<d", value)
    assert (kept[0].flags, kept[0].sequence, kept[1].sequence) == (flags, None, 2**63 - 1)


def test_a_whole_number_stays_one(writer: Writer) -> None:
    add(writer, Reading("co2", 1, 812, OWN_TIME, None, 3))

    [kept] = readings_of(writer.entries_after(0, 9))
    assert (type(kept.value), type(kept.battery)) == (int, int)


def test_events_come_back_exactly(writer: Writer) -> None:
    site = Site(
        "quern-hill", "Quern Hill Maltings – Tenne", "Europe/London",
        places=(Place("bed-c", "bed", "Bed C", from_m=0.1 + 0.2),),
        programmes=(Programme("pale", days=(Day(0.0, 14.0, 15.5, 16.0, 18.0, 9.0, 8.0, 12.0),)),),
    )  # fmt: skip
    events: list[Event] = [
        Started("1"),
        SiteChanged(site),
        Answered(101, "going", by="Zoë \ud800"),
        Delivery(1, "x-1", "gone"),
    ]
    with writer.atomic():
        for event in events:
            writer.add_event(1, 1, event)

    assert [entry.what for entry in writer.entries_after(0, 9)] == events


def test_changes_outside_a_transaction_and_nested_ones_are_refused(writer: Writer) -> None:
    with pytest.raises(RuntimeError, match="outside atomic"):
        writer.add_readings(1, 1, [reading(0)])
    with writer.atomic(), pytest.raises(RuntimeError, match="nest"), writer.atomic():
        pass
    with writer.atomic(), pytest.raises(RuntimeError, match="inside atomic"):
        writer.checkpoint()
    add(writer, reading(0))
    assert writer.last_stamp()[0] == 1


def test_the_judges_place_and_the_newest_of_its_snapshots(tmp_path: Path) -> None:
    """Only two snapshots are kept: one to start from, one while the next is being written."""
    writer = writer_of(tmp_path)
    for n in range(1, 6):
        with writer.atomic():
            writer.save_effects([], Cursor(n, 1000 + n), b"state %d" % n if n < 5 else None)
    assert writer.load_judge() == (Cursor(5, 1005), b"state 4", Cursor(4, 1004))
    writer.close()

    reader = reader_of(tmp_path)
    assert reader.load_judge() == (Cursor(5, 1005), b"state 4", Cursor(4, 1004))
    reader.close()


def test_the_stamp_runs_on_with_the_judge(writer: Writer) -> None:
    """The judge ticks on while nothing comes in; what is stamped next must not lie before that."""
    with writer.atomic():
        writer.add_readings(5_000_000, 1_000_000, [reading(0)])
        writer.save_effects([], Cursor(1, 1_000_000), None)
    assert writer.last_stamp() == (1, 5_000_000, 1_000_000)

    with writer.atomic():
        writer.save_effects([], Cursor(1, 1_060_000), None)
    assert writer.last_stamp() == (1, 5_060_000, 1_060_000)


def test_meta_is_kept_and_replaced(writer: Writer, reader: Reader) -> None:
    for value in ("first", "second – ß"):
        with writer.atomic():
            writer.set_meta("session", value)

    assert (writer.get_meta("session"), reader.get_meta("session")) == ("second – ß", "second – ß")
    assert (reader.get_meta("site"), reader.get_meta("clock")) == ("quern-hill", "wall")
    assert reader.get_meta("nothing") is None


def test_a_number_the_file_cannot_hold_is_a_fault_and_nothing_is_kept(writer: Writer) -> None:
    with pytest.raises(StoreFault, match="64 bits"), writer.atomic():
        writer.add_readings(1, 1, [reading(0), reading(1)._replace(sequence=2**63)])

    assert writer.entries_after(0, 9) == []
    save(writer)
